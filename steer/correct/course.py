"""What the strokes ahead do to the offset, whatever the state they begin from.

From the motion models, the stroke and the number of strokes alone, so it is worked out once and asked at every
stroke. The offset t steps ahead is a fixed row h(t) times the state now; what comes in s steps ahead (a known
curvature, a pulse of articulation, noise) counts with h(t − 1 − s).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from steer.estimate.motion import ANSWER_DOUBT, C, D, G, K, MotionModel, P, T, Y, unit_answer

LONGEST_STEP_M = 0.5
CARRIED = (Y, T, C, K, P)  # what moves on by itself; D and G act through the articulation
_PLAY_MM, _PLAY_SHARE = 0.12, 0.15  # of a change of articulation: a step in the overcut (mm per mm/m), play


@dataclass(frozen=True, eq=False)
class Course:
    """m models over n strokes of `steps` steps each of `step_m`, t = n·steps in all.

    `row` (m, n, 5): h at the strokes' ends over `CARRIED`. `known` (m, n, t) mm per mm/m² of design curvature in
    each step. `pulses` (m, 2, n, n) mm at the ends per mm/m held through each stroke, per unit of D and of G.
    `waiting`: of each model that answers after a dead distance its number, that distance in steps, and (n, steps) what
    the articulations still to be answered do at the ends, per unit of G. `built` (m, t, n): the share of the
    curvature that answers a stroke's articulation, built up at each step's beginning, `fades` (m, t) what is left of
    that built up now. Variances: `ground` (m, n) mm², `late` (m, n, t) mm² per (mm/m²)² by which the built-up
    curvature lags in each step, `play` (m, n, n) mm² per (mm/m)² of change before each stroke.
    """

    step_m: float
    steps: int
    row: np.ndarray
    known: np.ndarray
    pulses: np.ndarray
    waiting: tuple[tuple[int, int, np.ndarray], ...]
    built: np.ndarray
    fades: np.ndarray
    ground: np.ndarray
    late: np.ndarray
    play: np.ndarray


# 0.3 MB each, made in 2 ms: as the ground is learned, the strokes looked ahead over change by one or two
@lru_cache(maxsize=2)
def course_of(motion: MotionModel, stroke_m: float, strokes: int) -> Course:
    """The course over `strokes` strokes of `stroke_m`; `motion` has one entry a model."""
    m = len(motion.lag_m)
    steps = max(1, math.ceil(stroke_m / LONGEST_STEP_M - 1e-9))
    ds, total = stroke_m / steps, steps * strokes
    ends = steps * np.arange(1, strokes + 1)
    none, one = motion.transition(ds, np.zeros(m)), motion.transition(ds, np.ones(m))
    carried = np.array(CARRIED)
    step = np.ascontiguousarray(none[:, carried[:, None], carried])
    row = np.empty((m, total + 1, 5))
    row[:, 0] = np.eye(5)[0]
    for t in range(total):
        row[:, t + 1] = np.matmul(row[:, t, None], step)[:, 0]
    before = row[:, :total]

    bend = motion.known_input(ds, np.ones(m)) - motion.known_input(ds, np.zeros(m))
    known = np.einsum("mti,mi->mt", before, bend[:, carried])  # h(t) @ one unit of curvature
    push = (one - none)[:, carried][:, :, [D, G]]
    within = np.subtract.outer(ends, np.arange(steps) + 1)
    pulse = np.einsum("mksi,miu->muk", row[:, np.maximum(within, 0)], push)
    waiting = []
    dead = np.round(motion.delay_m / ds).astype(int)
    for b in np.flatnonzero(dead):
        effect = row[b] @ push[b, :, 1]  # t steps after the answer began
        begun = within - dead[b]
        pulse[b, 1] = np.where(begun >= 0, effect[np.maximum(begun, 0)], 0.0).sum(1)
        waiting.append((int(b), int(dead[b]), _shifted(effect[None], ends, min(int(dead[b]), total))[0]))
    index = np.subtract.outer(np.arange(strokes), np.arange(strokes))

    noise = motion.process_noise(ds)[:, carried[:, None], carried]
    ground = np.cumsum(((before @ noise) * before).sum(-1), -1)[:, ends - 1]
    late = ((before @ unit_answer(ds)[carried[:, None], carried]) * before).sum(-1)
    late = late * ((ANSWER_DOUBT / motion.lag_m) ** 2)[:, None]
    decay = np.exp(-ds / motion.lag_m)[:, None]
    fades = decay ** np.arange(total)
    since = np.subtract.outer(np.arange(total), np.arange(total)) - 1
    answered = np.where(since >= 0, decay[..., None] ** np.maximum(since, 0), 0.0) * (1.0 - decay[..., None])
    at = np.subtract.outer(ends, steps * np.arange(strokes))
    after = row[:, np.maximum(at, 0)] ** 2
    play = _PLAY_MM**2 * after[..., 0] + (_PLAY_SHARE * motion.share_prior) ** 2 * after[..., 1]
    return Course(
        ds, steps, row[:, ends], _shifted(known, ends, total),
        np.where(index >= 0, pulse[..., np.maximum(index, 0)], 0.0), tuple(waiting),
        answered.reshape(m, total, strokes, steps).sum(-1), fades, ground, _shifted(late, ends, total),
        np.where(at > 0, play, 0.0),
    )  # fmt: skip


def _shifted(effect: np.ndarray, ends: np.ndarray, total: int) -> np.ndarray:
    """(m, k, total): what something at step s does at the ends (k,), from its effect (m, >=total) t steps on."""
    after = np.subtract.outer(ends - 1, np.arange(total))
    found: np.ndarray = np.where(after >= 0, effect[:, np.maximum(after, 0)], 0.0)
    return found
