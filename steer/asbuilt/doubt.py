"""What check shots that disagree leave open along the path.

Such a shot says that the reference moved (or that the survey holds a blunder). Moved when? Nobody knows: at any
place since the last survey that agreed, each as likely. So the chance that it had moved already grows from
0 there to 1 at the shot, and that share of the disagreement's square is added to the path's variance.

While a shot waits for a person's word it is as likely a blunder as not (half of it), and the doubt goes on
beyond it to the next survey that agrees. Once it counts, the path beyond it is right and there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from steer.advice import ShotView
from steer.estimate.shots import DISAGREES, REACHED_M

_AS_LIKELY_A_BLUNDER = 0.5


@dataclass(frozen=True)
class Doubt:
    """One shot's disagreement in one plane (0 line, 1 level), mm; the last survey that counted before it
    stood at `since_m`."""

    shot: int
    plane: int
    size_mm: float
    since_m: float
    at_m: float
    waits: bool

    def variance_mm2(self, at_m: np.ndarray) -> np.ndarray:
        """What is added at chainages (n,), mm²."""
        gone = np.clip((at_m - self.since_m) / max(self.at_m - self.since_m, 1e-6), 0.0, 1.0)
        if not self.waits:
            return self.size_mm**2 * np.where(at_m < self.at_m, gone, 0.0)
        return self.size_mm**2 * _AS_LIKELY_A_BLUNDER * gone


def doubts(shots: Sequence[ShotView], first_m: float, last_m: float) -> tuple[Doubt, ...]:
    """The doubts of shots in the order of chainage over a path from `first_m` to `last_m`. A shot that waits
    is settled by a later one that agrees."""
    found: list[Doubt] = []
    for plane in (0, 1):
        since = first_m
        mine: list[Doubt] = []
        for shot in shots:
            off = (shot.innovation_line_mm, shot.innovation_level_mm)[plane]
            sd = (shot.innovation_sd_line_mm, shot.innovation_sd_level_mm)[plane]
            if off is None or sd is None or shot.chainage_m > last_m + REACHED_M:
                continue
            beyond = abs(off) > DISAGREES * sd
            if beyond and shot.verdict in ("waiting", "disagrees"):
                waits = shot.verdict == "waiting"
                mine.append(Doubt(shot.number, plane, abs(off), since, shot.chainage_m, waits))
            if shot.verdict == "agrees":
                mine = [d for d in mine if not d.waits]
            if shot.verdict in ("agrees", "disagrees"):
                since = shot.chainage_m
        found += mine
    return tuple(found)


def doubt_mm(found: Sequence[Doubt], at_m: np.ndarray) -> np.ndarray:
    """Standard deviation (n, 2) for line and level that they add at chainages (n,): the largest of them counts,
    since several shots may tell of one move."""
    variance = np.zeros((len(at_m), 2))
    for doubt in found:
        variance[:, doubt.plane] = np.maximum(variance[:, doubt.plane], doubt.variance_mm2(at_m))
    return np.sqrt(variance)
