"""How the face goes on from here, as a linear function of the articulations to come.

Over the next strokes of each plane:  offset = free + answer @ A,  with A (n,) the articulation held
through each stroke and `free` what happens at A = 0 on the design axis ahead. Everything from the
estimator's own motion model, at the estimated state: the offset t steps ahead is a fixed row h(t) times
the state now, so news s steps ahead (a known curvature, a pulse of articulation, noise) counts with
h(t − 1 − s), and no covariance has to be carried along.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from steer.axis import Axis
from steer.estimate.motion import ANSWER_DOUBT, N_STATES, C, D, G, K, MotionModel, P, T, Y
from steer.estimate.nodes import Node

LONGEST_STEP_M = 0.5
_CARRIED = (Y, T, C, K, P)  # what moves on by itself; D and G act through the articulation


@dataclass(frozen=True)
class Outlook:
    """Both planes over n strokes; arrays lead with the plane (line, level).

    `free_mm` (2, n) offsets and `answer` (2, n, n) mm per mm/m, lower triangular, are the weighted
    means over the models; `free_each` (m, 2, n), `answer_each` (m, 2, n, n), `weights` (m, 2) and
    `doubt` (m, 2), the relative sd of each model's answer, are what the mean is of. `row` (m, t, 5) is
    h(t) over (Y, T, C, K, P), `pulse` (m, 2, n) the offset at the strokes' ends after one mm/m through
    the first stroke, per unit of D and of G.
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
    row: np.ndarray
    pulse: np.ndarray

    def offsets(self, articulation: np.ndarray) -> np.ndarray:
        """Offsets (2, n) at the strokes' ends for articulations (2, n)."""
        found: np.ndarray = self.free_mm + np.einsum("pij,pj->pi", self.answer, articulation)
        return found


def look_ahead(node: Node, axis: Axis, motion: MotionModel, stroke_m: float, strokes: int) -> Outlook:
    """The outlook from an estimate over `strokes` strokes of `stroke_m`; `motion` has one entry a model."""
    m = len(motion.lag_m)
    steps = max(1, math.ceil(stroke_m / LONGEST_STEP_M - 1e-9))
    ds = stroke_m / steps
    total = steps * strokes
    ahead = axis.at(node.s_m + ds * np.arange(1, total + 1))
    turn = np.stack(
        [
            1000.0 * np.diff(np.asarray(ahead.bearing_rad), prepend=node.bearing_rad),
            np.diff(np.asarray(ahead.grade_mm_per_m), prepend=node.grade),
        ]
    )
    none, one = motion.transition(ds, np.zeros(m)), motion.transition(ds, np.ones(m))
    carried = np.array(_CARRIED)
    step = np.ascontiguousarray(none[:, carried[:, None], carried])
    row = np.empty((m, total + 1, 5))
    row[:, 0] = 0.0
    row[:, 0, 0] = 1.0
    for t in range(total):
        row[:, t + 1] = np.matmul(row[:, t, None], step)[:, 0]
    ends = steps * np.arange(1, strokes + 1)
    x = node.x[: 2 * m].reshape(m, 2, N_STATES)
    bend = motion.known_input(ds, np.ones(m)) - motion.known_input(ds, np.zeros(m))
    known = np.einsum("mti,mi->mt", row[:, :total], bend[:, carried])  # h(t) @ one unit of curvature
    free = np.einsum("mki,mpi->mpk", row[:, ends], x[..., carried])
    free = free + np.einsum("mks,ps->mpk", _shifted(known, ends, total), turn / ds)
    push = (one - none)[:, carried][:, :, [D, G]]
    within = np.subtract.outer(ends, np.arange(steps) + 1)
    pulse = np.einsum("mksi,miu->muk", row[:, np.maximum(within, 0)], push)
    late = np.round(motion.delay_m / ds).astype(int)
    for b in np.flatnonzero(late):
        effect = row[b] @ push[b, :, 1]  # t steps after the answer began
        begun = within - late[b]
        pulse[b, 1] = np.where(begun >= 0, effect[np.maximum(begun, 0)], 0.0).sum(1)
        # what was held and is still to be answered
        waits = node.past.means(node.s_m - motion.delay_m[b] + ds * np.arange(late[b] + 1))[:total]
        free[b] += x[b, :, G, None] * (waits.T @ _shifted(effect[None], ends, len(waits))[0].T)
    column = np.einsum("mpu,muk->mpk", x[..., [D, G]], pulse)
    index = np.subtract.outer(np.arange(strokes), np.arange(strokes))
    answer = np.where(index >= 0, column[..., np.maximum(index, 0)], 0.0)
    gain = x[..., G]
    doubt = np.sqrt(node.p[: 2 * m, G, G]).reshape(m, 2) / np.maximum(gain, 1e-9)
    w = np.repeat(node.weights[:, None], 2, 1)
    return Outlook(
        node.s_m + stroke_m * np.arange(1, strokes + 1), stroke_m, np.einsum("mp,mpk->pk", w, free),
        np.einsum("mp,mpij->pij", w, answer), free, answer, w, doubt, node.blend()[0][:, Y], turn, steps,
        row, pulse,
    )  # fmt: skip


def _shifted(effect: np.ndarray, ends: np.ndarray, total: int) -> np.ndarray:
    """(m, k, total): what something at step s does at the ends (k,), from its effect (m, >=total) t steps on."""
    after = np.subtract.outer(ends - 1, np.arange(total))
    found: np.ndarray = np.where(after >= 0, effect[:, np.maximum(after, 0)], 0.0)
    return found


def forecast_sd(
    node: Node, motion: MotionModel, outlook: Outlook, articulation: np.ndarray, now: np.ndarray
) -> np.ndarray:
    """Standard deviations (2, n) of the offsets when articulations (2, n) are held, coming from `now` (2,).

    The estimate's covariance with that of the gain, process noise, doubt about how fast an answer builds
    up, the play that eats part of a change, and the models' disagreement.
    """
    m, n, steps = len(motion.lag_m), articulation.shape[1], outlook.steps
    ds, total, row = outlook.stroke_m / outlook.steps, outlook.steps * articulation.shape[1], outlook.row
    ends = steps * np.arange(1, n + 1)
    carried = np.array(_CARRIED)
    # the state now, D and G included
    index = np.subtract.outer(np.arange(n), np.arange(n))
    pulses = np.where(index >= 0, outlook.pulse[..., np.maximum(index, 0)], 0.0)
    through = np.einsum("mukj,pj->mpku", pulses, articulation)
    whole = np.concatenate([np.broadcast_to(row[:, None, ends], (m, 2, n, 5)), through], -1)
    keep = np.array([*_CARRIED, D, G])
    p = node.p[: 2 * m].reshape(m, 2, N_STATES, N_STATES)[..., keep[:, None], keep]
    found = ((whole @ p) * whole).sum(-1)
    # noise on the way
    q = motion.process_noise(ds)[:, carried[:, None], carried]
    ground = np.cumsum(((row[:, :total] @ q) * row[:, :total]).sum(-1), -1)
    found += ground[:, None, ends - 1]
    gain, built = (node.x[: 2 * m, i].reshape(m, 2) for i in (G, P))
    late = ((row[:, :total] @ _late_answer(ds)[carried[:, None], carried]) * row[:, :total]).sum(-1)
    rate = ANSWER_DOUBT * _behind(gain, built, np.exp(-ds / motion.lag_m)[:, None], articulation, steps)
    rate = rate / motion.lag_m[:, None, None]
    found += np.einsum("mks,mps->mpk", _shifted(late, ends, total), rate * rate)
    # play and a step within the overcut at every change
    size = np.abs(np.diff(articulation, axis=1, prepend=now[:, None]))
    size = np.where(size > 0.3, size, 0.0) ** 2
    at = np.subtract.outer(ends, steps * np.arange(n))
    after = row[:, np.maximum(at, 0)] ** 2
    share = np.where(at > 0, 0.12**2 * after[..., 0] + (0.15 * motion.share_prior) ** 2 * after[..., 1], 0.0)
    found += np.einsum("mkj,pj->mpk", share, size)
    each = outlook.free_each + np.einsum("mpij,pj->mpi", outlook.answer_each, articulation)
    middle = np.einsum("mp,mpk->pk", outlook.weights, each)
    var: np.ndarray = np.einsum("mp,mpk->pk", outlook.weights, found + (each - middle) ** 2)
    return np.sqrt(np.maximum(var, 0.0))


def _behind(
    gain: np.ndarray, built: np.ndarray, decay: np.ndarray, articulation: np.ndarray, steps: int
) -> np.ndarray:
    """How far the built-up curvature lags at each step's beginning (m, 2, n·steps): |gain·A − P|."""
    found = []
    for a in np.repeat(articulation, steps, 1).T:
        found.append(np.abs(gain * a - built))
        built = decay * built + (1.0 - decay) * gain * a
    return np.stack(found, -1)


def _late_answer(ds_m: float) -> np.ndarray:
    """Unit noise (12, 12) of an answer that builds up faster or slower than thought."""
    response = np.zeros((N_STATES, 3))
    response[P, 0] = response[T, 1] = 1.0
    response[Y, 2] = 0.5
    order = np.add.outer(np.arange(3), np.arange(3)) + 1
    found: np.ndarray = response @ (ds_m**order / order) @ response.T
    return found
