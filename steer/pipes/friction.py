"""Friction per square metre of pipe surface, from the slope of the jacking force over advance.

Slopes by the median of all pairs' slopes (Theil 1950, Sen 1968), which up to 29 % of wrong readings
cannot turn over; the interval by Kendall's variance (Sen 1968). Where lubrication or ground changed
the slope changes: the places are found by least squares over all ways to cut the drive into stretches,
by dynamic programming, with a price for each cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FEWEST = 8  # strokes in a stretch
SHORTEST_M = 8.0
MOST_POINTS = 400  # more are put together, so that the search stays quick
CUT_PRICE = 8.0  # in noise variances times ln(n): strokes are not independent of one another
USUAL_KPA = (5.0, 25.0)  # rough guide on the pipe surface (Pipe Jacking Association, introduction, 6)
LUBRICATED_KPA = 1.0  # lowest, with sophisticated lubrication (the same)


@dataclass(frozen=True)
class Stretch:
    """Between two chainages: slope of the force less the face's share (kN/m), its 95 % interval, and
    friction on the pipe surface (kPa). `level_kn` is the fitted value at `to_m`."""

    from_m: float
    to_m: float
    slope_kn_per_m: float
    slope_low_kn_per_m: float
    slope_high_kn_per_m: float
    friction_kpa: float
    friction_low_kpa: float
    friction_high_kpa: float
    level_kn: float
    scatter_kn: float  # one standard deviation of a stroke about the fit


def theil_sen(x: np.ndarray, y: np.ndarray) -> tuple[float, float, float, float]:
    """Slope, its 95 % interval (low, high), and the intercept: median(y) − slope · median(x).

    At least two different x; ValueError otherwise.
    """
    i, j = np.triu_indices(len(x), 1)
    step = x[j] - x[i]
    apart = step != 0.0
    if not apart.any():
        raise ValueError("a slope needs readings at two different chainages")
    slopes = np.sort((y[j] - y[i])[apart] / step[apart])
    slope = float(np.median(slopes))
    n, pairs = len(x), len(slopes)
    _, ties = np.unique(y, return_counts=True)
    kendall = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18.0
    half = 1.959963984540054 * np.sqrt(kendall)
    low = slopes[max(round((pairs - half) / 2.0) - 1, 0)]
    high = slopes[min(round((pairs + half) / 2.0), pairs - 1)]
    return slope, float(low), float(high), float(np.median(y) - slope * np.median(x))


def stretches(
    chainage_m: np.ndarray, force_kn: np.ndarray, girth_m: float, most: int = 6
) -> tuple[Stretch, ...]:
    """The stretches of a drive, from the force less the face's share (n,) over ascending chainage (n,).

    `girth_m` is the pipe's outer circumference. Empty when there are fewer than FEWEST points or less
    than SHORTEST_M between them.
    """
    good = np.isfinite(chainage_m) & np.isfinite(force_kn)
    x, y = np.asarray(chainage_m, float)[good], np.asarray(force_kn, float)[good]
    if len(x) < FEWEST or x[-1] - x[0] < SHORTEST_M:
        return ()
    x, y = _together(x, y)
    found = []
    for begin, end in _cuts(x, _calmed(y), most):
        part_x, part_y = x[begin:end], y[begin:end]
        slope, low, high, intercept = theil_sen(part_x, part_y)
        rest = part_y - slope * part_x - intercept
        scatter = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
        found.append(
            Stretch(
                float(part_x[0]), float(part_x[-1]), slope, low, high,
                slope / girth_m, low / girth_m, high / girth_m,
                intercept + slope * float(part_x[-1]), scatter,
            )
        )  # fmt: skip
    return tuple(found)


def _together(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """At most MOST_POINTS points: medians of neighbours."""
    per = -(-len(x) // MOST_POINTS)
    if per == 1:
        return x, y
    edges = np.arange(0, len(x), per)
    return (
        np.array([np.median(x[i : i + per]) for i in edges]),
        np.array([np.median(y[i : i + per]) for i in edges]),
    )


def _noise(y: np.ndarray) -> float:
    """Standard deviation of a point against its neighbours, robustly."""
    bend = y[1:-1] - 0.5 * (y[:-2] + y[2:])
    return float(max(1.4826 * np.median(np.abs(bend)) / np.sqrt(1.5), 1e-9 * (1.0 + np.abs(y).max())))


def _calmed(y: np.ndarray) -> np.ndarray:
    """Points that stand out of their neighbourhood set to its median: for the search of cuts only."""
    padded = np.pad(y, 2, mode="reflect", reflect_type="odd")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    return np.where(np.abs(y - around) > 4.0 * _noise(y), around, y)


def _cuts(x: np.ndarray, y: np.ndarray, most: int) -> list[tuple[int, int]]:
    """Half-open index ranges of straight stretches with the least squares plus the price of the cuts."""
    n = len(x)
    misfit = _misfits(x, y)
    short = x[None, :] - x[:, None] < SHORTEST_M
    few = np.arange(n)[None, :] - np.arange(n)[:, None] + 1 < FEWEST
    misfit = np.where(short | few, np.inf, misfit)  # [i, j]: one line through points i to j
    best = misfit[0]
    ways = [(best, np.zeros(n, int))]
    for _ in range(most - 1):
        # one cut more: the last stretch runs from k to j, the best way before it ends at k − 1
        before = np.concatenate([[np.inf], ways[-1][0][:-1]])
        total = before[:, None] + misfit
        ways.append((total.min(axis=0), total.argmin(axis=0)))
    price = CUT_PRICE * _noise(y) ** 2 * np.log(n)
    scores = [cost[-1] + price * cuts for cuts, (cost, _) in enumerate(ways)]
    cuts = int(np.argmin(scores))
    ranges, end = [], n
    for level in range(cuts, -1, -1):
        begin = int(ways[level][1][end - 1])
        ranges.append((begin, end))
        end = begin
    return ranges[::-1]


def _misfits(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Squares left by the least-squares line through points i to j, (n, n), from running sums."""
    x, y = x - x.mean(), y - y.mean()
    n = len(x)
    sums = [np.concatenate([[0.0], np.cumsum(v)]) for v in (np.ones(n), x, y, x * x, x * y, y * y)]
    count, sx, sy, sxx, sxy, syy = (s[None, 1:] - s[:-1, None] for s in sums)
    count = np.maximum(count, 1.0)
    vx, vy, vxy = sxx - sx * sx / count, syy - sy * sy / count, sxy - sx * sy / count
    return np.maximum(vy - np.where(vx > 1e-9, vxy * vxy / np.where(vx > 1e-9, vx, 1.0), 0.0), 0.0)
