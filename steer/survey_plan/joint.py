"""How the face's offsets at many places and at the arrival go together, given all cells.

From one rehearsal and one backward pass (Rauch, Tung and Striebel 1965): with J = P·Φᵀ·P'⁻¹ the
covariance of states i < j given all data is J_i·J_{i+1}·…·J_{j-1}·P_j. Any set of surveys is then a
few lines of Gaussian conditioning. By the model of the stack that weighs most.
"""

from __future__ import annotations

import numpy as np

from steer.estimate.motion import Y
from steer.survey_plan.course import Rehearsal


def joint_covariance(rehearsal: Rehearsal, places: list[int]) -> np.ndarray:
    """Covariance (2, k + 1, k + 1), mm²: line and level, face offsets at the cells `places` (k, ascending
    numbers of nodes before `until_m`), and last the offset at the arrival."""
    nodes = [n for n in rehearsal.nodes if n.s_m <= rehearsal.until_m + 1e-6]
    chain = [*nodes, rehearsal.arriving]
    first = 2 * int(np.argmax(rehearsal.arriving.weights))
    planes = [first, first + 1]
    covariance = np.zeros((2, len(places) + 1, len(places) + 1))
    smoothed = chain[-1].p[planes]
    columns = smoothed[:, :, [Y]]  # (2, 12, places so far), the latest first
    covariance[:, -1, -1] = smoothed[:, Y, Y]
    at = len(places) - 1
    for i in range(len(chain) - 2, -1, -1):
        node, later = chain[i], chain[i + 1]
        p, ahead = node.p[planes], later.p_before[planes]
        j = np.swapaxes(_solve(ahead, later.phi[planes] @ p), 1, 2)
        smoothed = p + j @ (smoothed - ahead) @ np.swapaxes(j, 1, 2)
        columns = j @ columns
        if at >= 0 and i == places[at]:
            columns = np.concatenate([smoothed[:, :, [Y]], columns], 2)
            covariance[:, at, at:] = covariance[:, at:, at] = columns[:, Y, :]
            at -= 1
            if at < 0:
                break
    return covariance


def _solve(p: np.ndarray, right: np.ndarray) -> np.ndarray:
    """P⁻¹·right with rows and columns scaled to 1, so that a state known exactly does no harm."""
    scale = np.sqrt(np.maximum(np.diagonal(p, axis1=1, axis2=2), 1e-18))
    unit = p / (scale[:, :, None] * scale[:, None, :]) + 1e-10 * np.eye(p.shape[1])
    found: np.ndarray = np.linalg.solve(unit, right / scale[:, :, None]) / scale[:, :, None]
    return found


def arrival_variance(covariance: np.ndarray, noise: np.ndarray, chosen: list[int]) -> np.ndarray:
    """Variance (2,) of the arrival after surveys at the chosen places; noise (2, k) their variances."""
    left = covariance[:, -1, -1].copy()
    if chosen:
        for plane in (0, 1):
            s = covariance[plane][np.ix_(chosen, chosen)] + np.diag(noise[plane, chosen])
            c = covariance[plane, -1, chosen]
            left[plane] -= float(c @ np.linalg.solve(s, c))
    return left
