"""A channel that repeats one value while the machine advances."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

STUCK_READINGS = 8
STUCK_M = 0.3


@dataclass
class Run:
    """How long one channel has repeated one value."""

    value: float = math.nan
    since_m: float = 0.0
    count: int = 0
    last_m: float = 0.0

    @property
    def stuck(self) -> bool:
        """Eight equal values over 0.3 m of advance: noise does not repeat itself like that."""
        return self.count >= STUCK_READINGS and self.last_m - self.since_m >= STUCK_M - 1e-9

    def offer(self, value: float, s_m: float) -> bool:
        """Take one value; answers whether the channel is stuck."""
        if math.isnan(value):
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
            self.value, self.since_m, self.count = float(values[known[-1]]), float(s_m[known[-1]]), 1
            self.last_m = max(self.last_m, float(s_m[known].max()))
            return found
        for i in known.tolist():
            found[i] = self.offer(float(values[i]), float(s_m[i]))
        return found
