"""`steer check FOLDER`: whether the folder is sound, what the drive is, and what looks doubtful."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from steer.errors import InputRefused
from steer.text import printable

if TYPE_CHECKING:
    from steer.drivefile import DriveFile

_WIDTH = 80


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The folder to look at, and where to draw the survey plan."""
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument(
        "--plan-plot",
        metavar="FILE",
        type=_plot_file,
        help="draw how well line and level will be known, with and without check surveys (png, pdf, svg)",
    )


def _plot_file(text: str) -> Path:
    from steer.survey_plan.drawing import PLOT_SUFFIXES

    path = Path(text)
    if path.suffix.lower() not in PLOT_SUFFIXES:
        raise argparse.ArgumentTypeError(f"{text!r} must end in {', '.join(PLOT_SUFFIXES)}")
    return path


def run(args: argparse.Namespace) -> int:
    """Prints what was found; a folder that cannot be used raises `FolderUnusable` (exit 3)."""
    from steer.drivefile import load_drive
    from steer.feasibility import answer, feasibility, page
    from steer.survey_plan import finding, survey_plan
    from steer.survey_plan import page as plan_page

    file = load_drive(args.folder)
    lines = describe(file)
    lines += [f"Axis: {note}" for note in file.axis.notes]
    lines += _log(Path(args.folder))
    lines += [f"Doubtful: {line}" for line in file.warnings] or ["Nothing doubtful in drive.toml."]
    plan = survey_plan(file)
    findings = [*feasibility(file), *([finding(plan)] if plan is not None else [])]
    lines += ["", *textwrap.wrap(f"Can it be driven? {answer(findings)}", _WIDTH), *page(findings)]
    lines += ["", "How well will it be known, and which check surveys does it need?", *plan_page(plan)]
    if args.plan_plot:
        from steer.asbuilt.writing import write_whole
        from steer.survey_plan.drawing import draw_plan

        if plan is None:
            raise InputRefused(f"--plan-plot {args.plan_plot}: nothing to draw, no plan was made")
        write_whole(args.plan_plot, lambda place: draw_plan(plan, place, file.drive.name))
        print(f"steer: drawn in {printable(args.plan_plot)}", file=sys.stderr)
    print("\n".join(_narrow(lines)))
    return 0


def _narrow(lines: list[str]) -> list[str]:
    """No line wider than a small terminal, which would break it inside a word."""
    return [
        part
        for line in lines
        for part in (textwrap.wrap(line, _WIDTH, subsequent_indent="  ") if len(line) > _WIDTH else [line])
    ]


def describe(file: DriveFile) -> list[str]:
    """The drive as the file gives it, one line a subject, with units and directions in words."""
    machine, cylinders, target, pipe = file.machine, file.machine.cylinders, file.target, file.pipe
    places = ", ".join(f"{position:g}" for position in cylinders.positions_deg)
    lines = [
        f"Drive: {file.drive.name}",
        *_axis(file),
        f"Tolerance: line {file.tolerance.line_mm:g} mm right or left, "
        f"level {file.tolerance.level_mm:g} mm high or low",
    ]
    if eye := file.tolerance.eye:
        lines.append(f"Reception eye: line {eye.line_mm:g} mm, level {eye.level_mm:g} mm")
    lines += [
        f"Machine: {machine.length_m:g} m long, articulated {machine.front_length_m:g} m behind the face, "
        f"diameter {machine.outer_diameter_mm:g} mm",
        f"Cylinders: {len(cylinders.positions_deg)} at {places} degrees clockwise from the top, "
        f"{cylinders.range_mm[0]:g} to {cylinders.range_mm[1]:g} mm, "
        f"straight at {cylinders.neutral_mm:g} mm, set in steps of {cylinders.step_mm:g} mm",
        f"Steering limits: articulation {machine.max_articulation_mm_per_m:g} mm/m, "
        f"change {machine.max_change_mm_per_m:g} mm/m per stroke of {file.drive.stroke_m:g} m",
        f"Target: {target.behind_face_m:g} m behind the face, {_side(target.right_mm, 'right', 'left')} and "
        f"{_side(target.up_mm, 'above', 'below')} the machine axis",
        _reference(file),
        f"Pipe: {pipe.length_m:g} m long, diameter {pipe.outer_diameter_mm:g} mm outside and "
        f"{pipe.inner_diameter_mm:g} mm inside, joints to {pipe.max_joint_angle_mm_per_m:g} mm/m: "
        f"no curve tighter than R = {1000 * pipe.length_m / pipe.max_joint_angle_mm_per_m:.0f} m",
        "Force check: " + ("possible" if pipe.has_force_keys else "not possible without the packer keys"),
    ]
    return lines


def _axis(file: DriveFile) -> list[str]:
    import numpy as np

    axis = file.axis
    start, end = axis.start_chainage_m, axis.end_chainage_m
    lines = [f"Axis: chainage {start:.3f} m to {end:.3f} m, {end - start:.3f} m in plan"]
    chainage = np.linspace(start, end, min(100_001, 2 + round(10 * (end - start))))
    points = axis.at(chainage)
    for plane, curvature, more, less in (
        ("plan", points.curvature_right_mm_per_m2, "right", "left"),
        ("level", points.curvature_up_mm_per_m2, "upward", "downward"),
    ):
        size = np.abs(curvature)
        at = int(np.argmax(size))
        if size[at] < 1e-6:
            lines.append(f"In {plane}: straight")
        else:
            way = more if np.asarray(curvature)[at] > 0 else less
            radius = (
                1000.0 / size[at] if plane == "plan" else abs(axis.profile.radius_m(chainage[at] - start))
            )
            lines.append(
                f"In {plane}: tightest curve R = {radius:.0f} m, turning {way}, "
                f"at chainage {chainage[at]:.1f} m"
            )
    grades = np.asarray(points.grade_mm_per_m)
    lines.append(
        f"Grade: {_rise(grades[0])}"
        if np.ptp(grades) < 0.005
        else f"Grade: {_rise(grades[0])} at the start, {_rise(grades[-1])} at the end"
    )
    return lines


def _rise(grade_mm_per_m: float) -> str:
    if abs(grade_mm_per_m) < 0.005:
        return "level"
    return f"{'rising' if grade_mm_per_m > 0 else 'falling'} {abs(grade_mm_per_m):.2f} mm/m"


def _side(value: float, more: str, less: str, unit: str = "mm") -> str:
    return f"{abs(value):g} {unit} {more if value >= 0 else less}"


def _reference(file: DriveFile) -> str:
    reference = file.reference
    where = (
        f"{_side(reference.right_mm, 'right', 'left')} and {_side(reference.up_mm, 'above', 'below')} "
        "the design axis"
    )
    if reference.kind == "axis":
        return f"Reference: follows the design axis, {where}"
    return (
        f"Reference: a beam fixed in the launch shaft, {where} at the start, "
        f"pointing {_side(reference.right_mm_per_m, 'right', 'left', 'mm/m')} "
        f"and {_side(reference.up_mm_per_m, 'up', 'down', 'mm/m')} against it"
    )


def _log(folder: Path) -> list[str]:
    """What the log holds; opening it also proves that it can be read."""
    from steer.log import LOG_NAME, Log

    if not (folder / LOG_NAME).exists():
        return ["Log: none yet, the first reading makes it"]
    kinds: Counter[str] = Counter()
    with Log.open(folder) as log:
        kinds.update(event.kind for event in log.events())
    total = sum(kinds.values())
    held = ", ".join(f"{printable(kind.replace('_', ' '))} {count}" for kind, count in sorted(kinds.items()))
    return [f"Log: readable, {total} event{'' if total == 1 else 's'}{f' ({held})' if held else ''}"]
