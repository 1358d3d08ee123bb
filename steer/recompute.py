"""Every advice that the log says was given, computed again from the raw events before it.

With the drive file of that time, which the log holds since this program writes it there; advices of older logs
are computed with today's.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from steer.drive import Drive
from steer.drivefile import DriveFile, load_drive
from steer.drivefile.load import parse_drive
from steer.errors import FolderUnusable
from steer.intake import drivetext
from steer.log import Event, Log

TOLERANCE_MM_PER_M = 0.001  # of articulation, between one computer and another


@dataclass
class Recomputed:
    """`given`: advices in the log. `different`: (sequence, program, what is different) of those that come
    out otherwise with this version of the program. `files`: (sequence, arrived, sha256, what to remark) of the
    drive files that the log was told of; `today`: whether the last of them is the one in the folder."""

    given: int = 0
    different: list[tuple[int, str, str]] = field(default_factory=list)
    files: list[tuple[int, str, str, str]] = field(default_factory=list)
    today: bool = True


class _Beginning:
    """The log as it was up to an event, for a `Drive` to read."""

    def __init__(self, log: Log) -> None:
        self.log, self.upto = log, 0

    def events(self, after: int = 0) -> Iterator[Event]:
        for event in self.log.events(after):
            if event.sequence > self.upto:
                return
            yield event

    def last_sequence(self) -> int:
        return self.upto


def recompute(folder: str | os.PathLike[str]) -> Recomputed:
    """Fold the log again and compare at every "advised" event. Raises FolderUnusable as `Drive.open` does."""
    place, file = Path(folder), load_drive(folder)
    found = Recomputed()
    now = drivetext.as_event(place, file)
    with Log.open(folder) as log:
        told = [
            (int(row[0]), str(row[2]), str(row[3]))
            for row in log.raw()
            if row[3] in ("advised", drivetext.KIND)
        ]
        beginning = _Beginning(log)
        drive = Drive(place, file, cast(Log, beginning))
        for sequence, program, kind in told:
            event = next(log.events(sequence - 1))
            if kind == drivetext.KIND:
                then, remark = _of_then(event.body, place, file, now)
                found.files.append((sequence, event.arrived, str(event.body.get("sha256")), remark))
                found.today = drivetext.same(event.body, now)
                drive = Drive(place, then, cast(Log, beginning))
                continue
            beginning.upto = sequence - 1
            drive.refresh()
            found.given += 1
            if said := _difference(drive, event):
                found.different.append((sequence, program, said))
    return found


def _of_then(
    body: dict[str, Any], folder: Path, today: DriveFile, now: dict[str, Any]
) -> tuple[DriveFile, str]:
    """The drive file that an event holds, or today's and a remark why."""
    if drivetext.same(body, now):
        return today, ""
    if body.get("axis_sha256") not in (None, now.get("axis_sha256")):
        return today, "the axis's own file has changed since: advices are computed with today's"
    try:
        return parse_drive(str(body["text"]), folder), ""
    except (KeyError, FolderUnusable):
        return (
            today,
            "its text is not in the log or not known to this version: advices are computed with today's",
        )


def _difference(drive: Drive, event: Event) -> str:
    drive.border.check(event)
    advice = drive.advice()
    if advice is None:
        return "no advice comes out"
    now, then = advice.correction, event.body
    cylinders = [float(v) for v in then["cylinder_mm"]]
    if list(now.cylinder_mm) != cylinders:
        return f"cylinders {_listed(now.cylinder_mm)} mm, then {_listed(cylinders)} mm"
    for name, value in (("right_mm_per_m", now.right_mm_per_m), ("up_mm_per_m", now.up_mm_per_m)):
        if abs(value - float(then[name])) > TOLERANCE_MM_PER_M:
            return f"{name} {value:.3f}, then {float(then[name]):.3f}"
    return ""


def _listed(values: tuple[float, ...] | list[float]) -> str:
    return ", ".join(f"{value:g}" for value in values)
