"""Least squares on the sights: damped Gauss-Newton, then covariance, redundancy and what is missing.

Unknowns are the free coordinates and the orientations; the normal equations are sparse (each sight touches
seven unknowns at most). A control point with an sd brings its coordinates as observations of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu

from steer.survey.equations import Rows, misclosure_and_partials

_STEP_M = 1e-7  # converged when no coordinate moves more (and no orientation more than 1e-10 rad)
_STEP_RAD = 1e-10
_MOST_STEPS = 60
_SINGULAR = 1e-13  # of the scaled normal matrix; an exact defect is near 1e-16, a 300-leg traverse near 1e-10
_BATCH = 256


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

    @property
    def square_sum(self) -> float:
        return float(self.residual @ self.residual)


def _linearised(
    problem: Problem, position: np.ndarray, orientation: np.ndarray
) -> tuple[np.ndarray, sparse.csr_matrix]:
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


def _factor(normal: sparse.csc_matrix) -> SuperLU:
    return splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def _scaled(design: sparse.csr_matrix) -> tuple[sparse.csc_matrix, np.ndarray]:
    """Normal matrix with a unit diagonal, and the scale of each unknown (1 where nothing observes it)."""
    length = np.sqrt(np.asarray(design.multiply(design).sum(axis=0)).ravel())
    scale = 1.0 / np.where(length > 0.0, length, 1.0)
    scaled = design @ sparse.diags(scale)
    return sparse.csc_matrix(scaled.T @ scaled), scale


def solve(problem: Problem, position: np.ndarray, orientation: np.ndarray) -> Solution:
    """Damped Gauss-Newton (Levenberg-Marquardt) from a start; `converged` False when it found no rest."""
    damping = 0.0
    free = problem.unknown >= 0
    residual, design = _linearised(problem, position, orientation)
    identity = sparse.identity(problem.unknowns, format="csc")
    for _ in range(_MOST_STEPS):
        normal, scale = _scaled(design)
        gradient = scale * (design.T @ residual)
        try:
            step = -scale * _factor(sparse.csc_matrix(normal + max(damping, 1e-15) * identity)).solve(gradient)
        except RuntimeError:  # "Factor is exactly singular"
            step = np.full(problem.unknowns, np.nan)
        moved, turned = position.copy(), orientation + step[problem.coordinates :]
        moved[free] += step[problem.unknown[free]]
        largest = np.abs(step[: problem.coordinates]).max(initial=0.0)
        turn = np.abs(step[problem.coordinates :]).max(initial=0.0)
        if np.isfinite(step).all():
            trial, trial_design = _linearised(problem, moved, turned)
            better = trial @ trial <= residual @ residual
            resting = largest < _STEP_M and turn < _STEP_RAD
            if better or resting:
                position, orientation, residual, design = moved, turned, trial, trial_design
                if resting and damping < 1e-6:
                    return Solution(position, orientation, residual, design, True)
                damping = 0.0 if damping < 1e-7 else damping / 10.0
                continue
        if damping > 1e12:
            break
        damping = max(10.0 * damping, 1e-6)
    return Solution(position, orientation, residual, design, False)


def defects(design: sparse.csr_matrix, most: int = 6) -> list[np.ndarray]:
    """Directions (u,) in which the unknowns can move without any sight noticing; empty when regular.

    Inverse subspace iteration on the scaled normal matrix; each direction is in units of its unknown, its
    largest part 1."""
    normal, scale = _scaled(design)
    size = normal.shape[0]
    if size == 0:
        return []
    factor = _factor(sparse.csc_matrix(normal + 1e-14 * sparse.identity(size, format="csc")))
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
    factor = _factor(normal)
    design = solution.design.tocsc()
    size = problem.unknowns
    owner = np.full(size, -1)
    axis = np.zeros(size, dtype=int)
    point_of, axis_of = np.nonzero(problem.unknown >= 0)
    owner[problem.unknown[point_of, axis_of]] = point_of
    axis[problem.unknown[point_of, axis_of]] = axis_of
    blocks = np.zeros((len(problem.unknown), 3, 3))
    used = np.zeros(design.shape[0])
    for begin in range(0, size, _BATCH):
        batch = np.arange(begin, min(begin + _BATCH, size))
        unit = np.zeros((size, len(batch)))
        unit[batch, batch - begin] = scale[batch]
        inverse = scale[:, None] * factor.solve(unit)
        through = solution.design @ inverse
        used += np.asarray(design[:, batch].multiply(through).sum(axis=1)).ravel()
        for column in batch[owner[batch] >= 0]:
            indices = problem.unknown[owner[column]]
            there = indices >= 0
            blocks[owner[column], there, axis[column]] = inverse[indices[there], column - begin]
    return (blocks + blocks.transpose(0, 2, 1)) / 2.0, 1.0 - used
