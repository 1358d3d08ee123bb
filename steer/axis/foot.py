"""The foot of the perpendicular from points in space onto the axis.

With T(s) = (sin b, cos b, g) along the axis and P(s) its position over plan length s,
f(s) = T·(Q − P) is positive while the foot lies ahead. A foot is a place where f falls through
zero; there the distance has a minimum. The search looks at f over nodes close enough to see
every such place, refines each by Newton's method kept inside its bracket, and takes the nearest.

The foot is called not unique where moving the point by 1 mm could move the foot by more than
1 m (near a centre of curvature), or where another foot more than 1 mm away along the axis is as
near to within 1 µm.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

_CHUNK = 150_000  # points times nodes at once: a table that stays in the processor's cache
_CLOSER = 16
_LEAST_STIFFNESS = 1e-3  # 1 mm of the point is then 1 m of the foot
_SAME_DISTANCE_M = 1e-6
_SAME_FOOT_M = 1e-3
_SAME_SQUARE_M2 = 1e-5  # above what squares of kilometres lose to rounding

Evaluate = Callable[[np.ndarray], tuple[np.ndarray, ...]]


class Located(NamedTuple):
    """Where points lie: floats and a bool for one point, arrays (n,) for many.

    `line_mm` + right, `level_mm` + high; NaN where `ok` is False, that is, without a unique foot.
    """

    chainage_m: float | np.ndarray
    line_mm: float | np.ndarray
    level_mm: float | np.ndarray
    ok: bool | np.ndarray


def foot_of_perpendicular(
    evaluate: Evaluate, nodes_m: np.ndarray, points: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Length along the axis, line, level (all m) and ok for points (n, 3) in the axis's own coordinates.

    `evaluate` gives east, north, level, bearing, grade, curvature right and up (1/m) over length;
    `nodes_m` runs from 0 to the plan's length, with every joint in it. A point that is
    not finite has no foot.
    """
    if not len(points):
        empty = np.empty(0)
        return empty, empty, empty, np.empty(0, dtype=bool)
    length, line, up, ok, missed = _in_chunks(evaluate, nodes_m, points)
    again = np.flatnonzero(missed)
    if again.size:
        # Beside an evolute two feet can hide between two nodes: look closer, for these points only.
        parts = np.linspace(nodes_m[:-1], nodes_m[1:], _CLOSER, endpoint=False).T.ravel()
        *closer, missed = _in_chunks(evaluate, np.append(parts, nodes_m[-1]), points[again])
        for values, found in zip((length, line, up, ok), closer, strict=True):
            values[again] = found
        lost = again[missed]
        length[lost] = line[lost] = up[lost] = np.nan
        ok[lost] = False
    return length, line, up, ok


def _in_chunks(evaluate: Evaluate, nodes: np.ndarray, points: np.ndarray) -> list[np.ndarray]:
    at = evaluate(nodes)
    place = np.stack(at[:3])
    along = np.stack([np.sin(at[3]), np.cos(at[3]), at[4]])
    size = max(1, _CHUNK // len(nodes))
    results = [
        _feet(evaluate, nodes, place, along, points[i : i + size]) for i in range(0, len(points), size)
    ]
    return [np.concatenate(column) for column in zip(*results, strict=True)]


def _feet(
    evaluate: Evaluate, nodes: np.ndarray, place: np.ndarray, along: np.ndarray, points: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Length, line, level, ok, and whether some node lies nearer than the foot found."""
    count = len(points)
    finite = np.isfinite(points).all(axis=1)
    q = np.where(finite[:, None], points, 0.0)
    f = q @ along - np.einsum("ij,ij->j", along, place)  # (points, nodes)
    # A candidate is a fall through zero between two nodes, or a foot on the straight beyond an end.
    ahead = f > 0.0
    row, left = np.nonzero(ahead[:, :-1] & ~ahead[:, 1:])
    before = np.flatnonzero(~ahead[:, 0])
    after = np.flatnonzero(ahead[:, -1])
    steep = 1.0 + along[2] ** 2
    f_left, f_right = f[row, left], f[row, left + 1]
    inside = nodes[left] + (nodes[left + 1] - nodes[left]) * f_left / (f_left - f_right)
    inside = _refine(evaluate, inside, nodes[left], nodes[left + 1], q[row])
    s = np.concatenate([inside, nodes[0] + f[before, 0] / steep[0], nodes[-1] + f[after, -1] / steep[-1]])
    who = np.concatenate([row, before, after])

    east, north, z, bearing, grade, _, _ = evaluate(s)
    d_east, d_north, d_z = q[who, 0] - east, q[who, 1] - north, q[who, 2] - z
    sin, cos, slant = np.sin(bearing), np.cos(bearing), np.hypot(1.0, grade)
    line = d_east * cos - d_north * sin
    forward = d_east * sin + d_north * cos
    up = (d_z - grade * forward) / slant
    distance = np.sqrt(d_east**2 + d_north**2 + d_z**2)

    order = np.lexsort((distance, who))
    who, s, distance = who[order], s[order], distance[order]
    first = np.ones(len(who), dtype=bool)
    first[1:] = who[1:] != who[:-1]
    best = np.flatnonzero(first)  # one for every point: f runs from +∞ to −∞, so there is a foot
    nearest = np.repeat(best, np.diff(np.append(best, len(who))))
    rival = (distance - distance[nearest] < _SAME_DISTANCE_M) & (np.abs(s - s[nearest]) > _SAME_FOOT_M)
    ok = finite.copy()
    for step in (-_SAME_FOOT_M, 0.0, _SAME_FOOT_M):  # at a joint, what holds on either side
        k, kv = evaluate(s[best] + step)[5:7]
        stiffness = 1.0 - (k * line[order][best] + kv * d_z[order][best]) / slant[order][best] ** 2
        ok &= stiffness > _LEAST_STIFFNESS
    ok[who[rival]] = False
    assert len(best) == count
    to_nodes = (q * q).sum(axis=1)[:, None] - 2.0 * (q @ place) + (place * place).sum(axis=0)
    missed = finite & (to_nodes.min(axis=1) < distance[best] ** 2 * (1.0 - 1e-12) - _SAME_SQUARE_M2)

    def keep(values: np.ndarray) -> np.ndarray:
        return np.where(ok, values, np.nan)

    return keep(s[best]), keep(line[order][best]), keep(up[order][best]), ok, missed


def _refine(
    evaluate: Evaluate, s: np.ndarray, low: np.ndarray, high: np.ndarray, q: np.ndarray
) -> np.ndarray:
    """Newton's method on f, falling back to halving whenever a step would leave the bracket."""
    s, low, high = s.copy(), low.copy(), high.copy()
    active = np.arange(len(s))
    for _ in range(60):
        if not active.size:
            break
        here = s[active]
        east, north, z, bearing, grade, k, kv = evaluate(here)
        sin, cos = np.sin(bearing), np.cos(bearing)
        d_east, d_north, d_z = q[active, 0] - east, q[active, 1] - north, q[active, 2] - z
        f = sin * d_east + cos * d_north + grade * d_z
        slope = k * (cos * d_east - sin * d_north) + kv * d_z - 1.0 - grade**2
        low[active] = np.where(f > 0.0, here, low[active])
        high[active] = np.where(f > 0.0, high[active], here)
        falling = slope < 0.0
        step = np.where(falling, -f / np.where(falling, slope, -1.0), np.inf)
        proposed = here + step
        lo, hi = low[active], high[active]
        halve = ~((proposed >= lo) & (proposed <= hi))
        proposed = np.where(halve, 0.5 * (lo + hi), proposed)
        s[active] = proposed
        active = active[(np.abs(proposed - here) > 1e-10) & (hi - lo > 1e-12)]
    return s
