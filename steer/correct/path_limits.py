"""Limits on the path that may give way: what joints and packers allow, and the tolerance.

Every pair of pipes passes every chainage, so a joint there takes the angle of the path over two pipe
lengths: |y(s) − 2·y(s−p) + y(s−2p)|/p in each plane, the design curve's own included, both combined.
"""

from __future__ import annotations

import numpy as np

from steer.correct.outlook import Outlook
from steer.correct.programme import SoftRows

JOINT = "joint angle"
_DIRECTIONS = np.array([[1.0, 0.0], [0.0, 1.0], [np.sqrt(0.5), np.sqrt(0.5)], [np.sqrt(0.5), -np.sqrt(0.5)]])
_INNER = np.cos(np.pi / 8)  # the octagon inside the circle


def joint_rows(
    outlook: Outlook,
    driven_m: np.ndarray,
    driven_mm: np.ndarray,
    bend: np.ndarray,
    pipe_m: float,
    most: float,
) -> SoftRows:
    """Rows that keep the joint angle within `most` (mm/m) at every stroke's end to come.

    `driven_m` (k,) ascending chainages up to the face, `driven_mm` (k, 2) the path there, `bend`
    (2, n) the design axis's own joint angle at each stroke's end (mm/m).
    """
    n = len(outlook.chainage_m)
    now_m = outlook.chainage_m[0] - outlook.stroke_m
    knots = np.concatenate([[now_m], outlook.chainage_m])

    def at(s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Offset at chainages s: known part (2, m) and share (m, n) of each stroke's end."""
        past = s <= now_m + 1e-9
        j = np.clip(np.searchsorted(knots, s - 1e-9), 1, n)
        t = (s - knots[j - 1]) / (knots[j] - knots[j - 1])
        each = np.zeros((len(s), n + 1))  # of each knot, the face first
        rows = np.arange(len(s))
        each[rows, j - 1], each[rows, j] = 1.0 - t, t
        each[past] = 0.0
        driven = np.stack([np.interp(s, driven_m, driven_mm[:, plane]) for plane in (0, 1)])
        return np.where(past, driven, each[:, 0] * outlook.now_mm[:, None]), each[:, 1:]

    parts = [at(outlook.chainage_m), at(outlook.chainage_m - pipe_m), at(outlook.chainage_m - 2 * pipe_m)]
    known = (parts[0][0] - 2 * parts[1][0] + parts[2][0]) / pipe_m + bend
    share = (parts[0][1] - 2 * parts[1][1] + parts[2][1]) / pipe_m
    per_plane = share @ outlook.answer
    offset = known + outlook.free_mm @ share.T
    rows, low, high = [], [], []
    for line, level in _DIRECTIONS:
        rows.append(np.concatenate([line * per_plane[0], level * per_plane[1]], axis=1))
        middle = line * offset[0] + level * offset[1]
        low.append(-_INNER * most - middle)
        high.append(_INNER * most - middle)
    return SoftRows(JOINT, np.concatenate(rows), np.concatenate(low), np.concatenate(high), 1.0 / pipe_m)


def own_bends(joints: SoftRows, design: np.ndarray, pipe_m: float) -> SoftRows:
    """The path's own bends, mm/m², as rows @ A − low: the joint angles of `joint_rows` over the pipe's
    length, less the design axis's own, `design` (2, n) mm/m."""
    rows = joints.rows[: design.size] / pipe_m
    wanted = (0.5 * (joints.low + joints.high)[: design.size] + design.reshape(-1)) / pipe_m
    return SoftRows("bend", rows, wanted, wanted)


def tolerance_rows(outlook: Outlook, tolerance: np.ndarray, sd: np.ndarray) -> SoftRows:
    """Rows that keep each plane inside tolerance (2,) less 1.3 of the forecast's sd (2, n)."""
    n = len(outlook.chainage_m)
    room = np.maximum(tolerance[:, None] - 1.3 * sd, 0.3 * tolerance[:, None])
    rows = np.zeros((2 * n, 2 * n))
    rows[:n, :n], rows[n:, n:] = outlook.answer[0], outlook.answer[1]
    middle = outlook.free_mm.reshape(-1)
    return SoftRows("tolerance", rows, -room.reshape(-1) - middle, room.reshape(-1) - middle)
