"""The as-built record in the plain form that the engineer's screen draws (see `tui.source.AsBuilt`)."""

from __future__ import annotations

import os
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from steer.asbuilt import string_words, words
from steer.asbuilt.record import AsBuilt, Plane
from steer.errors import InputRefused

SUFFIXES = {".pdf": "report", ".csv": "csv", ".xlsx": "xlsx", ".dxf": "dxf", ".xml": "landxml"}


@dataclass(frozen=True)
class Point:
    """A station with its deviation (mm) and verdicts."""

    chainage_m: float
    line_mm: float
    line_sd_mm: float
    level_mm: float
    level_sd_mm: float
    verdict_line: str
    verdict_level: str


@dataclass(frozen=True)
class Pipe:
    """Front end of a pipe, counted from the machine, and the joint there; the first has none."""

    number: int
    chainage_m: float
    line_mm: float
    level_mm: float
    verdict: str
    joint_mm_per_m: float | None
    gap_mm: float | None


@dataclass(frozen=True)
class View:
    """All of the screen."""

    points: tuple[Point, ...]
    pipes: tuple[Pipe, ...]
    summary: tuple[str, ...]
    warnings: tuple[str, ...]  # the limits exceeded and the verdicts outside


def view(record: AsBuilt) -> View:
    """The record as the screen takes it."""
    metres, ends = record.metres, record.pipes
    points = tuple(
        Point(
            float(chainage),
            float(offset[0]),
            float(sd[0]),
            float(offset[1]),
            float(sd[1]),
            _word(verdict[0]),
            _word(verdict[1]),
        )
        for chainage, offset, sd, verdict in zip(
            metres.lie.chainage_m, metres.lie.offset_mm, metres.lie.sd_mm, metres.verdict, strict=True
        )
    )
    standing = record.joints.standing
    joints = {
        round(float(at), 3): (_known(angle), _known(gap))
        for at, angle, gap in zip(standing.chainage_m, standing.angle_mm_per_m, standing.gap_mm, strict=True)
    }
    pipes = tuple(
        Pipe(
            number,
            float(chainage),
            float(offset[0]),
            float(offset[1]),
            _word(both),
            *joints.get(round(float(chainage), 3), (None, None)),
        )
        for number, (chainage, offset, both) in enumerate(
            zip(ends.lie.chainage_m, ends.lie.offset_mm, ends.both, strict=True), 1
        )
    )
    overall = f"{words.overall(record)}; {words.covered(record)}"
    outside = record.both.outside_m > 0
    summary = [
        *(() if outside else (overall,)),
        _plane("Line", 0, record.line),
        _plane("Level", 1, record.level),
        *string_words.joints_in_short(record),
        *string_words.force_lines(record)[:1],
    ]
    warnings = [*((overall,) if outside else ()), *string_words.over_limits(record)]
    return View(points, pipes, tuple(summary), tuple(warnings))


def export(record: AsBuilt, path: str) -> str:
    """Write a new file whose ending says its kind; answers what was written.

    Raises InputRefused for another ending, a name that cannot be meant or one that is taken, FolderUnusable when
    the disk is full.
    """
    from steer.asbuilt.outputs import write

    target = Path(os.path.expanduser(path))
    kind = SUFFIXES.get(target.suffix.lower())
    if kind is None:
        raise InputRefused(f"{path}: the name must end in one of {', '.join(SUFFIXES)}")
    write(record, kind, target, new=True)
    return str(target)


def free_name(folder: Path, face_m: float, suffix: str) -> Path:
    """A name that no file has yet, in the drive's folder: the chainage that the record reaches to, and a number
    where there is one already."""
    stem = f"asbuilt-{face_m:.2f}m"
    numbered = (folder / f"{stem}{f'-{n}' if n > 1 else ''}{suffix}" for n in count(1))
    return next(path for path in numbered if not os.path.lexists(path))


def _plane(name: str, plane: int, found: Plane) -> str:
    counted, figures = found.counted, found.figures
    parts = (("outside", counted.outside_m), ("cannot tell", counted.cannot_tell_m))
    said = ", ".join(f"{word} {metres:.1f} m" for word, metres in parts if metres > 0) or "nowhere outside"
    return f"{name}: largest {words.largest(figures, plane)}, RMS {figures.rms_mm:.0f} mm; {said}."


def _word(verdict: object) -> str:
    return str(getattr(verdict, "value", verdict))


def _known(value: float) -> float | None:
    return float(value) if value == value else None
