"""Every advice that the log says was given, computed again from the raw events before it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from steer.drive import Drive
from steer.drivefile import load_drive
from steer.log import Event, Log

TOLERANCE_MM_PER_M = 0.001  # of articulation, between one computer and another


@dataclass
class Recomputed:
    """`given`: advices in the log. `different`: (sequence, program, what is different) of those that come
    out otherwise today, with today's drive.toml and this version of the program."""

    given: int = 0
    different: list[tuple[int, str, str]] = field(default_factory=list)


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
    file = load_drive(folder)
    found = Recomputed()
    with Log.open(folder) as log:
        advised = [(row[0], str(row[2])) for row in log.raw() if row[3] == "advised"]
        beginning = _Beginning(log)
        drive = Drive(Path(folder), file, cast(Log, beginning))
        for sequence, program in advised:
            beginning.upto = sequence - 1
            drive.refresh()
            event = next(log.events(sequence - 1))
            found.given += 1
            if said := _difference(drive, event):
                found.different.append((sequence, program, said))
    return found


def _difference(drive: Drive, event: Event) -> str:
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
