"""Which reading tells of the present: the newest one, not the last to arrive.

Loggers hand readings over again, networks hold them back, files of old ones are read afterwards. What such a
reading says of cylinders, roll and time is of the past. A reading is late when its own time is older than the
newest that told the same, and it does not lie beyond the furthest; without a time, when it lies further back
than any rebound (`BACK_JUMP_M`). Two loggers may each tell a part, by clocks that differ, so each thing told
is watched by itself.

A clock that is set back makes every reading old. Then the chainage goes on (`ON_M` beyond the furthest), and
what is read belies what was read at that time: the face stood elsewhere, or the cylinders otherwise. `SEVERAL`
such readings in a row, the string not further back than it rebounds, are the present. A counter that was reset
goes on in time and is the present too.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Any

from steer.estimate.cells import BACK_JUMP_M

SEVERAL = 3  # readings in a row
ON_M = 0.05  # beyond any rebound of the string, 1 to 30 mm
_SAME_PLACE_M = 0.005
_KEPT = 400  # places where the face or the cylinders stood

Extensions = Sequence[float | None]


class Newest:
    """Watches the readings that tell one thing. `near_mm`: cylinders nearer than that stand alike."""

    def __init__(self, near_mm: float = 0.0) -> None:
        self.near_mm = near_mm
        self.time = ""  # of the newest; ISO 8601, UTC, without its Z
        self.top_m = -math.inf  # the furthest of them
        self._past: deque[tuple[str, float, Extensions]] = deque(maxlen=_KEPT)
        self._row: list[str] = []  # times of readings that belie the past
        self.turned = False  # whether the last reading offered showed that the clock was set back

    def offer(self, time: str | None, s_m: float, track_m: float, cylinder_mm: Extensions = ()) -> bool:
        """Whether a reading at chainage `s_m` tells of the present. `track_m` is the furthest chainage that is
        believed: one wild reading beyond it makes no other late."""
        self.turned = False
        if not self._is_newest(time, s_m, cylinder_mm):
            return False
        self._row.clear()
        self.top_m = max(self.top_m, min(s_m, track_m))
        if time is not None:
            self.time = time
            self._keep(time, s_m, cylinder_mm)
        return True

    def set_back(self, time: str) -> None:
        """The clock was set back to this time: what was told at the times before says nothing any more."""
        self.time, self.turned = time, True
        self._past.clear()
        self._row.clear()

    def _is_newest(self, time: str | None, s_m: float, cylinder_mm: Extensions) -> bool:
        behind = s_m < self.top_m - BACK_JUMP_M
        if time is None:
            return not behind
        if time >= self.time:
            return True
        if s_m > self.top_m + ON_M:
            self.set_back(time)
            return True
        if behind or self._fits(time, s_m, cylinder_mm):
            self._row.clear()
            return False
        if self._row and time < self._row[-1]:
            self._row.clear()
        self._row.append(time)
        if len(self._row) < SEVERAL:
            return False
        self.set_back(self._row[0])
        return True

    def _fits(self, time: str, s_m: float, cylinder_mm: Extensions) -> bool:
        """Whether the reading fits what was told about its time: then it is late, else the clock is wrong."""
        before = after = None
        for told in reversed(self._past):
            if told[0] <= time:
                before = told
                break
            after = told
        if after is None:
            return False
        if before is None:
            return s_m <= after[1] + ON_M
        low, high = sorted((before[1], after[1]))
        if not low - ON_M <= s_m <= high + ON_M:
            return False
        stood = self._alike(before[2], after[2])
        return not stood or self._alike(cylinder_mm, before[2])

    def _keep(self, time: str, s_m: float, cylinder_mm: Extensions) -> None:
        """Of a machine that stands still the first and the last reading are kept."""
        past = self._past
        if len(past) > 1 and all(
            abs(told[1] - s_m) < _SAME_PLACE_M and self._alike(told[2], cylinder_mm)
            for told in (past[-1], past[-2])
        ):
            past.pop()
        past.append((time, s_m, cylinder_mm))

    def _alike(self, one: Extensions, other: Extensions) -> bool:
        pairs = zip(one, other, strict=False)
        return all(a is None or b is None or abs(a - b) <= self.near_mm for a, b in pairs)


class Present:
    """What the newest readings told.

    sequence         the newest reading; 0: none yet
    time             the newest time that a reading told, None where none did; `timed`: the newest told it itself
    roll_deg         as read last, 0 before
    cylinders_read   sequence and chainage (m) of the newest reading of cylinders
    heard            the newest reading that is not known to be late: the logger lives
    """

    def __init__(self, near_mm: float) -> None:
        self._any = Newest()
        self._parts = {"roll_deg": Newest(), "cylinder_mm": Newest(near_mm)}
        self.sequence = self.heard = 0
        self.time: str | None = None
        self.timed = False
        self.roll_deg = 0.0
        self.cylinders_read: tuple[int, float] | None = None

    def take(
        self, sequence: int, body: dict[str, Any], s_m: float, track_m: float
    ) -> tuple[dict[str, Any], bool]:
        """Take the next reading, at chainage `s_m` by the corrected counter; `track_m` as in `Newest.offer`. Answers
        its body without what is no longer so, and whether it is the newest in anything."""
        told = body.get("time")
        time = None if told is None else told.rstrip("Z")
        asked: dict[str, Newest] = {"time": self._any}
        asked |= {name: watch for name, watch in self._parts.items() if body.get(name) is not None}
        newest = {
            name: watch.offer(time, s_m, track_m, body[name] if name == "cylinder_mm" else ())
            for name, watch in asked.items()
        }
        if time is not None and any(watch.turned for watch in asked.values()):
            # one clock: what one of them finds out holds for all
            for watch in (self._any, *self._parts.values()):
                if not watch.turned:
                    watch.set_back(time)
            newest = dict.fromkeys(newest, True)
        if newest["time"]:
            self.sequence, self.timed, self.time = sequence, time is not None, told or self.time
        if newest["time"] or time is None:
            self.heard = sequence
        if newest.get("roll_deg"):
            self.roll_deg = float(body["roll_deg"])
        if newest.get("cylinder_mm") and any(mm is not None for mm in body["cylinder_mm"]):
            self.cylinders_read = sequence, s_m
        late = [name for name in self._parts if newest.get(name) is False]
        return ({k: v for k, v in body.items() if k not in late} if late else body), any(newest.values())
