"""`steer axis`: setting-out values along the design axis, and where a surveyed point lies."""

from __future__ import annotations

import argparse
import csv
import json
import math
import re
import sys
from pathlib import Path

import numpy as np

from steer.axis import Axis
from steer.errors import CommandLineWrong, InputRefused
from steer.text import printable

AT_FIELDS = (
    "chainage_m",
    "easting_m",
    "northing_m",
    "level_m",
    "bearing_deg",
    "grade_mm_per_m",
    "curvature_right_mm_per_m2",
    "curvature_up_mm_per_m2",
)
LOCATE_FIELDS = ("chainage_m", "line_mm", "level_mm")
_MOST_ROWS = 1_000_000
_SHORTEST_STEP_M = 0.001
_FARTHEST_M = 1e9
_SAME_CHAINAGE_M = 1e-6
_PLOT_SUFFIXES = (".png", ".pdf", ".svg")
NO_FOOT = "has no unique foot on the axis (it lies at a centre of curvature, or as near to two places)"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command line of the contract, and --plot."""
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument(
        "--at", metavar="CHAINAGE", nargs="+", action="extend", default=[], type=_number, help="at these (m)"
    )
    parser.add_argument("--every", metavar="M", type=_step, help="every M metres from start to end")
    parser.add_argument(
        "--locate",
        metavar="E,N,LEVEL",
        nargs="+",
        action="extend",
        default=[],
        type=_point,
        help="chainage, line and level of surveyed points (m)",
    )
    parser.add_argument(
        "--plot", metavar="FILE", type=_plot_file, help="draw plan and long section (png, pdf, svg)"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="comma-separated values")
    form.add_argument("--json", action="store_true", help="one JSON object")
    # "-5.0,3,1" begins with a dash but is a point: everything like a number is a value.
    parser._negative_number_matcher = re.compile(r"^-\.?\d")


def run(args: argparse.Namespace) -> int:
    """Answer the queries; 0, or 1 when a chainage is off the axis or a point has no unique foot."""
    if args.csv and args.locate and (args.at or args.every):
        raise CommandLineWrong("--csv writes one table: ask for --at and --every, or for --locate")
    from steer.drivefile import load_drive

    drive = load_drive(args.folder)
    axis = drive.axis
    for note in axis.notes:
        print(f"steer: note: {note}", file=sys.stderr)
    chainages = _chainages(axis, args)
    rows = setting_out(axis, chainages)
    found = locate(axis, args.locate)
    if args.plot:
        from steer.asbuilt.writing import write_whole
        from steer.axis.drawing import draw_axis

        write_whole(args.plot, lambda place: draw_axis(axis, place, drive.drive.name))
        print(f"steer: drawn in {printable(args.plot)}", file=sys.stderr)
    if args.json:
        print(json.dumps({"at": rows, "locate": found}, indent=1, allow_nan=False))
    elif args.csv:
        _print_csv(args, rows, found)
    else:
        _print_tables(args, axis, rows, found)
    for point, place in zip(args.locate, found, strict=True):
        if "doubt" in place:
            print(f"steer: note: point {_coordinates(point)} {place['doubt']}", file=sys.stderr)
    lost = [
        f"point {_coordinates(point)} {NO_FOOT}"
        for point, place in zip(args.locate, found, strict=True)
        if place["chainage_m"] is None
    ]
    if lost:
        raise InputRefused(lost)
    return 0


def setting_out(axis: Axis, chainages: list[float]) -> list[dict[str, float]]:
    """One row of AT_FIELDS a chainage; chainages outside the axis raise InputRefused, all of them named."""
    if not chainages:
        return []
    s = np.array(chainages)
    outside = (s < axis.start_chainage_m - _SAME_CHAINAGE_M) | (s > axis.end_chainage_m + _SAME_CHAINAGE_M)
    if outside.any():
        raise InputRefused(
            [
                f"--at {c:.10g}: must lie on the axis, from {axis.start_chainage_m:.10g} "
                f"to {axis.end_chainage_m:.10g} m"
                for c in s[outside].tolist()
            ]
        )
    p = axis.at(np.clip(s, axis.start_chainage_m, axis.end_chainage_m))
    columns = (
        s,
        p.easting_m,
        p.northing_m,
        p.level_m,
        np.degrees(p.bearing_rad) % 360.0 % 360.0,  # twice: a tiny negative angle gives 360.0 at first
        p.grade_mm_per_m,
        p.curvature_right_mm_per_m2,
        p.curvature_up_mm_per_m2,
    )
    table = np.column_stack(columns) + 0.0  # + 0.0: no negative zero
    return [dict(zip(AT_FIELDS, row, strict=True)) for row in table.tolist()]


def locate(axis: Axis, points: list[tuple[float, float, float]]) -> list[dict[str, float | str | None]]:
    """One row of LOCATE_FIELDS a point; null and a word why where there is no unique foot, and a word of doubt
    where the point lies far from the axis."""
    from steer.axis.far import doubt

    if not points:
        return []
    place = axis.locate(*np.array(points).T)
    rows: list[dict[str, float | str | None]] = []
    for i in range(len(points)):
        if place.ok[i]:  # type: ignore[index]
            rows.append({k: float(getattr(place, k)[i]) + 0.0 for k in LOCATE_FIELDS})
            if said := doubt(axis, *points[i]):
                rows[-1]["doubt"] = said
        else:
            rows.append({**dict.fromkeys(LOCATE_FIELDS), "why": NO_FOOT})
    return rows


def _chainages(axis: Axis, args: argparse.Namespace) -> list[float]:
    """What was asked, in that order; with nothing asked at all, every joint of the axis."""
    asked = list(args.at)
    start, end = axis.start_chainage_m, axis.end_chainage_m
    if args.every:
        count = math.floor((end - start) / args.every + 1e-9)
        if count > _MOST_ROWS:
            raise CommandLineWrong(
                f"--every {args.every:g}: makes {count + 1} rows, at most {_MOST_ROWS} are given"
            )
        steps = [start + i * args.every for i in range(count + 1)]
        if end - steps[-1] > _SAME_CHAINAGE_M:
            steps.append(end)
        asked += steps
    elif not asked and not args.locate and not args.plot:
        joints = sorted({round(j, 6) for j in (*axis.plan.joints_m, *axis.profile.joints_m)})
        asked = [min(start + j, end) for j in joints]
    return asked


def _coordinates(point: tuple[float, float, float]) -> str:
    return ",".join(f"{v:.10g}" for v in point)


def _print_csv(
    args: argparse.Namespace, rows: list[dict[str, float]], found: list[dict[str, float | str | None]]
) -> None:
    out = csv.writer(sys.stdout, lineterminator="\n")
    if args.locate:
        out.writerow(("point_easting_m", "point_northing_m", "point_level_m", *LOCATE_FIELDS))
        for point, place in zip(args.locate, found, strict=True):
            out.writerow((*point, *("" if place[k] is None else place[k] for k in LOCATE_FIELDS)))
    else:
        out.writerow(AT_FIELDS)
        out.writerows(row.values() for row in rows)


def _print_tables(
    args: argparse.Namespace,
    axis: Axis,
    rows: list[dict[str, float]],
    found: list[dict[str, float | str | None]],
) -> None:
    if rows:
        _print_setting_out(rows)
        _print_curves(axis, rows)
    if rows and found:
        print()
    if found:
        print("      easting      northing      level   chainage  line           level")
        for (e, n, z), place in zip(args.locate, found, strict=True):
            point = f"{e:13.4f} {n:13.4f} {z:10.4f}"
            if place["chainage_m"] is None:
                print(f"{point}  no unique foot on the axis")
                continue
            c, line, level = (float(place[k]) for k in LOCATE_FIELDS)  # type: ignore[arg-type]
            print(f"{point} {c:10.3f}  {_side(line, 'right', 'left')} {_side(level, 'high', 'low')}".rstrip())


def _print_setting_out(rows: list[dict[str, float]]) -> None:
    names = ("chainage", "easting", "northing", "level", "bearing", "grade")
    units = ("m", "m", "m", "m", "degrees", "mm/m")
    for head in (names, units):
        print("{:>10} {:>13} {:>13} {:>10} {:>11}  {}".format(*head))
    for row in rows:
        c, e, n, z, b, g, _, _ = row.values()
        grade = f"{abs(g):.3f} {'rising' if g > 0.0 else 'falling' if g < 0.0 else 'level'}"
        print(f"{c:10.3f} {e:13.4f} {n:13.4f} {z:10.4f} {b:11.5f}  {grade}")


def _print_curves(axis: Axis, rows: list[dict[str, float]]) -> None:
    """A table of its own, of the curved rows only: beside the coordinates it would not fit 80 columns."""
    curves = []
    for row in rows:
        c, _, _, _, _, _, k, kv = row.values()
        plan = _radius(k, "right", "left")
        level = _radius(kv, "up", "down", axis.profile.radius_m(c - axis.start_chainage_m))
        if (plan, level) != ("straight", "straight"):
            curves.append(f"{c:10.3f}  {plan:<20}{level}")
    print()
    if not curves:
        print("Straight in plan and in level there.")
        return
    if len(curves) < len(rows):
        print("Straight in plan and in level where not listed here:")
    print(f"{'chainage':>10}  {'radius in plan':<20}radius in level")
    print(f"{'m':>10}  {'m':<20}m", *curves, sep="\n")


def _radius(curvature_mm_per_m2: float, plus: str, minus: str, radius_m: float | None = None) -> str:
    """The radius that makes this curvature, or the one given, with its side in words."""
    if abs(curvature_mm_per_m2) < 1e-6:  # a radius of over a million kilometres
        return "straight"
    size = abs(1e3 / curvature_mm_per_m2 if radius_m is None else radius_m)
    return f"{size:.1f} {plus if curvature_mm_per_m2 > 0.0 else minus}"


def _side(value_mm: float, plus: str, minus: str) -> str:
    if abs(value_mm) < 0.05:
        return "0.0 mm".ljust(14)
    if abs(value_mm) >= 1e4:
        return f"{abs(value_mm) / 1e3:.4f} m {plus if value_mm >= 0.0 else minus}".ljust(14)
    return f"{abs(value_mm):.1f} mm {plus if value_mm >= 0.0 else minus}".ljust(14)


def _number(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not abs(number) <= _FARTHEST_M:
        raise argparse.ArgumentTypeError(f"{text!r} must be a number (m), at most {_FARTHEST_M:g} either way")
    return number


def _step(text: str) -> float:
    number = _number(text)
    if number < _SHORTEST_STEP_M:
        raise argparse.ArgumentTypeError(f"{text!r} must be at least {_SHORTEST_STEP_M:g} (m)")
    return number


def _point(text: str) -> tuple[float, float, float]:
    parts = text.split(",")
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(
            f"{text!r} must be EASTING,NORTHING,LEVEL in m, decimals with a point"
        )
    e, n, z = (_number(part) for part in parts)
    return e, n, z


def _plot_file(text: str) -> Path:
    path = Path(text)
    if path.suffix.lower() not in _PLOT_SUFFIXES:
        raise argparse.ArgumentTypeError(f"{text!r} must end in {', '.join(_PLOT_SUFFIXES)}")
    return path
