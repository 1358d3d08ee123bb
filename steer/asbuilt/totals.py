"""Totals of one plane or of both: metres by verdict, and the figures of the deviation.

Every figure comes from the stations of the per-metre table, each standing for the drive half way to its
neighbours, so that anybody can add them up again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.asbuilt.conformance import Verdict


@dataclass(frozen=True)
class Run:
    """A run of the drive, chainages in m."""

    from_m: float
    to_m: float

    @property
    def length_m(self) -> float:
        return self.to_m - self.from_m


@dataclass(frozen=True)
class Counted:
    """Metres of the drive by verdict; they add up to `length_m`. `naive_outside_m` ignores uncertainty."""

    length_m: float
    inside_m: float
    outside_m: float
    cannot_tell_m: float
    longest_outside: Run | None
    naive_outside_m: float

    def per_cent(self, metres: float) -> float:
        """Metres as a share of the whole."""
        return 100.0 * metres / self.length_m if self.length_m > 0 else 0.0


@dataclass(frozen=True)
class Figures:
    """Deviation of one plane, mm: signed mean, RMS, 95th percentile of the size, and the largest with
    its sign, sd and chainage. `sd_mm` is the stations' own, RMS: most of it is one error for the whole drive,
    so it is what mean and RMS are known to as well."""

    mean_mm: float
    rms_mm: float
    p95_mm: float
    largest_mm: float
    largest_sd_mm: float
    largest_at_m: float
    sd_mm: float


def spans(chainage_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """From and to (n,) of what each station stands for: half way to its neighbours."""
    middle = 0.5 * (chainage_m[1:] + chainage_m[:-1])
    return np.concatenate([chainage_m[:1], middle]), np.concatenate([middle, chainage_m[-1:]])


def count(chainage_m: np.ndarray, verdict: np.ndarray, naive_outside: np.ndarray) -> Counted:
    """Count stations (n,) by verdict; `naive_outside` (n,) says where the value alone is outside."""
    begin, end = spans(chainage_m)
    length = end - begin

    def metres(which: np.ndarray) -> float:
        return float(length[which].sum())

    outside = verdict == Verdict.OUTSIDE
    return Counted(
        float(length.sum()),
        metres(verdict == Verdict.INSIDE),
        metres(outside),
        metres(verdict == Verdict.CANNOT_TELL),
        longest_run(begin, end, outside),
        metres(naive_outside),
    )


def longest_run(begin: np.ndarray, end: np.ndarray, which: np.ndarray) -> Run | None:
    """The longest run of neighbouring stations that are meant; None when none is."""
    best: Run | None = None
    for run in runs(begin, end, which):
        if best is None or run.length_m > best.length_m:
            best = run
    return best


def runs(begin: np.ndarray, end: np.ndarray, which: np.ndarray) -> list[Run]:
    """Runs of neighbouring stations that are meant."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], which, [False]]).astype(int)))
    return [Run(float(begin[a]), float(end[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def figures(chainage_m: np.ndarray, value_mm: np.ndarray, sd_mm: np.ndarray) -> Figures:
    """Figures of a plane over stations (n,), weighted with what each stands for."""
    begin, end = spans(chainage_m)
    weight = end - begin
    if weight.sum() <= 0.0:
        weight = np.ones_like(weight)
    share = weight / weight.sum()
    size = np.abs(value_mm)
    order = np.argsort(size, kind="stable")
    upto = np.cumsum(share[order])
    at = int(np.argmax(size))
    return Figures(
        float(share @ value_mm),
        float(np.sqrt(share @ value_mm**2)),
        float(size[order][min(int(np.searchsorted(upto, 0.95 - 1e-12)), len(size) - 1)]),
        float(value_mm[at]),
        float(sd_mm[at]),
        float(chainage_m[at]),
        float(np.sqrt(share @ sd_mm**2)),
    )
