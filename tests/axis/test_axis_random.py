"""`steer axis` on 300 random alignments, through its JSON: pyclothoids in plan, quadrature in level.

0.01 mm in position, 0.001 mm/m in direction, 0.01 mm there and back; the seeds are fixed.
"""

import json
import math
import random
from itertools import accumulate, pairwise

import numpy as np
import pyclothoids
import pytest

from steer.cli.main import main
from steer.drivefile import TEMPLATE

WITHIN_M, WITHIN_MM, WITHIN_MM_PER_M = 1e-5, 0.01, 0.001
HEAD, TAIL = TEMPLATE[: TEMPLATE.index("[axis]")], TEMPLATE[TEMPLATE.index("[tolerance]") :]
KINDS = ("line", "arc", "in", "out", "between", "any")
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)


def plan(rng):
    """Elements, and (curvature at the start, at the end, length) of each, + right."""
    elements, shapes = [], []
    for _ in range(rng.randint(1, 9)):
        kind = rng.choice(KINDS)
        turn = rng.choice(("right", "left"))
        side = 1.0 if turn == "right" else -1.0
        r0, r1 = (round(10 ** rng.uniform(1.5, 3.7), 3) for _ in range(2))
        length = round(rng.uniform(0.5, 400.0), 3)
        if kind == "line":
            elements.append({"kind": "line", "length_m": length})
            shapes.append((0.0, 0.0, length))
            continue
        if kind == "arc":
            length = min(length, round(1.5 * r0, 3))
            elements.append({"kind": "arc", "length_m": length, "radius_m": r0, "turn": turn})
            shapes.append((side / r0, side / r0, length))
            continue
        start = {"in": math.inf, "out": r0}.get(kind, r0)
        end = {"in": r1, "out": math.inf}.get(kind, r1)
        length = min(length, round(1.5 * min(r0, r1), 3))
        said = ["inf" if math.isinf(r) else r for r in (start, end)]
        elements.append({"kind": "spiral", "length_m": length, "radius_start_m": said[0],
                         "radius_end_m": said[1], "turn": turn})  # fmt: skip
        shapes.append((side / start, side / end, length))
    return elements, shapes


def profile(rng, total_m):
    """Elements over the whole length with grades that meet, and (kind, length, grade, grade)."""
    cuts = sorted({0.0, total_m, *(round(rng.uniform(0.0, total_m), 3) for _ in range(rng.randint(0, 4)))})
    elements, shapes = [], []
    grade = round(rng.uniform(-60.0, 60.0), 4)
    for a, b in pairwise(cuts):
        length, kind = b - a, rng.choice(("grade", "parabola", "arc"))
        if kind == "grade":
            after = grade
            elements.append({"kind": kind, "length_m": length, "grade_mm_per_m": grade})
        else:
            after = round(grade + rng.uniform(-0.1, 0.1) * min(length, 300.0), 4)
            elements.append({"kind": kind, "length_m": length, "grade_start_mm_per_m": grade,
                             "grade_end_mm_per_m": after})  # fmt: skip
        shapes.append((kind, length, grade / 1000.0, after / 1000.0))
        grade = after
    return elements, shapes


def curves(start, shapes):
    """The plan by pyclothoids (theta against the clock from east), one after the other."""
    x, y, theta = start["easting_m"], start["northing_m"], math.pi / 2 - math.radians(start["bearing_deg"])
    made = []
    for k0, k1, length in shapes:
        c = pyclothoids.Clothoid.StandardParams(x, y, theta, -k0, (k0 - k1) / length, length)
        made.append(c)
        x, y, theta = c.X(length), c.Y(length), c.Theta(length)
    return made


def in_plan(made, ends, s):
    """Easting, northing, bearing at a length from the start."""
    i = min(sum(1 for end in ends if end < s), len(made) - 1)
    u = s - (ends[i - 1] if i else 0.0)
    return made[i].X(u), made[i].Y(u), math.pi / 2 - made[i].Theta(u)


def in_level(level_m, shapes, s):
    """Level and grade, the grade by its definition integrated by Gauss-Legendre."""

    def grade(kind, length, g0, g1, u):
        if kind == "arc":  # the sine of the slope angle is linear in plan length: a circle
            s0, s1 = g0 / np.hypot(1, g0), g1 / np.hypot(1, g1)
            sine = s0 + (s1 - s0) * u / length
            return sine / np.sqrt(1.0 - sine * sine)
        return g0 + (g1 - g0) * u / length

    for i, (kind, length, g0, g1) in enumerate(shapes):
        u = s if i == len(shapes) - 1 else min(s, length)
        level_m += 0.5 * u * float(WEIGHTS @ grade(kind, length, g0, g1, 0.5 * u * (NODES + 1.0)))
        if s <= length or i == len(shapes) - 1:
            return level_m, 1000.0 * float(grade(kind, length, g0, g1, u))
        s -= length
    raise AssertionError


def toml(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[\n" + "".join(f"  {toml(v)},\n" for v in value) + "]"
    return json.dumps(value)


def written(folder, start, horizontal, vertical):
    axis = f"[axis]\nstart = {toml(start)}\nhorizontal = {toml(horizontal)}\nvertical = {toml(vertical)}\n"
    (folder / "drive.toml").write_text(HEAD + axis + TAIL)


def answer(capsys, folder, *arguments):
    code = main(["axis", str(folder), "--json", *arguments])
    out, err = capsys.readouterr()
    assert code == 0, err
    return json.loads(out)


@pytest.mark.parametrize("batch", range(10))
def test_thirty_random_alignments(batch, tmp_path, capsys):
    rng = random.Random(1000 + batch)
    plain = 0
    for number in range(30):
        start = {
            "chainage_m": rng.choice((0.0, -512.345, 1234.5, round(rng.uniform(-9e4, 9e4), 3))),
            "easting_m": round(rng.uniform(1e6, 9_999_999.0), 3),
            "northing_m": round(rng.uniform(1e6, 9_999_999.0), 3),
            "level_m": round(rng.uniform(-90.0, 900.0), 3),
            "bearing_deg": rng.choice((0.0, 359.999, 90.0, 180.0, round(rng.uniform(0.0, 360.0), 6))),
        }
        horizontal, shapes = plan(rng)
        total = math.fsum(s[2] for s in shapes)
        vertical, slopes = profile(rng, total)
        written(tmp_path, start, horizontal, vertical)
        made, ends = curves(start, shapes), list(accumulate(s[2] for s in shapes))
        at = [0.0, *ends[:-1], total, *(rng.uniform(0.0, total) for _ in range(8))]
        rows = answer(capsys, tmp_path, "--at", *(repr(start["chainage_m"] + s) for s in at))["at"]
        points, offsets = [], []
        for s, row in zip(at, rows, strict=True):
            east, north, bearing = in_plan(made, ends, s)
            level, grade = in_level(start["level_m"], slopes, s)
            where = (batch, number, s)
            assert math.hypot(row["easting_m"] - east, row["northing_m"] - north) < WITHIN_M, where
            assert row["level_m"] == pytest.approx(level, abs=WITHIN_M), where
            assert row["grade_mm_per_m"] == pytest.approx(grade, abs=WITHIN_MM_PER_M), where
            turned = math.remainder(math.radians(row["bearing_deg"]) - bearing, 2 * math.pi)
            assert abs(1000 * turned) < WITHIN_MM_PER_M and 0.0 <= row["bearing_deg"] < 360.0, where
            k = 1000 * max(abs(k) for s0 in shapes for k in s0[:2])
            reach = min(10_000.0, 200_000.0 / k) if k else 10_000.0
            line, up = rng.uniform(-reach, reach), rng.uniform(-2000.0, 2000.0)
            points.append(placed(east, north, level, bearing, grade, line, up))
            offsets.append((s, line, up))
        found = answer(capsys, tmp_path, "--locate", *(",".join(map(repr, p)) for p in points))["locate"]
        for (s, line, up), point, place in zip(offsets, points, found, strict=True):
            back = place["chainage_m"] - start["chainage_m"]
            if abs(back - s) > WITHIN_M:
                # An alignment that comes back on itself: then the foot found is nearer, and a true foot.
                assert math.hypot(place["line_mm"], place["level_mm"]) < math.hypot(line, up) + WITHIN_MM
                if 0.0 <= back <= total:
                    east, north, bearing = in_plan(made, ends, back)
                    level, grade = in_level(start["level_m"], slopes, back)
                    again = placed(east, north, level, bearing, grade, place["line_mm"], place["level_mm"])
                    assert math.dist(again, point) < WITHIN_M, (batch, number, s)
                continue
            plain += 1
            assert place["line_mm"] == pytest.approx(line, abs=WITHIN_MM), (batch, number, s)
            assert place["level_mm"] == pytest.approx(up, abs=WITHIN_MM), (batch, number, s)
    assert plain > 0.9 * 30 * 10  # few come back on themselves


def placed(east, north, level, bearing, grade_mm_per_m, line_mm, level_mm):
    """The point right of and above the axis, from the contract's own words."""
    slope = math.atan(grade_mm_per_m / 1000.0)
    line, up = line_mm / 1000.0, level_mm / 1000.0
    lean = up * math.sin(slope)
    return (
        east + line * math.cos(bearing) - lean * math.sin(bearing),
        north - line * math.sin(bearing) - lean * math.cos(bearing),
        level + up * math.cos(slope),
    )
