"""How the face goes on from here, as a linear function of the articulations to come.

Over the next strokes of each plane:  offset = free + answer @ A,  with A (n,) the articulation held
through each stroke and `free` what happens at A = 0 on the design axis ahead. Everything from the
estimator's own motion model, at the estimated state.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from steer.axis import Axis
from steer.estimate.estimator import Node
from steer.estimate.motion import N_STATES, D, G, MotionModel, Y

LONGEST_STEP_M = 0.5


@dataclass(frozen=True)
class Outlook:
    """Both planes over n strokes; arrays lead with the plane (line, level).

    `free_mm` (2, n) offsets and `answer` (2, n, n) mm per mm/m, lower triangular, are the weighted
    means over the models; `free_each` (m, 2, n), `answer_each` (m, 2, n, n), `weights` (m,) and
    `doubt` (m, 2), the relative sd of each model's answer, are what the mean is of.
    """

    chainage_m: np.ndarray
    stroke_m: float
    free_mm: np.ndarray
    answer: np.ndarray
    free_each: np.ndarray
    answer_each: np.ndarray
    weights: np.ndarray
    doubt: np.ndarray
    now_mm: np.ndarray
    turn: np.ndarray  # (2, m) design heading change (mm/m) of each step
    steps: int  # per stroke

    def offsets(self, articulation: np.ndarray) -> np.ndarray:
        """Offsets (2, n) at the strokes' ends for articulations (2, n)."""
        found: np.ndarray = self.free_mm + np.einsum("pij,pj->pi", self.answer, articulation)
        return found


def look_ahead(node: Node, axis: Axis, motion: MotionModel, stroke_m: float, strokes: int) -> Outlook:
    """The outlook from an estimate over `strokes` strokes of `stroke_m`; `motion` has one entry a model."""
    m = len(motion.lag_m)
    steps = max(1, math.ceil(stroke_m / LONGEST_STEP_M - 1e-9))
    ds = stroke_m / steps
    ends = node.s_m + ds * np.arange(1, steps * strokes + 1)
    ahead = axis.at(ends)
    turn = np.stack(
        [
            1000.0 * np.diff(np.asarray(ahead.bearing_rad), prepend=node.bearing_rad),
            np.diff(np.asarray(ahead.grade_mm_per_m), prepend=node.grade),
        ]
    )
    phi = motion.transition(ds, np.zeros(m))
    x = node.x[: 2 * m].reshape(m, 2, N_STATES).copy()
    # what one mm/m of articulation adds over a step, per model and plane
    unit = motion.transition(ds, np.ones(m))
    push = unit[:, None, :, D] * x[..., D, None] + unit[:, None, :, G] * x[..., G, None]
    push[..., D] = push[..., G] = 0.0
    pulse = np.zeros((m, 2, N_STATES))
    free, column = np.empty((m, 2, strokes)), np.empty((m, 2, strokes))
    back = np.swapaxes(phi, 1, 2)
    for k in range(strokes):
        for i in range(steps):
            x = x @ back + _known(motion, ds, turn[:, k * steps + i] / ds)
            pulse = pulse @ back + (push if k == 0 else 0.0)
        free[..., k], column[..., k] = x[..., Y], pulse[..., Y]
    index = np.subtract.outer(np.arange(strokes), np.arange(strokes))
    answer = np.where(index >= 0, column[..., np.maximum(index, 0)], 0.0)
    gain = node.x[: 2 * m, G].reshape(m, 2)
    doubt = np.sqrt(node.p[: 2 * m, G, G]).reshape(m, 2) / np.maximum(gain, 1e-9)
    w = node.weights
    return Outlook(
        node.s_m + stroke_m * np.arange(1, strokes + 1), stroke_m, np.einsum("m,mpk->pk", w, free),
        np.einsum("m,mpij->pij", w, answer), free, answer, w, doubt, node.blend()[0][:, Y], turn, steps,
    )  # fmt: skip


def _known(motion: MotionModel, ds_m: float, curvature: np.ndarray) -> np.ndarray:
    """Known input (m, 2, 12) for curvatures (2,) of the planes."""
    m = len(motion.lag_m)
    return np.stack([motion.known_input(ds_m, np.full(m, k)) for k in curvature], 1)


def forecast_sd(node: Node, motion: MotionModel, outlook: Outlook, articulation: np.ndarray) -> np.ndarray:
    """Standard deviations (2, n) of the offsets when these articulations (2, n) are held."""
    m = len(motion.lag_m)
    p = node.p[: 2 * m].reshape(m, 2, N_STATES, N_STATES)
    ds = outlook.stroke_m / outlook.steps
    q = motion.process_noise(ds)[:, None]
    each = outlook.free_each + np.einsum("mpij,pj->mpi", outlook.answer_each, articulation)
    middle = np.einsum("m,mpk->pk", outlook.weights, each)
    found = np.einsum("m,mpk->pk", outlook.weights, (each - middle) ** 2)
    for k in range(articulation.shape[1]):
        phi = np.stack([motion.transition(ds, np.full(m, a)) for a in articulation[:, k]], 1)
        for _ in range(outlook.steps):
            p = phi @ p @ np.swapaxes(phi, -1, -2) + q
        found[:, k] += np.einsum("m,mp->p", outlook.weights, p[..., Y, Y])
    return np.sqrt(found)
