"""The jacking forces read: those of the last stroke, and the largest of every stroke."""

from __future__ import annotations

import math
from typing import NamedTuple

from steer.estimate.cells import BACK_JUMP_M

_FEW = 64  # forces of which none is let go


class Peak(NamedTuple):
    """The largest force of a stroke (kN), read at a chainage `at_m` by the event `sequence`; the furthest chainage at
    which the stroke's forces were read is `end_m`."""

    end_m: float
    kn: float
    at_m: float
    sequence: int


class Forces:
    """Takes readings of force in the order in which they come; strokes of `stroke_m` from `start_m`."""

    def __init__(self, start_m: float, stroke_m: float) -> None:
        self._start_m, self._stroke_m = start_m, stroke_m
        self._last: list[tuple[float, float]] = []  # chainage, kN, at least of the last two strokes
        self._furthest_m, self._let_go_at = -math.inf, _FEW
        self.peaks: dict[int, Peak] = {}  # by number of stroke

    def take(self, sequence: int, kn: float, s_m: float, top_m: float, late: bool) -> None:
        """A force (kN) read at `s_m`, while the furthest chainage believed is `top_m`. One that is not `late` was read
        at the face, whatever a counter says that was reset or leaps."""
        if late and s_m > top_m:
            return
        at_m = s_m if late or top_m - BACK_JUMP_M <= s_m <= top_m else top_m
        self._last.append((at_m, kn))
        self._furthest_m = max(self._furthest_m, at_m)
        if len(self._last) >= self._let_go_at:
            self._last = [r for r in self._last if r[0] >= self._furthest_m - 2.0 * self._stroke_m]
            self._let_go_at = max(_FEW, 2 * len(self._last))
        place_m = at_m if late else top_m
        number = max(math.ceil((place_m - self._start_m) / self._stroke_m - 1e-6), 0)
        old = self.peaks.get(number)
        if old is None or kn > old.kn:
            self.peaks[number] = Peak(max(place_m, old.end_m if old else place_m), kn, at_m, sequence)
        elif place_m > old.end_m:
            self.peaks[number] = old._replace(end_m=place_m)

    def newest(self, top_m: float) -> tuple[float, float] | None:
        """The largest force read over the last stroke (kN), and its chainage (m); None where none was read so near
        `top_m`."""
        newest = self._furthest_m
        if newest < top_m - self._stroke_m:
            return None
        at_m, kn = max((r for r in self._last if r[0] >= newest - self._stroke_m), key=lambda r: r[1])
        return kn, at_m
