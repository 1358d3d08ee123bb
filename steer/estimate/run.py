"""A channel that repeats one value while the machine advances: a sensor that is stuck."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

STUCK_READINGS = 8
STUCK_M = 0.3
WHOLE_M = 1.0  # of a spot shown to whole millimetres, which may well stand for some decimetres
ALIVE = 5  # changes of the heading meanwhile: a line whose every channel stands is no proof against the spot


@dataclass
class Run:
    """How long one channel has repeated one value, a number or both of a spot's as one complex number."""

    value: complex = math.nan
    since_m: float = 0.0
    count: int = 0
    last_m: float = 0.0

    @property
    def stuck(self) -> bool:
        """Eight equal values over 0.3 m of advance: noise does not repeat itself like that."""
        return self.count >= STUCK_READINGS and self.last_m - self.since_m >= STUCK_M - 1e-9

    def offer(self, value: complex, s_m: float) -> bool:
        """Take one value; answers whether the channel is stuck."""
        if value != value:  # NaN
            return False
        if value != self.value:
            self.value, self.since_m, self.count = value, s_m, 0
        self.count += 1
        self.last_m = max(self.last_m, s_m)
        return self.stuck

    def offer_all(self, values: np.ndarray, s_m: np.ndarray) -> np.ndarray:
        """Take values (n,) in order, NaN where there is none; whether the channel is stuck at each, (n,)."""
        known = np.flatnonzero(~np.isnan(values))
        found = np.zeros(len(values), bool)
        if not len(known):
            return found
        repeats = np.diff(values[known], prepend=self.value) == 0.0
        if not repeats.any():  # as is usual
            self.value, self.since_m, self.count = values[known[-1]].item(), float(s_m[known[-1]]), 1
            self.last_m = max(self.last_m, float(s_m[known].max()))
            return found
        for i in known.tolist():
            found[i] = self.offer(values[i].item(), float(s_m[i]))
        return found


class Frozen:
    """A spot that stands still in both directions though machine and heading do not; a reading without a spot tells
    nothing of it."""

    def __init__(self) -> None:
        self.run = Run()
        self._heading = np.full(2, math.nan)
        self._alive = 0  # changes of the heading since the spot stands

    @property
    def stuck(self) -> bool:
        """Whether the spot is frozen."""
        return self.stands and self._alive >= ALIVE

    @property
    def stands(self) -> bool:
        """Whether it stands still over more advance than chance explains, the heading with it or not."""
        run = self.run
        whole = run.value.real % 1.0 == run.value.imag % 1.0 == 0.0
        return run.stuck and (not whole or run.last_m - run.since_m >= WHOLE_M - 1e-9)

    def offer_all(self, spot: np.ndarray, heading: np.ndarray, s_m: np.ndarray) -> np.ndarray:
        """Take spots (n, 2) and headings (n, 2) in order, NaN where there is none; whether the spot is frozen at each,
        (n,)."""
        found = np.zeros(len(spot), bool)
        read = spot[:, 0] + 1j * spot[:, 1]
        known = np.flatnonzero(~np.isnan(read))
        if not len(known):
            return found
        if not (np.diff(read[known], prepend=self.run.value) == 0.0).any():  # as is usual
            self.run.offer_all(read, s_m)
            self._alive, self._heading = 0, heading[known[-1]]
            return found
        for i in known.tolist():
            if read[i] != self.run.value:
                self._alive = 0
            else:
                self._alive += bool((np.abs(heading[i] - self._heading) > 0.0).any())
            self.run.offer(read[i].item(), float(s_m[i]))
            self._heading = heading[i]
            found[i] = self.stuck
        return found
