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
        if (time is None or time < self.time) and not self._is_newest(time, s_m, cylinder_mm):
            return False
        if self._row:
            self._row.clear()
        believed_m = s_m if s_m < track_m else track_m
        if believed_m > self.top_m:
            self.top_m = believed_m
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
        if (
            len(past) > 1
            and abs(past[-1][1] - s_m) < _SAME_PLACE_M
            and abs(past[-2][1] - s_m) < _SAME_PLACE_M
            and self._alike(past[-1][2], cylinder_mm)
            and self._alike(past[-2][2], cylinder_mm)
        ):
            past[-1] = time, s_m, cylinder_mm
        else:
            past.append((time, s_m, cylinder_mm))

    def _alike(self, one: Extensions, other: Extensions) -> bool:
        for a, b in zip(one, other, strict=False):
            if a is not None and b is not None and abs(a - b) > self.near_mm:
                return False
        return True


class Present:
    """What the newest readings told.

    sequence         the newest reading; 0: none yet
    time             the newest time that a reading told, None where none did; `timed`: the newest told it itself
    roll_deg         as read last, 0 before
    cylinders_read   sequence and chainage (m) of the newest reading of cylinders
    heard            the newest reading that is not known to be late: the logger lives
    """

    def __init__(self, near_mm: float) -> None:
        self._any, self._roll, self._cylinders = Newest(), Newest(), Newest(near_mm)
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
        told, roll, cylinders = body.get("time"), body.get("roll_deg"), body.get("cylinder_mm")
        time = None if told is None else told.rstrip("Z")
        any_new = self._any.offer(time, s_m, track_m)
        roll_new = roll is not None and self._roll.offer(time, s_m, track_m)
        cylinders_new = cylinders is not None and self._cylinders.offer(time, s_m, track_m, cylinders)
        if time is not None and (self._any.turned or self._roll.turned or self._cylinders.turned):
            self._set_back(time)
            any_new, roll_new, cylinders_new = True, roll is not None, cylinders is not None
        if any_new:
            self.sequence, self.timed, self.time = sequence, time is not None, told or self.time
        if any_new or time is None:
            self.heard = sequence
        if roll is not None and roll_new:
            self.roll_deg = float(roll)
        if cylinders is not None and cylinders_new and any(mm is not None for mm in cylinders):
            self.cylinders_read = sequence, s_m
        late = (roll is not None and not roll_new) + 2 * (cylinders is not None and not cylinders_new)
        return _without(body, late) if late else body, any_new or roll_new or cylinders_new

    def _set_back(self, time: str) -> None:
        """One clock: what one of them finds out holds for all."""
        for watch in (self._any, self._roll, self._cylinders):
            if not watch.turned:
                watch.set_back(time)
            watch.turned = False


def _without(body: dict[str, Any], late: int) -> dict[str, Any]:
    """Without the roll (1), the cylinders (2), or both (3)."""
    names = ((), ("roll_deg",), ("cylinder_mm",), ("roll_deg", "cylinder_mm"))[late]
    return {name: value for name, value in body.items() if name not in names}
