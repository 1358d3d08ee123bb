"""What a drive's log has told so far, taken in event by event: the estimate, strokes, settings, decisions."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate.follow import Follower
from steer.estimate.rulings import rulings
from steer.estimate.strokes import StrokesEnded
from steer.intake import drivetext
from steer.intake.stored import Border
from steer.log import Event

DECISIONS = ("accepted", "overridden")
SETTINGS = ("advised", *DECISIONS)
_UNDOABLE = (*DECISIONS, "note")
_DRIVEN = ("reading", "check_shot", "reference_set")


class Told:
    """A function of the events alone: who reads the same log knows the same."""

    def __init__(self, file: DriveFile, border: Border) -> None:
        self._file, self._border = file, border
        self.seen = 0  # sequence of the newest event
        self.follower = Follower(file)
        self.ended = StrokesEnded()
        self.end_m: float | None = None  # the newest stroke's end, until something else comes in
        self.end_answered = False
        self.decisions: list[Event] = []  # accepted, overridden, note, not taken back
        self.drive_file: dict[str, object] | None = None  # drive.toml as the log was last told of it
        self.last_arrival: str | None = None
        self._advised: dict[int, np.ndarray] = {}  # articulation (2,) by stroke, the last ones
        self._to_set: list[Event] = []  # settings for the stroke to come, since nothing was driven

    def stroke_number(self) -> int:
        """The number of the stroke that ended last."""
        f = self._file
        counter, top_m = self.follower.known.counter, self.follower.top_m
        return self.ended.number(counter, f.axis.start_chainage_m, top_m, f.drive.stroke_m)

    def advised_before(self, stroke: int) -> np.ndarray | None:
        """The articulation (2,), mm/m, that was advised last before that stroke's advice."""
        before = [n for n in self._advised if n < stroke]
        return self._advised[max(before)] if before else None

    def take(self, event: Event, follow: bool = True) -> bool:
        """Take an event in; False when it changes how earlier ones count: `read_again` then. `follow`: also the
        estimate."""
        self._border.check(event)
        self.seen = event.sequence
        self.last_arrival = event.arrived
        if event.kind == "reading":
            self.ended.reading(float(event.body["chainage_m"]))
        if event.kind == "stroke_end":
            self.end_m = float(event.body["chainage_m"])
            self.ended.end(event.sequence, self.end_m)
            self.end_answered = False
        elif event.kind == "advised":
            self.end_answered = True
            body = event.body
            self._advised[int(body["stroke"])] = np.array(
                [body["right_mm_per_m"], body["up_mm_per_m"]], float
            )
            self._advised = {n: self._advised[n] for n in sorted(self._advised)[-2:]}
        elif event.kind in _DRIVEN:
            self.end_m = None
        elif event.kind in _UNDOABLE:
            self.decisions.append(event)
        elif event.kind == "undone":
            self.decisions = [d for d in self.decisions if d.sequence != int(event.body["event"])]
        elif event.kind == drivetext.KIND:
            self.drive_file = event.body
        return not follow or self._follow(event)

    def read_again(self, events: Callable[[], Iterable[Event]]) -> None:
        """Fold all events taken anew, told from the start of those that change how others count."""
        known = rulings(self._file, (e for e in events() if e.sequence <= self.seen))
        self.follower = Follower(self._file, known)
        self._to_set.clear()
        for event in events():
            if event.sequence > self.seen:
                break
            self._follow(event)

    def _follow(self, event: Event) -> bool:
        """Hand an event on to the estimate. What was advised or chosen stands from the next reading or stroke's
        end on: before, the cylinders still stand as they did, and who asks again has the same answer."""
        if event.kind in SETTINGS:
            self._to_set.append(event)
            return True
        if event.kind in ("reading", "stroke_end"):
            for setting in self._to_set:
                self.follower.take(setting)
            self._to_set.clear()
        elif event.kind == "undone":
            self._to_set = [s for s in self._to_set if s.sequence != int(event.body["event"])]
        return self.follower.take(event)
