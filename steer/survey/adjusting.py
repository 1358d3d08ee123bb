"""Least squares on the sights: damped Gauss-Newton, then covariance, redundancy and what is missing.

Unknowns are the free coordinates and the orientations; the normal equations are sparse (each sight touches
seven unknowns at most). A control point with an sd brings its coordinates as observations of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from steer.survey.equations import Rows, misclosure_and_partials
from steer.survey.inverse import factored, inverse_blocks

_STEP_M = 1e-8  # at rest when no coordinate moves more ...
_GAIN = 1e-10  # ... or nothing is gained by moving
MOST_STEPS = 200
_FEW = 60  # unknowns; up to here whole matrices cost a fraction of what sparse ones do
_SINGULAR = 1e-13  # of the scaled normal matrix; an exact defect is near 1e-16, a 300-leg traverse near 1e-10


@dataclass(frozen=True)
class Problem:
    """unknown (n, 3): index of each coordinate among the unknowns, -1 when it is not one.
    known_value, known_sd (n, 3): weighted control, NaN elsewhere. Orientations follow the coordinates."""

    rows: Rows
    unknown: np.ndarray
    known_value: np.ndarray
    known_sd: np.ndarray
    coordinates: int  # how many unknown coordinates
    sets: int
    curvature: float

    @property
    def unknowns(self) -> int:
        return self.coordinates + self.sets

    @property
    def weighted(self) -> tuple[np.ndarray, np.ndarray]:
        """Point and axis of every coordinate that is observed as control."""
        point, axis = np.nonzero(np.isfinite(self.known_sd) & (self.unknown >= 0))
        return point, axis


@dataclass(frozen=True)
class Solution:
    """position (n, 3) m; orientation (g,) rad; residual (m + c,): adjusted minus observed over its sd, the
    sights first, then the weighted control coordinates; design (m + c, u), in the same order, over the sd."""

    position: np.ndarray
    orientation: np.ndarray
    residual: np.ndarray
    design: sparse.csr_matrix
    converged: bool
    steps: int

    @property
    def square_sum(self) -> float:
        return float(self.residual @ self.residual)


def linearised(
    problem: Problem, position: np.ndarray, orientation: np.ndarray
) -> tuple[np.ndarray, sparse.csr_matrix]:
    """Residuals (m + c,) and design (m + c, u) at these positions, as in `Solution`."""
    rows = problem.rows
    misclosure, partials = misclosure_and_partials(rows, position, orientation, problem.curvature)
    columns = np.column_stack(
        [
            problem.unknown[rows.station],
            problem.unknown[rows.target],
            np.where(rows.group >= 0, problem.coordinates + rows.group, -1),
        ]
    )
    partials = partials / rows.sd[:, None]
    row_index = np.repeat(np.arange(len(rows.kind)), 7).reshape(-1, 7)
    keep = (columns >= 0) & (partials != 0.0)
    point, axis = problem.weighted
    sd = problem.known_sd[point, axis]
    values = np.concatenate([partials[keep], 1.0 / sd])
    at_row = np.concatenate([row_index[keep], len(rows.kind) + np.arange(len(point))])
    at_column = np.concatenate([columns[keep], problem.unknown[point, axis]])
    design = sparse.csr_matrix(
        (values, (at_row, at_column)), shape=(len(rows.kind) + len(point), problem.unknowns)
    )
    control = (position[point, axis] - problem.known_value[point, axis]) / sd
    return np.concatenate([misclosure / rows.sd, control]), design


def _scaled(design: sparse.csr_matrix) -> tuple[sparse.csc_matrix, np.ndarray]:
    """Normal matrix with a unit diagonal, and the scale of each unknown (1 where nothing observes it)."""
    length = np.sqrt(np.asarray(design.multiply(design).sum(axis=0)).ravel())
    scale = 1.0 / np.where(length > 0.0, length, 1.0)
    scaled = design @ sparse.diags(scale)
    return sparse.csc_matrix(scaled.T @ scaled), scale


def _step(design: sparse.csr_matrix, residual: np.ndarray, damping: float) -> np.ndarray:
    """The damped Gauss-Newton step (u,); not finite where a pivot is exactly zero."""
    damping = max(damping, 1e-15)
    size = design.shape[1]
    try:
        if size <= _FEW:
            whole = design.toarray()
            length = np.sqrt((whole * whole).sum(axis=0))
            scale = 1.0 / np.where(length > 0.0, length, 1.0)
            scaled = whole * scale
            found: np.ndarray = np.linalg.solve(
                scaled.T @ scaled + damping * np.eye(size), scaled.T @ residual
            )
        else:
            normal, scale = _scaled(design)
            damped = sparse.csc_matrix(normal + damping * sparse.identity(size, format="csc"))
            found = factored(damped).solve(scale * (design.T @ residual))
    except (RuntimeError, np.linalg.LinAlgError):
        return np.full(size, np.nan)
    return -scale * found


def solve(
    problem: Problem, position: np.ndarray, orientation: np.ndarray, most_steps: int = MOST_STEPS
) -> Solution:
    """Damped Gauss-Newton (Levenberg-Marquardt) from a start; `converged` False when it found no rest within
    `most_steps`."""
    damping = 0.0
    free = problem.unknown >= 0
    residual, design = linearised(problem, position, orientation)
    for steps in range(1, most_steps + 1):
        step = _step(design, residual, damping)
        if np.isfinite(step).all():
            moved, turned = position.copy(), orientation + step[problem.coordinates :]
            moved[free] += step[problem.unknown[free]]
            trial, trial_design = linearised(problem, moved, turned)
            # What an undamped step can still gain, in units of the weighted square sum: 1e-10 is 1e-5 sd.
            gain = -float(step @ (design.T @ residual))
            largest = np.abs(step[: problem.coordinates]).max(initial=0.0)
            resting = gain < _GAIN or largest < _STEP_M
            if trial @ trial <= residual @ residual or resting:
                position, orientation, residual, design = moved, turned, trial, trial_design
                if resting and damping < 1e-6:
                    return Solution(position, orientation, residual, design, True, steps)
                damping = 0.0 if damping < 1e-5 else damping / 10.0
                continue
        if damping > 1e12:
            break
        damping = max(10.0 * damping, 1e-5)
    return Solution(position, orientation, residual, design, False, most_steps)


def defects(design: sparse.csr_matrix, most: int = 6) -> list[np.ndarray]:
    """Directions (u,) in which the unknowns can move without any sight noticing; empty when regular.

    Inverse subspace iteration on the scaled normal matrix; each direction is in units of its unknown, its
    largest part 1."""
    normal, scale = _scaled(design)
    size = normal.shape[0]
    if size == 0:
        return []
    factor = factored(sparse.csc_matrix(normal + 1e-14 * sparse.identity(size, format="csc")))
    basis = np.random.default_rng(1).standard_normal((size, min(most, size)))
    for _ in range(4):
        basis, _ = np.linalg.qr(factor.solve(basis))
    small, turn = np.linalg.eigh(basis.T @ (normal @ basis))
    found = [scale * (basis @ turn[:, i]) for i in range(len(small)) if small[i] < _SINGULAR]
    return [direction / np.abs(direction).max() for direction in found]


def covariance(problem: Problem, solution: Solution) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3, 3) covariance of each point in m² (zero where not unknown), and the redundancy number of every
    residual (m + c,). A priori: from the given sd, not scaled by the fit."""
    normal, scale = _scaled(solution.design)
    design = sparse.csr_matrix(solution.design @ sparse.diags(scale))
    sights = design.shape[0]
    point, axis = np.nonzero(problem.unknown >= 0)
    own = sparse.csr_matrix(
        (np.ones(len(point)), (point, problem.unknown[point, axis])),
        shape=(len(problem.unknown), problem.unknowns),
    )
    blocks = np.zeros((len(problem.unknown), 3, 3))
    used = np.zeros(sights)
    for groups, unknowns, inverse in inverse_blocks(normal, sparse.csr_matrix(sparse.vstack([design, own]))):
        for group in groups:
            if group < sights:
                stored = slice(design.indptr[group], design.indptr[group + 1])
                place = np.searchsorted(unknowns, design.indices[stored])
                row = design.data[stored]
                used[group] = row @ inverse[np.ix_(place, place)] @ row
            else:
                i = group - sights
                axes = np.nonzero(problem.unknown[i] >= 0)[0]
                here = problem.unknown[i, axes]
                place = np.searchsorted(unknowns, here)
                blocks[i][np.ix_(axes, axes)] = inverse[np.ix_(place, place)] * np.outer(
                    scale[here], scale[here]
                )
    return blocks, 1.0 - used
