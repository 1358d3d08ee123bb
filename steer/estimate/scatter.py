"""How much readings scatter, against what [sd] in drive.toml says of them.

What a reading differs from the one before it, the expected advance taken off, owes nothing to where the
machine is or goes, only to the channel's own noise. Its median size tells the noise, whatever a few wild
ones say: it is followed by counting on which side of it each difference falls (Robbins and Monro, A
stochastic approximation method, Annals of Mathematical Statistics 22, 1951, from memory). Noise that
stays the same from reading to reading cannot be seen so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

MEDIAN = 0.674490  # of |z|, in standard deviations of a normal distribution
SLOPE = 0.428647  # how fast the share beyond it falls with ln(scale): 2·MEDIAN·φ(MEDIAN)
FIRST, MOST = 80.0, 400.0  # differences that the word of [sd] is worth, and that are remembered
AT_ITS_WORD, BELIEVED = 1.25, 1.5  # up to the first [sd] stands; from the second on the scatter itself


@dataclass(frozen=True)
class Scatter:
    """Per channel (4,), as in `Cell.values`: `found` over what [sd] says, from how many differences, and what
    the last reading was off, in mm or mm/m (NaN: none)."""

    found: np.ndarray
    seen: np.ndarray
    left: np.ndarray

    @classmethod
    def none(cls) -> Scatter:
        """Nothing read yet: [sd] is taken at its word."""
        return cls(np.ones(4), np.zeros(4), np.full(4, np.nan))

    @property
    def scale(self) -> np.ndarray:
        """What the standard deviations of the readings are multiplied by (4,): 1 until the scatter is clearly
        larger. Never less: readings may share an error that no scatter shows."""
        share = np.minimum(np.maximum((self.found - AT_ITS_WORD) / (BELIEVED - AT_ITS_WORD), 0.0), 1.0)
        return 1.0 + share * (np.maximum(self.found, 1.0) - 1.0)

    def after(self, residual: np.ndarray, use: np.ndarray, sd: np.ndarray, moved: np.ndarray) -> Scatter:
        """With the readings of one more cell: what they are off (n, 4) and which of them count (n, 4), the `sd`
        (4,) of one that [sd] gives, and by how much the cell `moved` (4,) what is expected of them."""
        found, seen, left = self.found.copy(), self.seen.copy(), self.left.copy()
        middle = MEDIAN * math.sqrt(2.0) * sd * found
        # what came before each reading; where all of a cell count, which is usual, all four channels at once
        if use.all():
            steps = residual.copy()
            steps[0] -= left
            steps[1:] -= residual[:-1]
            np.abs(steps, out=steps)
            left = residual[-1] - moved
            beyond, count = (steps > middle).sum(0), len(steps) - np.isnan(steps[0])
        else:
            beyond, count = np.zeros(4), np.zeros(4)
            for channel in np.flatnonzero(use.any(0)):
                off = residual[use[:, channel], channel]
                step = np.abs(np.diff(off, prepend=left[channel]))
                left[channel] = off[-1] - moved[channel]
                beyond[channel], count[channel] = (step > middle[channel]).sum(), np.isfinite(step).sum()
        share = (beyond - 0.5 * count) / SLOPE
        found *= np.exp(share / (np.minimum(FIRST + seen, MOST) + count))
        return Scatter(np.maximum(found, 0.8), seen + count, left)
