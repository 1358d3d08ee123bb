"""Whether a check shot is a survey that the log holds already, given again in another form.

A survey given as observations and as coordinates, or in two files, would count twice: the estimate would be
surer than the survey makes it. So a shot from a file that repeats another one waits for a person's word.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate.shots import Shot, shot_of
from steer.estimate.words import ShotWords

APART_MM = 1.0  # between the two positions, in each plane: what rounding of coordinates to mm makes of one
ALONG_M = 0.01  # between the two chainages
TIME_APART = timedelta(minutes=1)  # a time told to the minute, and one told to the second


def same_survey(one: Shot, other: Shot) -> bool:
    """Whether both tell the same position of the same point; times count where both tell one."""
    if one.point != other.point or abs(one.s_m - other.s_m) > ALONG_M:
        return False
    if one.time and other.time:
        times = [datetime.fromisoformat(time) for time in (one.time, other.time)]
        if abs(times[0] - times[1]) >= TIME_APART:
            return False
    prisms = [np.array([1000.0 * s.behind_m, *(s.arm_mm or (0.0, 0.0))]) for s in (one, other)]
    apart = np.abs(one.values_mm - other.values_mm)
    told = np.isfinite(apart)  # a survey in plan only tells the line
    return bool(
        told.any()
        and (apart[told] <= APART_MM + 1e-6).all()
        and np.abs(prisms[0] - prisms[1]).max() <= APART_MM
    )


class Surveys:
    """The check shots of a log, to look for one that a new shot repeats."""

    def __init__(self, drive: DriveFile, events: Iterable[Any]) -> None:
        """`events`: the log's check_shot events and people's words on them. A withdrawn shot is as if never given."""
        self._drive = drive
        self._near: dict[tuple[str, int], list[Shot]] = {}
        self._origin: dict[int, int] = {}  # of a repeat: the shot that it repeats
        given: dict[int, Mapping[str, Any]] = {}
        words = ShotWords()
        for event in events:
            if event.kind == "check_shot":
                given[event.sequence] = event.body
            words.take(event)
        for sequence, body in given.items():
            if words.word(sequence) != "withdrawn":
                self._add(shot_of(drive, sequence, body))

    def repeated(self, sequence: int, body: Mapping[str, Any]) -> int | None:
        """The earliest shot that this new one repeats, or None; the new one is remembered."""
        shot = shot_of(self._drive, sequence, body)
        if shot is None:
            return None
        place = _place(shot.s_m)
        near = [s for k in (-1, 0, 1) for s in self._near.get((shot.point, place + k), [])]
        found = min((s.sequence for s in near if same_survey(s, shot)), default=None)
        if found is None:
            self._add(shot)
            return None
        found = self._origin.get(found, found)
        self._origin[sequence] = found
        self._add(shot)
        return found

    def _add(self, shot: Shot | None) -> None:
        if shot is not None:
            self._near.setdefault((shot.point, _place(shot.s_m)), []).append(shot)
            if shot.repeats is not None:
                self._origin[shot.sequence] = shot.repeats


def _place(s_m: float) -> int:
    return math.floor(s_m / ALONG_M)
