"""The path as driven, with all knowledge: a backward pass over the estimator's nodes.

Rauch, Tung and Striebel (1965), per model (the wrong answers are left out), then the mixture by each node's weights:

    J = P·Φᵀ·P'⁻¹,  x_s = x + J·(x_s' − x'),  P_s = P + J·(P_s' − P')·Jᵀ

with ' the next node, before its measurement. What a node opened (a moved reference, a shot that
disagrees) is in its P' already, as process noise at that node.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.estimate.estimator import Estimator
from steer.estimate.motion import G, H, T, Y
from steer.estimate.nodes import blend


@dataclass(frozen=True)
class SmoothedPath:
    """Arrays over nodes (n,), chainage ascending: offsets mm, headings against the axis mm/m, and
    (n, 2) articulation (right, up; mm/m) and learned gain (line, level; 1/m) with its sd."""

    chainage_m: np.ndarray
    line_mm: np.ndarray
    level_mm: np.ndarray
    line_sd_mm: np.ndarray
    level_sd_mm: np.ndarray
    yaw_mm_per_m: np.ndarray
    pitch_mm_per_m: np.ndarray
    articulation_mm_per_m: np.ndarray
    gain_per_m: np.ndarray
    gain_sd_per_m: np.ndarray


def smooth(estimator: Estimator) -> SmoothedPath:
    """Smooth every node folded so far; the last one at each chainage counts."""
    nodes = [node for node in estimator.nodes if node.stands_for is None]
    count = len(nodes)
    means, covs = np.empty((count, 2, estimator.start.x.shape[1])), None
    if count:
        n, b = means.shape[2], 2 * estimator.stack.models
        covs = np.empty((count, 2, n, n))
        after_x, after_p = nodes[-1].x[:b], nodes[-1].p[:b]
        means[-1], covs[-1] = blend(after_x, after_p, nodes[-1].weights)
        for i in range(count - 2, -1, -1):
            node, later = nodes[i], nodes[i + 1]
            x, p, x_before, p_before = node.x[:b], node.p[:b], later.x_before[:b], later.p_before[:b]
            j = np.swapaxes(_solve(p_before, later.phi[:b] @ p), 1, 2)
            after_x = x + np.einsum("bij,bj->bi", j, after_x - x_before)
            after_p = p + j @ (after_p - p_before) @ np.swapaxes(j, 1, 2)
            after_p = 0.5 * (after_p + np.swapaxes(after_p, 1, 2))
            if not (np.isfinite(after_x).all() and np.isfinite(after_p).all()):
                after_x, after_p = x, p  # what came later cannot be carried back here
            means[i], covs[i] = blend(after_x, after_p, node.weights)
    at = np.array([node.s_m for node in nodes])
    keep = np.append(np.diff(at) > 1e-6, True) if count else np.zeros(0, bool)
    a = np.array([node.articulation for node in nodes]).reshape(-1, 2)[keep]
    x = means[keep]
    var = np.zeros((0, 2, 1, 1)) if covs is None else covs[keep]
    diagonal = np.sqrt(np.maximum(np.diagonal(var, axis1=2, axis2=3), 0.0))
    heading = x[:, :, T] + x[:, :, H] * a
    empty = np.zeros((0, 2))
    return SmoothedPath(
        at[keep], x[:, 0, Y], x[:, 1, Y],
        diagonal[:, 0, Y] if count else empty[:, 0], diagonal[:, 1, Y] if count else empty[:, 0],
        heading[:, 0], heading[:, 1], a, x[:, :, G], diagonal[:, :, G] if count else empty,
    )  # fmt: skip


def _solve(p: np.ndarray, cross: np.ndarray) -> np.ndarray:
    """P'⁻¹·cross with rows and columns scaled to 1: states that are known exactly stay solvable."""
    scale = np.sqrt(np.maximum(np.diagonal(p, axis1=1, axis2=2), 1e-18))
    unit = p / (scale[:, :, None] * scale[:, None, :])
    unit = unit + 1e-10 * np.eye(p.shape[1])
    try:
        found: np.ndarray = np.linalg.solve(unit, cross / scale[:, :, None]) / scale[:, :, None]
    except np.linalg.LinAlgError:
        return np.full_like(cross, np.nan)  # singular all the same: the caller goes on with the node as it is
    return found
