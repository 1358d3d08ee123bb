"""The articulation that was held behind the face, for models whose path answers after a dead distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Past:
    """`at_m` (k,) rising chainages and `held` (k, 2) the articulation (line, level; mm/m) summed over the
    distance up to each, in mm. Before the first chainage nothing was held; beyond the last one nothing is known.
    """

    at_m: np.ndarray
    held: np.ndarray

    @classmethod
    def none(cls, at_m: float) -> Past:
        """Straight up to `at_m`."""
        return cls(np.array([at_m]), np.zeros((1, 2)))

    def on(self, s_m: float, articulation: np.ndarray, keep_m: float) -> Past:
        """With `articulation` (2,) held from the last chainage to `s_m`; forgets what lies `keep_m` behind the
        last chainage."""
        was = float(self.at_m[-1])
        ds = s_m - was
        if ds <= 0.0:
            return self
        first = max(int(np.searchsorted(self.at_m, was - keep_m, side="right")) - 1, 0)
        return Past(
            np.append(self.at_m[first:], s_m),
            np.vstack([self.held[first:], self.held[-1] + ds * np.asarray(articulation, float)]),
        )

    def plus(self, other: Past) -> Past:
        """With what was held in `other` added."""
        more = [np.interp(self.at_m, other.at_m, other.held[:, plane]) for plane in (0, 1)]
        return Past(self.at_m, self.held + np.column_stack(more))

    def means(self, edges_m: np.ndarray) -> np.ndarray:
        """Mean articulation (n, 2) between rising chainages (n + 1,)."""
        held = np.array([np.interp(edges_m, self.at_m, self.held[:, plane]) for plane in (0, 1)])
        found: np.ndarray = ((held[:, 1:] - held[:, :-1]) / (edges_m[1:] - edges_m[:-1])).T
        return found
