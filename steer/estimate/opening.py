"""What opens the covariance: news that the model does not hold, and doubt that no process noise carries.

Each function answers a covariance of the stack, p (b, n, n) in the states' units, made wider; `plane` (b,) says
which plane (0 line, 1 level) each of the stack is.
"""

from __future__ import annotations

import numpy as np

from steer.estimate.motion import N_STATES, RD, RO, B, C, K, T, Y
from steer.estimate.tuning import ROLL_LENGTH_M, ROLL_STANDS_M, ROLL_UNKNOWN_DEG

GROUND_CRAB, GROUND_TENDENCY = 3.0, 0.3  # mm/m and mm/m² by which other ground opens crab and tendency
NEAREST_M = 20.0  # a target nearer than this tells little of a beam's direction


def roll_doubt(read_m: float) -> float:
    """Variance (rad²) of a roll last read `read_m` ago (inf: never), which wanders about its mean."""
    if read_m <= ROLL_STANDS_M:
        return 0.0
    return float(np.radians(ROLL_UNKNOWN_DEG) ** 2 * (1.0 - np.exp(-2.0 * read_m / ROLL_LENGTH_M)))


def of_roll(
    p: np.ndarray, arm_mm: np.ndarray, was: float, doubt: float, advance_m: float, reference_mm: float
) -> np.ndarray:
    """Doubt (rad²) of a roll that is not read swings the target, `arm_mm` (b,) off, about the machine: as an error
    of the reference's offset (sd at the launch `reference_mm`), since it does not average out. Coming or going it
    is drawn afresh, in between it wanders."""
    if doubt == 0.0 == was:
        return p
    arm = np.square(arm_mm)
    wander = 2.0 * min(doubt, was) * advance_m / ROLL_LENGTH_M
    p = p.copy()
    # it wanders about its mean: no further than as if nothing had been learned of it
    most = arm * min(doubt, was) + reference_mm**2
    p[:, RO, RO] += np.minimum(arm * wander, np.maximum(most - p[:, RO, RO], 0.0))
    p[:, RO, RO] += arm * abs(doubt - was)
    return p


def of_launch(
    p: np.ndarray, plane: np.ndarray, first: np.ndarray, shifted: np.ndarray, spread: np.ndarray
) -> np.ndarray:
    """Doubt as large as the first readings of some channels ask for (`first`, `shifted`, their variance `spread`:
    (4,)), in the proportions in which the launch was doubted: machine, reference and the channels' zeros."""
    p = p.copy()
    for k in (0, 1):
        channels = np.flatnonzero(first & (np.arange(4) % 2 == k))
        if len(channels):
            more = np.ones(N_STATES)
            more[[Y, T, C, RO, RD, B]] = max(
                1.0, float(np.sqrt((shifted[channels] ** 2 / spread[channels]).max()))
            )
            p[plane == k] *= np.outer(more, more)
    return p


def of_jump(
    p: np.ndarray, plane: np.ndarray, moved: np.ndarray, shifted: np.ndarray, distance_m: float
) -> np.ndarray:
    """What can have jumped where channels `moved` (4,) by `shifted` (4,): for a spot the reference, for a heading its
    zero."""
    p = p.copy()
    for channel in np.flatnonzero(moved):
        for b in np.flatnonzero(plane == channel % 2):
            size = shifted[channel] ** 2
            if channel < 2:
                p[b, RO, RO] += size
                p[b, RD, RD] += size / max(distance_m, NEAREST_M) ** 2
            else:
                p[b, B, B] += size
    return p


def of_shot(
    p: np.ndarray, plane: np.ndarray, by_mm: np.ndarray, opened: np.ndarray, beam_m: float | None
) -> np.ndarray:
    """Where a check shot disagrees in the planes `opened` (2,) by `by_mm` (b,): steps of the state that the readings
    would not show, the reference shifted or (a beam, `beam_m` long; None: no beam) turned, each held as likely."""
    p = p.copy()
    for b in np.flatnonzero(opened[plane]):
        shift = np.zeros(N_STATES)
        shift[Y] = shift[RO] = 1.0
        steps = [shift]
        if beam_m is not None:
            turn = np.zeros(N_STATES)
            turn[Y], turn[RD] = 1.0, 1.0 / max(beam_m, NEAREST_M)
            if plane[b] == 0:
                turn[T] = turn[RD]  # yaw is read against the beam, pitch is not
            steps = [shift * np.sqrt(0.5), turn * np.sqrt(0.5)]
        for step in steps:
            p[b] += by_mm[b] ** 2 * np.outer(step, step)
    return p


def of_ground(p: np.ndarray, plane: np.ndarray, changed: np.ndarray) -> np.ndarray:
    """Crab and tendency of the planes (2,) where the ground changed."""
    p = p.copy()
    opened = changed[plane]
    p[opened, C, C] += GROUND_CRAB**2
    p[opened, K, K] += GROUND_TENDENCY**2
    return p
