"""Verdicts in three values, by conformance probability (JCGM 106:2012, normal distribution, section 7)."""

from __future__ import annotations

import math
from enum import Enum

import numpy as np


class Verdict(Enum):
    """The value is the word for a person."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot tell"


_erfc = np.vectorize(math.erfc, otypes=[float])


def outside_probability(
    value: np.ndarray, sd: np.ndarray, low: np.ndarray | float, high: np.ndarray | float
) -> np.ndarray:
    """Probability that the true value lies outside low … high; arrays that broadcast to one shape.

    With sd = 0 it is 0 or 1; a limit itself is inside. NaN where the value or its sd is NaN.
    """
    value, sd = np.asarray(value, float), np.asarray(sd, float)
    spread = np.where(sd > 0.0, sd, 1.0) * math.sqrt(2.0)
    tails = 0.5 * (_erfc((high - value) / spread) + _erfc((value - low) / spread))
    certain = np.where((value > high) | (value < low), 1.0, 0.0)
    found = np.where(sd > 0.0, tails, certain)
    return np.where(np.isfinite(value) & np.isfinite(sd), found, np.nan)


def verdicts(outside: np.ndarray, rule: float) -> np.ndarray:
    """`Verdict`s (n,) for probabilities of lying outside and a rule such as 0.95.

    Inside when inside is at least as probable as the rule asks, outside likewise; cannot tell in
    between, and where nothing is known.
    """
    found = np.full(np.shape(outside), Verdict.CANNOT_TELL, dtype=object)
    found[1.0 - outside >= rule] = Verdict.INSIDE
    found[outside >= rule] = Verdict.OUTSIDE
    return found


def worse(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Both planes together: outside where either is, inside where both are, else cannot tell."""
    found = np.full(np.shape(one), Verdict.CANNOT_TELL, dtype=object)
    found[(one == Verdict.INSIDE) & (other == Verdict.INSIDE)] = Verdict.INSIDE
    found[(one == Verdict.OUTSIDE) | (other == Verdict.OUTSIDE)] = Verdict.OUTSIDE
    return found
