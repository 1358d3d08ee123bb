"""A drive wound to one of its moments: what was known then, and what is known now of the same place."""

from __future__ import annotations

import bisect
from collections import OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from steer.advice import Advice, ForecastPoint, Notice, Snapshot
from steer.asbuilt.force_now import AtStrokeEnds, SharpestJoint
from steer.closed_loop import MemoryLog, drive_in_memory
from steer.drive import Drive
from steer.drivefile import DriveFile
from steer.errors import CommandLineWrong, InputRefused
from steer.estimate.smoother import SmoothedPath
from steer.log import Event
from steer.replay.moments import Moment, in_order, moments

ROUNDED_M = 0.1  # a chainage as people type it
KEPT = 400  # frames kept for winding back


@dataclass(frozen=True)
class Known:
    """The face at a chainage with all that is known now: mm, with sd."""

    chainage_m: float
    line_mm: float
    line_sd_mm: float
    level_mm: float
    level_sd_mm: float


@dataclass(frozen=True)
class Frame:
    """One moment. `advice` and `snapshot` hold only what was known then (`snapshot` when asked for).

    now              the face at that chainage as known now
    set_mm_per_m     articulation (right, up) that the next stroke was driven with; None at the last moment
    decided          "accepted" or "overridden" when the log says so, else ""
    came             the forecast's place some strokes on, as known now; None beyond what was driven
    new_notices      notices that were not there the moment before
    """

    moment: Moment
    advice: Advice | None
    snapshot: Snapshot | None
    now: Known
    set_mm_per_m: tuple[float, float] | None
    decided: str
    came: Known | None
    new_notices: tuple[Notice, ...]


class Reel:
    """The moments of one drive. Make it with `Reel.open`."""

    def __init__(self, file: DriveFile, events: list[Event], today: SmoothedPath) -> None:
        self.file, self.today = file, today
        self.events, self.own_order = in_order(events)
        self.moments = moments(file, self.events)
        self._joints, self._ends = SharpestJoint(file), AtStrokeEnds(file)
        self._frames: OrderedDict[int, Frame] = OrderedDict()
        self._wind_to_start()

    @classmethod
    def open(cls, folder: str | Path) -> Reel:
        """Reads a drive folder. Raises InputRefused when nothing has been driven in it."""
        with Drive.open(folder) as drive:
            reel = cls(drive.file, list(drive.events()), drive.smoothed())
        if not reel.moments or len(reel.today.chainage_m) == 0:
            raise InputRefused(f"{folder}: there is no reading in it yet, so nothing to replay")
        return reel

    def number_at(self, chainage_m: float) -> int:
        """Number of the first moment at or beyond a chainage; the last one when it lies just beyond all.
        Raises CommandLineWrong for one that was not driven."""
        at = [m.chainage_m for m in self.moments]
        start = min(self.file.axis.start_chainage_m, at[0])
        if not start - ROUNDED_M <= chainage_m <= at[-1] + ROUNDED_M:
            raise CommandLineWrong(
                f"--from {chainage_m:g}: the drive went from {start:.2f} m to {at[-1]:.2f} m"
            )
        return min(bisect.bisect_left(at, chainage_m - 1e-6), len(at) - 1)

    def _wind_to_start(self) -> None:
        self._log = MemoryLog()
        self._drive = drive_in_memory(self.file, self._log)
        self._next = 0  # the first event that is not folded yet

    def drive_at(self, number: int) -> Drive:
        """The drive as it stood at a moment; valid until the reel is wound on."""
        upto = self.moments[number].upto
        if upto < self._next - 1:
            self._wind_to_start()
        for event in self.events[self._next : upto + 1]:
            self._log.put(event)
        self._next = upto + 1
        self._drive.refresh()
        return self._drive

    def frame(self, number: int, whole: bool = True) -> Frame:
        """One moment; without `whole` its snapshot is left out, which is quicker."""
        kept = self._frames.get(number)
        if kept is not None and (kept.snapshot is not None or not whole):
            self._frames.move_to_end(number)
            return kept
        before = self._frames.get(number - 1)
        drive = self.drive_at(number)
        advice = drive.advice()
        snapshot = drive.snapshot() if whole else None
        if snapshot is not None and advice is not None:
            advice = self._joints.tell(advice, drive.follower, snapshot.path, drive.decisions)
            snapshot = replace(snapshot, advice=advice)
        elif advice is not None:
            advice = self._ends.tell(drive, advice)
        moment = self.moments[number]
        known_before = {n.code for n in before.advice.notices} if before and before.advice else set()
        notices = advice.notices if advice is not None else ()
        frame = Frame(
            moment, advice, snapshot, self.known(moment.chainage_m), self._set_after(moment),
            self._decided_after(number), self._came(advice),
            tuple(n for n in notices if n.code not in known_before),
        )  # fmt: skip
        self._frames[number] = frame
        while len(self._frames) > KEPT:
            self._frames.popitem(last=False)
        return frame

    def known(self, chainage_m: float) -> Known:
        """The face at a chainage as known now."""
        path = self.today
        at = path.chainage_m
        figures = [
            float(np.interp(chainage_m, at, values))
            for values in (path.line_mm, path.line_sd_mm, path.level_mm, path.level_sd_mm)
        ]
        return Known(chainage_m, *figures)

    def _set_after(self, moment: Moment) -> tuple[float, float] | None:
        """Articulation that acted half a stroke further on."""
        path = self.today
        place = moment.chainage_m + 0.5 * self.file.drive.stroke_m
        i = int(np.searchsorted(path.chainage_m, place))
        if i >= len(path.chainage_m):
            return None
        return float(path.articulation_mm_per_m[i, 0]), float(path.articulation_mm_per_m[i, 1])

    def _decided_after(self, number: int) -> str:
        begin = self.moments[number].upto + 1
        end = self.moments[number + 1].upto if number + 1 < len(self.moments) else len(self.events)
        words = [e.kind for e in self.events[begin:end] if e.kind in ("accepted", "overridden")]
        return words[-1] if words else ""

    def _came(self, advice: Advice | None) -> Known | None:
        point = looked_ahead(advice)
        if point is None or point.chainage_m > self.today.chainage_m[-1] + 1e-6:
            return None
        return self.known(point.chainage_m)


def looked_ahead(advice: Advice | None) -> ForecastPoint | None:
    """The point of the forecast that a replay compares with what came: five strokes on, or the last."""
    if advice is None or not advice.forecast:
        return None
    return advice.forecast[min(len(advice.forecast), 5) - 1]
