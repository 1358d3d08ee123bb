"""The settings that bring the face back to line: a quadratic programme over the next strokes.

Minimise, over both planes together,

    E[Σ offset²]·stroke + w·Σ (change of A)²/stroke

with w = b²·ℓ⁶ for a face that answers y'' = b·A. For ∫y² + w·(dA/ds)² the closed loop's three poles lie
at the distance ℓ (Butterworth pattern; Kwakernaak and Sivan, Linear Optimal Control Systems, 1972,
from memory), so ℓ is a distance over which to return to line and means the same on every machine.
The expectation is over the models of the ground's answer, by their weights, and over each one's gain:
E[y²] = mean² + variance, so an answer whose size is poorly known is not steered by in full.

Limits: change per stroke, articulation magnitude (a circle), every cylinder inside its range at the
present roll, and path curvature that joints and packers allow; the last is soft: it gives way, dearly,
when they cannot all be kept. Outside the tolerance less the forecast's own uncertainty an offset
weighs four times as much: firm, but no bang from stop to stop, which a slow ground answers by swinging.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.correct.outlook import Outlook

CIRCLE = 16  # sides of the polygon inside the circle of largest articulation
SOFT = 8  # daqp: this row may give way
OUTSIDE = 3.0  # an offset outside the room in the tolerance weighs so much more


@dataclass(frozen=True)
class Limits:
    """Limits on the articulation, mm/m. `rows` (m, 2), `low`, `high` (m,): low <= rows @ (right, up) <= high
    holds for every stroke (the cylinders at the present roll)."""

    most: float
    change: float
    rows: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class SoftRows:
    """Rows on all unknowns that may give way: `rows` (m, 2n) @ A within ±`bound` of `middle`; `name` says which limit."""

    name: str
    rows: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class Plan:
    """Articulations (2, n) for the strokes to come; `given_way` names soft limits that could not be kept.

    `hessian` (2, 2) and `best` (2,): cost of holding another first setting a, with all later ones
    chosen anew, is ½(a − best)ᵀ·hessian·(a − best) more (without the limits on the later ones).
    """

    articulation: np.ndarray
    best: np.ndarray
    hessian: np.ndarray
    given_way: tuple[str, ...] = ()
    solved: bool = True


def weights(outlook: Outlook, return_m: float) -> np.ndarray:
    """w (2,) per plane, from the distance of return and the answer b at the horizon's end."""
    reach = outlook.stroke_m * outlook.answer.shape[1]
    bend = 2.0 * outlook.answer.sum(-1)[:, -1] / reach**2
    found: np.ndarray = np.maximum(np.abs(bend), 1e-4) ** 2 * return_m**6
    return found


def cost(
    outlook: Outlook, now: np.ndarray, return_m: float, design: np.ndarray, change_weight: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """Hessian (2n, 2n) and gradient (2n,) of the programme at A = 0; `now` (2,), `design` (2, n)."""
    n = outlook.answer.shape[1]
    big, small = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    change = np.eye(n) - np.eye(n, k=-1)
    w = weights(outlook, return_m) * change_weight
    for plane in (0, 1):
        part = slice(plane * n, plane * n + n)
        stroke = outlook.stroke_m
        mm, pull = np.zeros((n, n)), np.zeros(n)
        for share, free, answer, doubt in zip(
            outlook.weights,
            outlook.free_each[:, plane],
            outlook.answer_each[:, plane],
            outlook.doubt[:, plane],
            strict=True,
        ):
            square = share * (answer.T @ answer)
            unsure = min(float(doubt), 1.0) ** 2
            mm += (1.0 + unsure) * square
            pull += share * (answer.T @ free) - unsure * (square @ design[plane])
        big[part, part] = 2.0 * (stroke * mm + w[plane] / stroke * (change.T @ change))
        small[part] = 2.0 * stroke * pull
        small[plane * n] -= 2.0 * w[plane] / stroke * now[plane]
    return big, small


def hard_rows(limits: Limits, now: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Change, magnitude and cylinder rows over all unknowns: rows (m, 2n), low, high (m,)."""
    rows, low, high = [], [], []
    for plane in (0, 1):
        for k in range(n):
            row = np.zeros(2 * n)
            row[plane * n + k] = 1.0
            if k:
                row[plane * n + k - 1] = -1.0
            rows.append(row)
            at = 0.0 if k else now[plane]
            low.append(at - limits.change)
            high.append(at + limits.change)
    angles = np.pi * np.arange(CIRCLE // 2) / (CIRCLE // 2)
    inner = limits.most * np.cos(np.pi / CIRCLE)
    both = np.concatenate([np.stack([np.cos(angles), np.sin(angles)], -1), limits.rows])
    ends = (
        np.concatenate([np.full(len(angles), -inner), limits.low]),
        np.concatenate([np.full(len(angles), inner), limits.high]),
    )
    for k in range(n):
        block = np.zeros((len(both), 2 * n))
        block[:, k], block[:, n + k] = both[:, 0], both[:, 1]
        rows.extend(block)
        low.extend(ends[0])
        high.extend(ends[1])
    return np.array(rows), np.array(low), np.array(high)


def solve(
    outlook: Outlook,
    now: np.ndarray,
    return_m: float,
    limits: Limits,
    joints: SoftRows,
    room: SoftRows,
    design: np.ndarray,
    change_weight: float = 1.0,
) -> Plan:
    """The best plan from the articulation `now` (2,). Always an answer; rows are added as they are broken."""
    n = outlook.answer.shape[1]
    big, small = cost(outlook, now, return_m, design, change_weight)
    if not (np.isfinite(big).all() and np.isfinite(small).all()):
        return Plan(np.repeat(now[:, None], n, 1), now.copy(), np.eye(2), (), False)
    rows, low, high = hard_rows(limits, now, n)
    x, solved = _within(big, small, rows, low, high, [])
    # Outside the room that tolerance leaves, an offset weighs more; which ones are outside depends
    # on the answer, so it is asked again until they stay the same.
    weighed = np.zeros(0, bool)
    plain_big, plain_small = big, small
    for _ in range(4):
        got = room.rows @ x
        over, under = got > room.high + 1e-6, got < room.low - 1e-6
        now_weighed = np.concatenate([over, under])
        if (now_weighed.any() or weighed.any()) and not np.array_equal(now_weighed, weighed):
            weighed = now_weighed
            out = np.concatenate([room.rows[over], room.rows[under]])
            edge = np.concatenate([room.high[over], room.low[under]])
            pull = 2.0 * OUTSIDE * outlook.stroke_m
            big, small = plain_big + pull * out.T @ out, plain_small - pull * out.T @ edge
            x, solved = _within(big, small, rows, low, high, [])
        else:
            break
    got = joints.rows @ x
    active = [joints] if ((got < joints.low - 1e-6) | (got > joints.high + 1e-6)).any() else []
    if active:
        kept, ok = _within(big, small, rows, low, high, active)
        if ok:
            x, solved = kept, ok
    if not np.isfinite(x).all():
        x, solved = np.repeat(now, n), False
    first = [0, n]
    rest = [i for i in range(2 * n) if i not in first]
    hessian = big[np.ix_(first, first)] - big[np.ix_(first, rest)] @ np.linalg.solve(
        big[np.ix_(rest, rest)], big[np.ix_(rest, first)]
    )
    given = tuple(
        s.name for s in active if ((s.rows @ x < s.low - 1e-3) | (s.rows @ x > s.high + 1e-3)).any()
    )
    if not np.isfinite(x).all():
        x, solved = np.repeat(now, n), False
    plan = x.reshape(2, n)
    return Plan(plan, plan[:, 0].copy(), hessian, given, solved)


def _within(
    big: np.ndarray,
    small: np.ndarray,
    rows: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    soft: list[SoftRows],
) -> tuple[np.ndarray, bool]:
    """The least of the cost within the rows; the free one when it keeps them all anyway."""
    if not soft:
        free = np.linalg.solve(big, -small)
        inside = rows @ free
        if not ((inside < low - 1e-7).any() or (inside > high + 1e-7).any()):
            return free, True
    return _programme(big, small, rows, low, high, soft)


def _programme(
    big: np.ndarray,
    small: np.ndarray,
    rows: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    soft: list[SoftRows],
) -> tuple[np.ndarray, bool]:
    """daqp on dense data. The cost is scaled so that giving way in a soft row stays the last resort."""
    import daqp

    scale = 1.0 / max(np.abs(np.diag(big)).max(), 1e-12)
    a = np.concatenate([rows, *[s.rows for s in soft]]) if soft else rows
    lower = np.concatenate([low, *[s.low for s in soft]]) if soft else low
    upper = np.concatenate([high, *[s.high for s in soft]]) if soft else high
    sense = np.zeros(len(a), np.int32)
    sense[len(rows) :] = SOFT
    x, _, flag, _ = daqp.solve(
        np.ascontiguousarray(big * scale), small * scale, np.ascontiguousarray(a), upper, lower, sense
    )
    found = np.asarray(x, float)
    good = flag > 0 and np.isfinite(found).all()
    if not good:
        # Hard rows that exclude one another (cylinders already out of range): keep the change limit.
        n2 = big.shape[0]
        soft_sense = np.full(len(a), SOFT, np.int32)
        soft_sense[:n2] = 0
        x, _, flag, _ = daqp.solve(
            np.ascontiguousarray(big * scale),
            small * scale,
            np.ascontiguousarray(a),
            upper,
            lower,
            soft_sense,
        )
        found = np.asarray(x, float)
        good = flag > 0 and np.isfinite(found).all()
    return found, good
