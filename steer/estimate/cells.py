"""Readings grouped along the chainage: one cell is one measurement of each channel.

Cost and knowledge go with advance, not with the number of readings. Cells are cut by a fixed grid
along the axis, so the grouping depends on the readings alone and not on when anybody asked.

Standing readings. A machine that stands still repeats one spot on one target: thermal swirl,
vibration and the target's own error are the same each time. Readings within `STATION_M` of one
another therefore count as one station with correlation `REPEAT_CORRELATION`: n repeats leave a
variance of r·(ρ + (1 − ρ)/n), however large n is.

Moving readings. Within one cell they share the air and the light, so NEIGHBOUR_SHARE of their variance
is taken as common and does not average out in the cell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from steer.estimate import small

STATION_M = 0.02
REPEAT_CORRELATION = 0.5
NEIGHBOUR_SHARE = 0.15
LONGEST_CELL_M = 0.3  # of longer ones a fault that comes at once fills the first, and is seen later
FORWARD_JUMP_M = 3.0  # an advance between two readings that one reading alone cannot claim
BACK_JUMP_M = 0.5  # further back than any rebound of the string
NEAR_M = 1.5  # readings that agree about where the face is


def cell_length(stroke_m: float) -> float:
    """Length of a cell (m): a whole part of the stroke."""
    return stroke_m / math.ceil(stroke_m / LONGEST_CELL_M - 1e-9)


@dataclass(frozen=True)
class Jump:
    """The chainage of readings jumped: from, to (m), seen for sure at which event, and which was its first
    (`first`). `ends`: strokes' ends that were told since the reading before it."""

    sequence: int
    from_m: float
    to_m: float
    confirmed: bool
    first: int = 0
    ends: int = 0


class Track:
    """Follows the chainage through rebounds, gaps, wild values and counters that were reset.

    `offer` answers which readings count now, as (index, chainage) in order; one that claims a large
    advance waits until the next one agrees with it.

    Five readings in a row near one another, further back than any rebound, are a counter that was reset:
    from then on it is `lost`, and what it says does not count, not even beyond where it once was, since it
    lacks metres there as well. It is found again by a person's word (`counter`), or when it leaps to where
    it was, as after some readings of zero.
    """

    def __init__(self, start_m: float) -> None:
        self.start_m = start_m
        self.top_m: float | None = None
        self.offset_m = 0.0
        self.ruling = 0
        self.lost = False
        self.accepted = 0
        self.behind = 0
        self.behind_at_m = 0.0
        self.behind_first = 0  # the first of them
        self.ends = 0  # strokes' ends told since the last reading that counts
        self.waiting: tuple[int, int, float] | None = None  # index, sequence, chainage
        self.wild = 0
        self.ignored = 0
        self.jumps: list[Jump] = []

    def counter(self, lacks_m: float, ruling: int) -> None:
        """What is added to the counter from here on, and the event that says so (0: none): a new one ends
        the doubt."""
        self.offset_m = lacks_m
        if ruling != self.ruling:
            self.ruling, self.lost, self.behind = ruling, False, 0

    def offer(self, index: int, sequence: int, raw_m: float, old: bool = False) -> list[tuple[int, float]]:
        """Take one reading; returns those that now count. `old`: its time lies within that of others taken
        before (a file that overlaps another), so lying behind says nothing about the counter."""
        s = raw_m + self.offset_m
        top = self.start_m if self.top_m is None else self.top_m
        if self.lost and abs(s - self.behind_at_m) <= FORWARD_JUMP_M:
            self.ignored += 1
            self.behind_at_m = s
            return []
        if s > top + FORWARD_JUMP_M:
            held = self.waiting
            if held is not None and -BACK_JUMP_M <= s - held[2] <= FORWARD_JUMP_M:
                self.waiting, self.lost = None, False
                if self.top_m is not None:
                    self.jumps.append(Jump(sequence, top, held[2], True, held[1], self.ends))
                return self._take(held[0], held[2]) + self._take(index, s)
            if held is not None:
                self.wild += 1
            self.waiting = (index, sequence, s)
            return []
        if self.waiting is not None:
            self.wild += 1
            self.waiting = None
        if s < top - BACK_JUMP_M and self.top_m is not None:
            self.ignored += 1
            if old:
                return []
            self.behind = self.behind + 1 if abs(s - self.behind_at_m) < NEAR_M else 1
            if self.behind == 1:
                self.behind_first = sequence
            self.behind_at_m = s
            if self.behind == 5:
                self.jumps.append(Jump(sequence, top, s, False, self.behind_first, self.ends))
                self.lost = True
            return []
        self.behind, self.lost = 0, False
        return self._take(index, s)

    def settle(self, chainage_m: float | None) -> list[tuple[int, float]]:
        """A stroke's end at `chainage_m` (None: somebody asks) vouches for a reading that waits there."""
        self.ends += chainage_m is not None
        held = self.waiting
        if held is None:
            return []
        vouched = self.top_m is None if chainage_m is None else abs(chainage_m - held[2]) < NEAR_M
        if not vouched:
            return []
        self.waiting, self.lost = None, False
        if self.top_m is not None:
            self.jumps.append(Jump(held[1], self.top_m, held[2], True, held[1], self.ends))
        return self._take(held[0], held[2])

    def _take(self, index: int, s: float) -> list[tuple[int, float]]:
        self.accepted += 1
        self.ends = 0
        self.top_m = s if self.top_m is None else max(self.top_m, s)
        return [(index, s)]


@dataclass(frozen=True)
class Cell:
    """Readings of one cell. Four channels: spot line, spot level, heading line, heading level.

    `s_m` is the furthest chainage reached in it: the node that carries the state. `values` (n, 4)
    as from `geometry.reduce`, `distance_m` along the reference, `advance_mm_per_m` the articulation
    held while advancing through it (line, level), `now_mm_per_m` the one at its readings.
    """

    s_m: float
    key: tuple[int, int]
    first: int
    chainage_m: np.ndarray
    values: np.ndarray
    distance_m: float
    advance_mm_per_m: np.ndarray
    now_mm_per_m: np.ndarray
    station: np.ndarray  # (n,) number of the standing place within the cell
    roll_deg: float = 0.0  # mean of its readings
    roll_read_m: float = 0.0  # most advance of its readings since the roll was last read; inf: never was

    @cached_property
    def _alone(self) -> bool:
        """Whether no reading shares its standing place with another."""
        return len(self.station) == 0 or bool(self.station[-1] == len(self.station) - 1)

    @cached_property
    def _whole(self) -> tuple[np.ndarray, np.ndarray]:
        """Factor and weights while every reading counts, which is usual."""
        every = np.ones(self.values.shape, bool)
        return self._factor(every), self._weights(every)

    def repeats_factor(self, use: np.ndarray) -> np.ndarray:
        """Variance of the mean of the used readings over that of one, per channel: use (n, 4) -> (4,)."""
        return self._whole[0] if use.all() else self._factor(use)

    def weights(self, use: np.ndarray) -> np.ndarray:
        """Weights (n, 4) that sum to 1 per channel over the used readings, equal for each place."""
        return self._whole[1] if use.all() else self._weights(use)

    def _counts(self, use: np.ndarray) -> np.ndarray:
        """Used readings (places, 4) at each standing place."""
        found: np.ndarray = np.add.reduceat(
            use, np.searchsorted(self.station, range(self.station[-1] + 1)), 0, float
        )
        return found

    def _factor(self, use: np.ndarray) -> np.ndarray:
        if self._alone:
            return NEIGHBOUR_SHARE + (1.0 - NEIGHBOUR_SHARE) / np.maximum(use.sum(0), 1)
        counts = self._counts(use)
        each = np.where(counts > 0, REPEAT_CORRELATION + (1 - REPEAT_CORRELATION) / np.maximum(counts, 1), 0)
        places = np.maximum((counts > 0).sum(0), 1)
        # every standing place weighs the same: the mean of its readings is one opinion
        found: np.ndarray = NEIGHBOUR_SHARE + (1.0 - NEIGHBOUR_SHARE) * each.sum(0) / places**2
        return found

    def _weights(self, use: np.ndarray) -> np.ndarray:
        if self._alone:
            return use / np.maximum(use.sum(0), 1)
        counts = self._counts(use)
        places = np.maximum((counts > 0).sum(0), 1)
        return use / np.maximum(counts, 1)[self.station] / places


small.mark(Cell, [f.name for f in fields(Cell) if f.name not in ("s_m", "first")])


def standing_places(chainage_m: np.ndarray) -> np.ndarray:
    """Number the standing places of readings in order: a new one begins STATION_M from the last's first."""
    place = np.empty(len(chainage_m), int)
    number, at = 0, chainage_m[0]
    for i, s in enumerate(chainage_m.tolist()):
        if abs(s - at) >= STATION_M - 1e-9:
            number, at = number + 1, s
        place[i] = number
    return place
