"""Confidence intervals of counts and means."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

Z95 = 1.959963984540054  # normal quantile 0.975
RESAMPLES = 2000


def wilson(hits: int, trials: int) -> tuple[float, float]:
    """95 % score interval of a probability, without continuity correction; (0, 1) for no trials.

    Wilson, Probable inference, the law of succession, and statistical inference, JASA 22 (1927), 209 to 212.
    """
    if trials == 0:
        return 0.0, 1.0
    share, z2 = hits / trials, Z95 * Z95
    middle = (share + z2 / (2 * trials)) / (1 + z2 / trials)
    half = Z95 / (1 + z2 / trials) * np.sqrt(share * (1 - share) / trials + z2 / (4 * trials * trials))
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def bootstrap(values: np.ndarray, statistic: Callable[..., np.ndarray] = np.mean) -> tuple[float, float]:
    """95 % percentile interval of a statistic of values (n,); (NaN, NaN) for fewer than two.

    `statistic` takes an array (resamples, n) and `axis=1`. The resampling is seeded by the count, so that
    the same values always give the same interval. Efron and Tibshirani, An Introduction to the
    Bootstrap, 1993, chapter 13 (from memory).
    """
    values = np.asarray(values, float)
    if len(values) < 2:
        return float("nan"), float("nan")
    rng = np.random.default_rng(len(values))
    found = np.empty(RESAMPLES)
    block = max(1, 2_000_000 // len(values))
    for begin in range(0, RESAMPLES, block):
        rows = min(block, RESAMPLES - begin)
        picked = rng.integers(0, len(values), (rows, len(values)))
        found[begin : begin + rows] = statistic(values[picked], axis=1)
    low, high = np.quantile(found, (0.025, 0.975))
    return float(low), float(high)
