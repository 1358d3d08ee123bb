"""The settings that bring the face back to line: a quadratic programme over the next strokes.

Minimise, over both planes together, with the offset y and the articulation A,

    E[Σ y²]·stroke + BEND·ℓ⁴·Σ (joint angle/pipe length)²·stroke + w·Σ (change of A)²/stroke
        + ℓ·y² + ℓ³·(dy/ds)²  at the end of the horizon

with w = b²·ℓ⁶ for a face that answers y'' = b·A. For ∫y² + w·(dA/ds)² the closed loop's three poles lie
at the distance ℓ (Butterworth pattern; Kwakernaak and Sivan, Linear Optimal Control Systems, 1972,
from memory), so ℓ is a distance over which to return to line and means the same on every machine; the
other weights follow from it by their units. The joint angle is the steering's own, the design curve's
taken off, and the articulation that the design curve asks for costs nothing beyond its changes.
The expectation is over the models of the ground's answer, by their weights, and over each one's gain:
E[y²] = mean² + variance, so an answer whose size is poorly known is not steered by in full.

Limits: change per stroke, articulation magnitude (a circle), every cylinder inside its range at the
present roll, and path curvature that joints and packers allow; the last gives way, at a high price, when
they cannot all be kept. Outside the tolerance less the forecast's own uncertainty an offset
weighs four times as much: firm, but no bang from stop to stop, which a slow ground answers by swinging.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.correct.outlook import Outlook

CIRCLE = 16  # sides of the polygon inside the circle of largest articulation
DEAR = 100.0  # weight of a joint's angle beyond its limit, against that of the path's other bends
OUTSIDE = 3.0  # an offset outside the room in the tolerance weighs so much more
BEND = 1.0  # weight of the path's bends against its offsets, over the distance of return
GIVE_WAY = 1e4  # what it costs that a limit gives way by one unit, against the cost's own largest entry
KEPT = 1e-5  # how far a row may be passed and still counts as kept


@dataclass(frozen=True)
class Limits:
    """Limits on the articulation, mm/m. `rows` (m, 2), `low`, `high` (m,): low <= rows @ (right, up) <= high
    holds for every stroke (the cylinders at the present roll); `first_low`, `first_high` (2,) bound the
    next setting: the change from what stands and, where both can be kept, from what was advised."""

    most: float
    change: float
    rows: np.ndarray
    low: np.ndarray
    high: np.ndarray
    first_low: np.ndarray
    first_high: np.ndarray


@dataclass(frozen=True)
class SoftRows:
    """Rows on all unknowns that may give way: `rows` (m, 2n) @ A within ±`bound` of `middle`; `name` says which limit."""

    name: str
    rows: np.ndarray
    low: np.ndarray
    high: np.ndarray
    bend: float = 1.0  # mm/m² of the path that one unit is


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
    # by size: answers of either sign would cancel where it is in doubt which way the machine answers
    each = np.abs(outlook.answer_each.sum(-1)[..., -1])
    bend = 2.0 * np.einsum("mp,mp->p", outlook.weights, each) / reach**2
    found: np.ndarray = np.maximum(bend, 1e-4) ** 2 * return_m**6
    return found


def cost(
    outlook: Outlook, now: np.ndarray, return_m: float, design: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Hessian (2n, 2n) and gradient (2n,) of the programme at A = 0; `now` (2,), `design` (2, n)."""
    n = outlook.answer.shape[1]
    big, small = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    change = np.eye(n) - np.eye(n, k=-1)
    w = weights(outlook, return_m)
    stroke = outlook.stroke_m
    # offsets along the way and, for what comes after them, offset and heading at the end
    seen = stroke * np.eye(n)
    seen[-1, -1] += return_m
    slope = (return_m**1.5 / stroke) * np.array([-1.0, 1.0])
    seen[-2:, -2:] += np.outer(slope, slope)
    w_each = outlook.weights[..., None, None]
    unsure = np.minimum(outlook.doubt, 1.0)[..., None, None] ** 2
    pulled = np.swapaxes(outlook.answer_each, -1, -2) @ seen  # (m, 2, n, n)
    square = w_each * (pulled @ outlook.answer_each)
    mm = ((1.0 + unsure) * square).sum(0)
    pull = (w_each * (pulled @ outlook.free_each[..., None])).sum(0)[..., 0]
    pull -= ((unsure * square).sum(0) @ design[..., None])[..., 0]
    for plane in (0, 1):
        part = slice(plane * n, plane * n + n)
        big[part, part] = 2.0 * (mm[plane] + w[plane] / stroke * (change.T @ change))
        small[part] = 2.0 * pull[plane]
        small[plane * n] -= 2.0 * w[plane] / stroke * now[plane]
    return big, small


def hard_rows(limits: Limits, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Change, magnitude and cylinder rows over all unknowns: rows (m, 2n), low, high (m,); the first 2n
    are the change per stroke."""
    change = np.zeros((2, n, 2, n))
    change[0, :, 0] = change[1, :, 1] = np.eye(n) - np.eye(n, k=-1)
    low, high = np.full((2, n), -limits.change), np.full((2, n), limits.change)
    low[:, 0], high[:, 0] = limits.first_low, limits.first_high
    angles = np.pi * np.arange(CIRCLE // 2) / (CIRCLE // 2)
    inner = np.full(CIRCLE // 2, limits.most * np.cos(np.pi / CIRCLE))
    both = np.concatenate([np.stack([np.cos(angles), np.sin(angles)], -1), limits.rows])
    each = np.zeros((n, len(both), 2, n))
    strokes = np.arange(n)
    each[strokes, :, 0, strokes], each[strokes, :, 1, strokes] = both[:, 0], both[:, 1]
    ends = np.concatenate([-inner, limits.low]), np.concatenate([inner, limits.high])
    return (
        np.concatenate([change.reshape(2 * n, 2 * n), each.reshape(-1, 2 * n)]),
        np.concatenate([low.reshape(-1), np.tile(ends[0], n)]),
        np.concatenate([high.reshape(-1), np.tile(ends[1], n)]),
    )


def solve(
    outlook: Outlook,
    now: np.ndarray,
    return_m: float,
    limits: Limits,
    joints: SoftRows,
    room: SoftRows,
    design: np.ndarray,
    bends: SoftRows,
) -> Plan:
    """The best plan from the articulation `now` (2,). Always an answer; when nothing can be solved, what
    stands is held, and `solved` is False."""
    n = outlook.answer.shape[1]
    big, small = cost(outlook, now, return_m, design)
    weight = 2.0 * outlook.stroke_m * BEND * return_m**4
    big += weight * bends.rows.T @ bends.rows
    small -= weight * bends.rows.T @ bends.low
    if not (np.isfinite(big).all() and np.isfinite(small).all() and np.isfinite(now).all()):
        held = np.clip(np.nan_to_num(now), limits.first_low, limits.first_high)
        return Plan(np.repeat(held[:, None], n, 1), held, np.eye(2), (), False)
    rows, low, high = hard_rows(limits, n)
    x, solved, passed = within(big, small, rows, low, high, 2 * n)
    # Outside the room that tolerance leaves, an offset weighs more; which ones are outside depends
    # on the answer, so it is asked again until they stay the same.
    weighed = np.zeros(0, bool)
    plain_big, plain_small = big, small
    for _ in range(4):
        got = room.rows @ x
        over, under = got > room.high + 1e-6, got < room.low - 1e-6
        now_weighed = np.concatenate([over, under])
        if not (now_weighed.any() or weighed.any()) or np.array_equal(now_weighed, weighed):
            break
        weighed = now_weighed
        out = np.concatenate([room.rows[over], room.rows[under]])
        edge = np.concatenate([room.high[over], room.low[under]])
        pull = 2.0 * OUTSIDE * outlook.stroke_m
        big, small = plain_big + pull * out.T @ out, plain_small - pull * out.T @ edge
        x, solved, passed = within(big, small, rows, low, high, 2 * n)
    given = ["articulation or cylinder range"] if passed > KEPT else []
    got = joints.rows @ x
    if ((got < joints.low - 1e-6) | (got > joints.high + 1e-6)).any() and not given:
        every = (
            np.concatenate([rows, joints.rows]),
            np.concatenate([low, joints.low]),
            np.concatenate([high, joints.high]),
        )
        kept, ok, passed = within(big, small, *every, len(rows))
        if ok and passed <= 1e-3:
            x, solved = kept, ok
        else:
            given.append(joints.name)
            big, small, x, solved = _priced(
                big, small, (rows, low, high), joints, x, DEAR * weight * joints.bend**2
            )
    if not np.isfinite(x).all():
        x, solved = np.repeat(np.clip(now, limits.first_low, limits.first_high), n), False
    first = [0, n]
    rest = [i for i in range(2 * n) if i not in first]
    hessian = big[np.ix_(first, first)] - big[np.ix_(first, rest)] @ np.linalg.solve(
        big[np.ix_(rest, rest)], big[np.ix_(rest, first)]
    )
    plan = x.reshape(2, n)
    return Plan(plan, plan[:, 0].copy(), hessian, tuple(given), solved)


def _priced(
    big: np.ndarray,
    small: np.ndarray,
    hard: tuple[np.ndarray, np.ndarray, np.ndarray],
    joints: SoftRows,
    x: np.ndarray,
    price: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, bool]:
    """Hessian, gradient, x (k,) and whether it was solved where the joints cannot all be kept: the square of what
    one passes its limit by costs `price`, `DEAR` times as much as the path's other bends. A joint that the bore
    driven so far has settled is then let be: to lessen it at any price took the machine from line by lurches."""
    out = np.zeros(2 * len(joints.rows), bool)
    solved = False
    plain_big, plain_small = big, small
    for _ in range(6):
        got = joints.rows @ x
        now_out = np.concatenate([got > joints.high + 1e-6, got < joints.low - 1e-6])
        if solved and np.array_equal(now_out, out):
            break
        out = now_out
        passed = np.concatenate([joints.rows, joints.rows])[out]
        edge = np.concatenate([joints.high, joints.low])[out]
        big, small = plain_big + price * passed.T @ passed, plain_small - price * passed.T @ edge
        x, solved, _ = within(big, small, *hard, len(hard[0]))
    return big, small, x, solved


def within(
    big: np.ndarray, small: np.ndarray, rows: np.ndarray, low: np.ndarray, high: np.ndarray, firm: int
) -> tuple[np.ndarray, bool, float]:
    """x (k,) with the least ½·xᵀ·big·x + small·x where low <= rows @ x <= high, and by how much it passes.

    The first `firm` rows are kept in any case (they can always be kept together). The rest gives way
    when not all can be kept: all by the same d >= 0, as little as possible, at a cost of
    scale·GIVE_WAY·(d + d²/2). Returns x, whether it was solved, and d.
    """
    free = np.linalg.solve(big, -small)
    if kept(free, rows, low, high):
        return free, True, 0.0
    scale = 1.0 / max(float(np.abs(np.diag(big)).max()), 1e-12)
    x, solved = _daqp(big * scale, small * scale, rows, low, high)
    if solved:
        return x, True, 0.0
    k = len(small)
    wide_big = np.zeros((k + 1, k + 1))
    wide_big[:k, :k], wide_big[k, k] = big * scale, GIVE_WAY
    wide_small = np.append(small * scale, GIVE_WAY)
    gives = (np.arange(len(rows)) >= firm).astype(float)[:, None]
    upper = np.concatenate([np.hstack([rows, -gives]), np.hstack([rows[firm:], gives[firm:]])])
    least = np.concatenate([np.where(gives[:, 0] > 0, -1e30, low), low[firm:]])
    most = np.concatenate([high, np.full(len(rows) - firm, 1e30)])
    bound = np.append(np.zeros(k), 1.0)[None, :]
    found, solved = _daqp(
        wide_big,
        wide_small,
        np.concatenate([upper, bound]),
        np.append(least, 0.0),
        np.append(most, 1e30),
    )
    return found[:k], solved, max(float(found[k]), 0.0) if solved else 0.0


def kept(x: np.ndarray, rows: np.ndarray, low: np.ndarray, high: np.ndarray, by: float = 1e-7) -> bool:
    """Whether every row is kept, to `by`; False for what is not a number."""
    got = rows @ x
    return bool(np.isfinite(got).all() and (got >= low - by).all() and (got <= high + by).all())


def _daqp(
    big: np.ndarray, small: np.ndarray, rows: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, bool]:
    """Solved by daqp, and looked at again: its flag, numbers, every row."""
    import daqp

    x, _, flag, _ = daqp.solve(
        np.ascontiguousarray(big), np.ascontiguousarray(small), np.ascontiguousarray(rows),
        np.ascontiguousarray(high), np.ascontiguousarray(low), np.zeros(len(rows), np.int32),
    )  # fmt: skip
    found = np.asarray(x, float)
    return found, flag == 1 and kept(found, rows, low, high, KEPT)
