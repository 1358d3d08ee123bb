"""The plan against open reference points, handbook tables and a reference library."""

import csv
import json
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyclothoids
import pytest

from steer.axis import axis_from_spec

DATA = Path(__file__).parent / "data"
FOOT = 0.3048
WITHIN_M = 1e-5  # 0.01 mm


def made(horizontal, bearing_deg=0.0, easting_m=0.0, northing_m=0.0, chainage_m=0.0):
    """A level axis with this plan."""
    start = {
        "chainage_m": chainage_m,
        "easting_m": easting_m,
        "northing_m": northing_m,
        "level_m": 0.0,
        "bearing_deg": bearing_deg,
    }
    length = sum(e["length_m"] for e in horizontal)
    return axis_from_spec(start, horizontal, [{"kind": "grade", "length_m": length, "grade_mm_per_m": 0.0}])


def line(length_m):
    return {"kind": "line", "length_m": length_m}


def arc(length_m, radius_m, turn):
    return {"kind": "arc", "length_m": length_m, "radius_m": radius_m, "turn": turn}


def spiral(length_m, radius_start_m, radius_end_m, turn):
    return {
        "kind": "spiral",
        "length_m": length_m,
        "radius_start_m": radius_start_m,
        "radius_end_m": radius_end_m,
        "turn": turn,
    }


def rows(name):
    with open(DATA / name, encoding="utf-8") as file:
        return list(csv.DictReader(r for r in file if not r.startswith("#")))


@pytest.mark.parametrize(
    ("name", "element"),
    [
        ("points_arc_300.csv", arc(100.0, 300.0, "left")),
        ("points_clothoid_inf_300.csv", spiral(100.0, "inf", 300.0, "left")),
        ("points_clothoid_right_300_1000.csv", spiral(100.0, 300.0, 1000.0, "right")),
    ],
)
def test_open_reference_points(name, element):
    """IFC Alignment Geometry Implementation Guide; its X runs along the start tangent.

    Printed to six decimals; the clothoid between two radii is itself 1.7 µm off the integral.
    """
    axis = made([element], bearing_deg=90.0)
    for row in rows(name):
        p = axis.at(float(row["dist_along"]))
        assert p.easting_m == pytest.approx(float(row["X"]), abs=2e-6)
        assert p.northing_m == pytest.approx(float(row["Y"]), abs=2e-6)
        assert math.sin(p.bearing_rad) == pytest.approx(float(row["RefDir_dx"]), abs=1e-6)
        assert math.cos(p.bearing_rad) == pytest.approx(float(row["RefDir_dy"]), abs=1e-6)


@pytest.mark.parametrize(
    ("radius_m", "length_m", "east_m", "north_m", "turn_rad", "digits_m"),
    [
        # LandXML sample road_line_clothoid_arc_metric.xml: totalX, totalY, theta
        (400.0, 80.0, 2.664763, 79.920037, math.radians(5.729578), 1e-6),
        # clothoid worksheet (geogebra pPu6Kb3z), A = 12: length and angle seen, end computed with scipy
        (9.0, 16.0, 4.47982, 14.78121, 8.0 / 9.0, 1e-5),
        # road alignment appendix of a survey instrument's manual, A = 80: X 63.348 seen, rest computed
        (100.0, 64.0, 6.776897, 63.347740, 0.32, 1e-6),
    ],
)
def test_clothoids_of_handbooks(radius_m, length_m, east_m, north_m, turn_rad, digits_m):
    p = made([spiral(length_m, "inf", radius_m, "right")]).at(length_m)
    assert p.easting_m == pytest.approx(east_m, abs=digits_m)
    assert p.northing_m == pytest.approx(north_m, abs=digits_m)
    assert p.bearing_rad == pytest.approx(turn_rad, abs=1e-8)


def test_circular_curve_stake_out_table():
    """J. Mahun, horizontal curves self study, set 2 problem 1: R = 800 ft, deflections and chords."""
    axis = made([arc(639.9 * FOOT, 800.0 * FOOT, "right")])
    table = [(115.02, (4, 7, 8), 114.92), (215.02, (7, 42, 0), 214.38), (315.02, (11, 16, 51), 312.99)]
    table += [(415.02, (14, 51, 43), 410.38), (515.02, (18, 26, 34), 506.18)]
    for arc_ft, (d, m, s), chord_ft in table:
        p = axis.at(arc_ft * FOOT)
        assert math.hypot(p.easting_m, p.northing_m) / FOOT == pytest.approx(chord_ft, abs=0.01)
        deflection = math.degrees(math.atan2(p.easting_m, p.northing_m))
        assert deflection == pytest.approx(d + m / 60 + s / 3600, abs=1.0 / 3600)


def fhwa_axis():
    """The manual's alignment from its PIs: tangents shortened by R·tan(turn/2) on either side of an arc."""
    corners = [(500, 2500, 0), (3340, 660, 1000), (4340, 5000, 1250), (7600, 4560, 950), (8480, 2010, 0)]
    heads = [math.atan2(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(corners)]
    turns = [math.remainder(b - a, 2 * math.pi) for a, b in pairwise(heads)]
    cut = [0.0, *(c[2] * math.tan(abs(t) / 2) for c, t in zip(corners[1:-1], turns, strict=True)), 0.0]
    elements = []
    for i, (a, b) in enumerate(pairwise(corners)):
        elements.append(line((math.dist(a[:2], b[:2]) - cut[i] - cut[i + 1]) * FOOT))
        if i < len(turns):
            turn = turns[i]
            elements.append(arc(b[2] * abs(turn) * FOOT, b[2] * FOOT, "right" if turn > 0 else "left"))
    return made(elements, math.degrees(heads[0]), 500 * FOOT, 2500 * FOOT)


def test_points_of_a_bridge_geometry_manual():
    """FHWA-HIF-22-034 (April 2022), worked examples 5.1 to 5.8, printed to 0.0001 ft, held to 0.001 ft."""
    axis = fhwa_axis()
    points = json.loads((DATA / "worked_examples_fhwa_hif_22_034.json").read_text())["points"]
    for point in points:
        offset_mm = -point.get("offset_left", 0.0) * FOOT * 1e3
        e, n, _ = axis.position(point["dist"] * FOOT, offset_mm, 0.0)
        assert (e / FOOT, n / FOOT) == pytest.approx((point["x"], point["y"]), abs=1e-3), point["ref"]
        back = axis.locate(e, n, 0.0)
        assert back.chainage_m == pytest.approx(point["dist"] * FOOT, abs=WITHIN_M)
        assert back.line_mm == pytest.approx(offset_mm, abs=0.01)


def reference(horizontal, bearing_deg, easting_m, northing_m, at_m):
    """The same plan by pyclothoids, a Fresnel-integral library that shares no line with ours."""
    x, y, theta = easting_m, northing_m, math.pi / 2 - math.radians(bearing_deg)
    begin = 0.0
    for i, e in enumerate(horizontal):
        side = 1.0 if e.get("turn") == "left" else -1.0  # theta turns left
        if e["kind"] == "line":
            k0 = k1 = 0.0
        elif e["kind"] == "arc":
            k0 = k1 = side / e["radius_m"]
        else:
            k0, k1 = (side / float(e[key]) for key in ("radius_start_m", "radius_end_m"))
        length = e["length_m"]
        c = pyclothoids.Clothoid.StandardParams(x, y, theta, k0, (k1 - k0) / length, length)
        if at_m <= begin + length or i == len(horizontal) - 1:
            u = at_m - begin
            return c.X(u), c.Y(u), math.pi / 2 - c.Theta(u), -1e3 * (k0 + (k1 - k0) * u / length)
        x, y, theta, begin = c.X(length), c.Y(length), c.Theta(length), begin + length
    raise AssertionError


LONG_DRIVE = [
    line(400.0),
    spiral(60.0, "inf", 250.0, "right"),
    arc(300.0, 250.0, "right"),
    spiral(40.0, 250.0, 700.0, "right"),
    spiral(50.0, 700.0, "inf", "right"),
    spiral(35.0, "inf", 180.0, "left"),
    spiral(45.0, 180.0, 90.0, "left"),
    arc(150.0, 90.0, "left"),
    spiral(80.0, 90.0, "inf", "left"),
    line(1840.0),
]


def test_long_drive_against_a_reference_library():
    """3 km, every kind of clothoid, coordinates of seven digits: to 0.01 mm and 0.001 mm/m."""
    e0, n0 = 4_456_789.123, 5_987_654.321
    axis = made(LONG_DRIVE, 283.7, e0, n0, chainage_m=1000.0)
    assert axis.end_chainage_m == pytest.approx(4000.0, abs=1e-9)
    at = np.linspace(0.0, 3000.0, 997)
    many = axis.at(1000.0 + at)
    for i, s in enumerate(at.tolist()):
        x, y, bearing, curvature = reference(LONG_DRIVE, 283.7, e0, n0, s)
        one = axis.at(1000.0 + s)
        for p in (
            (one.easting_m, one.northing_m, one.bearing_rad),
            (many.easting_m[i], many.northing_m[i], many.bearing_rad[i]),
        ):
            assert math.hypot(p[0] - x, p[1] - y) < WITHIN_M
            assert abs(p[2] - bearing) < 1e-6
        joints = np.cumsum([e["length_m"] for e in LONG_DRIVE])
        if np.abs(joints - s).min() > 1e-6:  # at a joint the curvature is the following element's
            assert one.curvature_right_mm_per_m2 == pytest.approx(curvature, abs=1e-9)


def test_straight_on_beyond_both_ends():
    axis = made([arc(50.0, 100.0, "right")], bearing_deg=0.0)
    before, after = axis.at(-10.0), axis.at(60.0)
    assert (before.easting_m, before.northing_m) == pytest.approx((0.0, -10.0), abs=1e-12)
    assert before.curvature_right_mm_per_m2 == after.curvature_right_mm_per_m2 == 0.0
    end = axis.at(50.0)
    assert end.curvature_right_mm_per_m2 == pytest.approx(10.0)
    assert after.bearing_rad == end.bearing_rad
    assert math.hypot(after.easting_m - end.easting_m, after.northing_m - end.northing_m) == pytest.approx(
        10.0
    )


def test_right_is_a_growing_bearing():
    """Vocabulary: a right turn increases the bearing, and the right-hand side lies east of a drive north."""
    axis = made([arc(50.0, 100.0, "right")], bearing_deg=0.0)
    assert axis.at(10.0).bearing_rad > axis.at(0.0).bearing_rad
    e, n, level = axis.position(0.0, 1000.0, 2000.0)
    assert (e, n, level) == pytest.approx((1.0, 0.0, 2.0), abs=1e-12)


def test_sagitta_of_a_chord():
    """R − sqrt(R² − (c/2)²) = 2.0870 m for a chord of 100 m on R = 600 m."""
    half = 600.0 * math.asin(50.0 / 600.0)
    axis = made([arc(2 * half, 600.0, "left")])
    a, m, b = (np.array([p.easting_m, p.northing_m]) for p in map(axis.at, (0.0, half, 2 * half)))
    assert np.linalg.norm(m - 0.5 * (a + b)) == pytest.approx(2.0870, abs=5e-5)
