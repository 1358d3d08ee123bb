"""How the face goes on from here, as a linear function of the articulations to come.

Over the next strokes of each plane:  offset = free + answer @ A,  with A (n,) the articulation held
through each stroke and `free` what happens at A = 0 on the design axis ahead. Everything from the
estimator's own motion model (see `course`), at the estimated state; no covariance has to be carried along.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.axis import Axis
from steer.correct.course import CARRIED, Course, course_of
from steer.estimate.motion import N_STATES, D, G, MotionModel, P, Y
from steer.estimate.nodes import Node

_CARRIED = np.array(CARRIED)
_PLAYS = 0.3  # changes of articulation (mm/m) below it are none


@dataclass(frozen=True)
class Outlook:
    """Both planes over n strokes; arrays lead with the plane (line, level).

    `free_mm` (2, n) offsets and `answer` (2, n, n) mm per mm/m, lower triangular, are the weighted
    means over the models; `free_each` (m, 2, n), `answer_each` (m, 2, n, n), `weights` (m, 2) and
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
    turn: np.ndarray  # (2, t) design heading change (mm/m) of each step
    steps: int  # per stroke

    def offsets(self, articulation: np.ndarray) -> np.ndarray:
        """Offsets (2, n) at the strokes' ends for articulations (2, n)."""
        found: np.ndarray = self.free_mm + np.matmul(self.answer, articulation[..., None])[..., 0]
        return found


def look_ahead(node: Node, axis: Axis, motion: MotionModel, stroke_m: float, strokes: int) -> Outlook:
    """The outlook from an estimate over `strokes` strokes of `stroke_m`; `motion` has one entry a model."""
    m = len(motion.lag_m)
    course = course_of(motion, stroke_m, strokes)
    ds, total = course.step_m, course.steps * strokes
    ahead = axis.at(node.s_m + ds * np.arange(1, total + 1))
    turn = np.stack(
        [
            1000.0 * np.diff(np.asarray(ahead.bearing_rad), prepend=node.bearing_rad),
            np.diff(np.asarray(ahead.grade_mm_per_m), prepend=node.grade),
        ]
    )
    x = node.x[: 2 * m].reshape(m, 2, N_STATES)
    free = x[..., _CARRIED] @ np.swapaxes(course.row, 1, 2) + (turn / ds) @ np.swapaxes(course.known, 1, 2)
    for b, steps, effect in course.waiting:  # what was held and is still to be answered
        held = node.past.means(node.s_m - motion.delay_m[b] + ds * np.arange(steps + 1))[: effect.shape[1]]
        free[b] += x[b, :, G, None] * (effect @ held).T
    answer = (x[..., [D, G]] @ course.pulses.reshape(m, 2, -1)).reshape(m, 2, strokes, strokes)
    doubt = np.sqrt(node.p[: 2 * m, G, G]).reshape(m, 2) / np.maximum(x[..., G], 1e-9)
    w = np.repeat(node.weights[:, None], 2, 1)
    return Outlook(
        node.s_m + stroke_m * np.arange(1, strokes + 1), stroke_m, np.einsum("mp,mpk->pk", w, free),
        np.einsum("mp,mpij->pij", w, answer), free, answer, w, doubt, node.blend()[0][:, Y], turn, course.steps,
    )  # fmt: skip


class Spread:
    """How unsure the offsets of an `outlook` from `node` are: the estimate's covariance with that of the gain,
    process noise, doubt about how fast an answer builds up, the play that eats part of a change, and the models'
    disagreement."""

    def __init__(self, node: Node, motion: MotionModel, outlook: Outlook) -> None:
        m, n = len(motion.lag_m), outlook.answer.shape[1]
        self._course: Course = course_of(motion, outlook.stroke_m, n)
        self._outlook = outlook
        self._x = node.x[: 2 * m].reshape(m, 2, N_STATES)
        p = node.p[: 2 * m].reshape(m, 2, N_STATES, N_STATES)
        row = self._course.row[:, None]
        both = row @ p[:, :, _CARRIED[:, None], [*CARRIED, D, G]]  # (m, 2, n, 7)
        self._with_answer = both[..., 5:]
        self._of_answer = p[:, :, [[D], [G]], [D, G]]
        self._plain = (both[..., :5] * row).sum(-1) + self._course.ground[:, None]

    def sd(self, articulation: np.ndarray, now: np.ndarray) -> np.ndarray:
        """Standard deviations (2, n) mm when articulations (2, n) are held, coming from `now` (2,)."""
        course, w = self._course, self._outlook.weights
        through = np.moveaxis(course.pulses @ articulation.T, 1, -1)  # (m, n, 2, u)
        through = np.swapaxes(through, 1, 2)
        found = self._plain + ((through @ self._of_answer + 2.0 * self._with_answer) * through).sum(-1)
        gain, built = self._x[..., G, None], self._x[..., P, None]
        lacks = np.repeat(articulation, course.steps, 1) - np.swapaxes(course.built @ articulation.T, 1, 2)
        behind = gain * lacks - course.fades[:, None] * built
        found += (behind * behind) @ np.swapaxes(course.late, 1, 2)
        change = np.abs(np.diff(articulation, axis=1, prepend=now[:, None]))
        found += np.where(change > _PLAYS, change, 0.0) ** 2 @ np.swapaxes(course.play, 1, 2)
        each = self._outlook.free_each + (through @ self._x[..., [D, G], None])[..., 0]
        middle = np.einsum("mp,mpk->pk", w, each)
        var: np.ndarray = np.einsum("mp,mpk->pk", w, found + (each - middle) ** 2)
        return np.sqrt(np.maximum(var, 0.0))
