"""Grade achieved over a pipe and over a moving base; backfalls, flat stretches and ponds of a gravity line.

The line falls the way its design does from end to end. A pond stands where the invert lies below a place
further down: the water level at a place is the highest invert from there to the lower end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.asbuilt.totals import Run, runs
from steer.axis import Axis

LEVEL_DESIGN = 0.05  # mm/m; a design that falls less has no direction of flow
LEAST_POND_MM = 1.0


@dataclass(frozen=True)
class Grades:
    """Grade (n,) over a base length about chainages, mm/m, + rising with the drive, and the design's."""

    base_m: float
    chainage_m: np.ndarray
    achieved_mm_per_m: np.ndarray
    design_mm_per_m: np.ndarray


@dataclass(frozen=True)
class Pond:
    """Standing water: from, to (m) and greatest depth (mm) with its chainage."""

    run: Run
    depth_mm: float
    deepest_m: float


@dataclass(frozen=True)
class Falls:
    """What a gravity line does. `flow` +1: water runs with the drive, −1 against it, 0: the design has no
    fall. Backfalls and flats are judged over one pipe."""

    flow: int
    backfalls: tuple[Run, ...]
    flats: tuple[Run, ...]
    ponds: tuple[Pond, ...]
    least_fall_mm_per_m: float
    least_fall_at_m: float


def grades(axis: Axis, chainage_m: np.ndarray, level_mm: np.ndarray, base_m: float) -> Grades:
    """Grade between two places `base_m` apart, given at their middle, at each chainage that has both.

    `level_mm` (n,) over ascending `chainage_m` (n,).
    """
    s = np.asarray(chainage_m, float)
    half = 0.5 * base_m
    middle = s[(s - half >= s[0] - 1e-9) & (s + half <= s[-1] + 1e-9)]
    height = _height(axis, s, level_mm)
    design = np.asarray(axis.at(s).level_m, float)
    found = [
        1000.0 * (np.interp(middle + half, s, z) - np.interp(middle - half, s, z)) / base_m
        for z in (height, design)
    ]
    return Grades(base_m, middle, found[0], found[1])


def falls(
    axis: Axis, chainage_m: np.ndarray, level_mm: np.ndarray, pipe_m: float, flat_mm_per_m: float
) -> Falls | None:
    """Backfalls, flats and ponds over ascending chainages (n,), closely spaced; None when the line is
    shorter than a pipe."""
    s = np.asarray(chainage_m, float)
    over_pipe = grades(axis, s, level_mm, pipe_m)
    if len(over_pipe.chainage_m) == 0:
        return None
    design = np.asarray(axis.at(np.array([axis.start_chainage_m, axis.end_chainage_m])).level_m)
    mean = 1000.0 * (design[1] - design[0]) / (axis.end_chainage_m - axis.start_chainage_m)
    if abs(mean) < LEVEL_DESIGN:
        return Falls(0, (), (), (), 0.0, float(s[0]))
    flow = -1 if mean > 0.0 else 1
    fall = -flow * over_pipe.achieved_mm_per_m
    begin, end = over_pipe.chainage_m, over_pipe.chainage_m
    step = np.diff(begin, append=begin[-1])
    end = begin + step
    least = int(np.argmin(fall))
    return Falls(
        flow,
        tuple(runs(begin, end, fall < 0.0)),
        tuple(runs(begin, end, (fall >= 0.0) & (fall < flat_mm_per_m))),
        ponds(s, 1000.0 * _height(axis, s, level_mm), flow),
        float(fall[least]),
        float(over_pipe.chainage_m[least]),
    )


def ponds(chainage_m: np.ndarray, height_mm: np.ndarray, flow: int) -> tuple[Pond, ...]:
    """Ponds deeper than LEAST_POND_MM along inverts `height_mm` (n,); `flow` +1 or −1 along chainage."""
    down = height_mm if flow > 0 else height_mm[::-1]
    water = np.maximum.accumulate(down[::-1])[::-1]
    depth = (water - down) if flow > 0 else (water - down)[::-1]
    found = []
    for run in runs(chainage_m, chainage_m, depth > 1e-9):
        mine = (chainage_m >= run.from_m) & (chainage_m <= run.to_m)
        deepest = int(np.flatnonzero(mine)[np.argmax(depth[mine])])
        if depth[deepest] >= LEAST_POND_MM:
            found.append(Pond(run, float(depth[deepest]), float(chainage_m[deepest])))
    return tuple(found)


def _height(axis: Axis, chainage_m: np.ndarray, level_mm: np.ndarray) -> np.ndarray:
    """Level of the pipe's axis (n,), m; the invert runs parallel to it."""
    return np.asarray(axis.position(chainage_m, np.zeros_like(chainage_m), level_mm)[2], float)
