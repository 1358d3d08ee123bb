"""What each channel says about the state: a small object answers (z, H, R), or nothing.

H rows are for the state at the node (chainage s); a value taken `back_m` before it is carried
forward along the predicted motion, to second order in that short distance:

    T(s−d) = T − d·(P + K + c·C − κ),  Y(s−d) = Y − d·(T + D·A + C) + d²/2·(P + K + c·C − C/fade − κ).

Sign of an innovation everywhere: measured minus predicted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.estimate.motion import N_STATES, RD, RO, RR, B, C, D, H, K, P, T, Y


@dataclass(frozen=True)
class Body:
    """Lengths of the machine that a sensor needs (m)."""

    front_m: float
    rear_m: float
    target_m: float  # target plane behind the face
    crab_coupling_per_m: np.ndarray  # (b,), one a model of the stack
    crab_fade_m: np.ndarray  # (b,)


def carried_back(
    body: Body, articulation: np.ndarray, back_m: float, curvature: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Rows (b, 12) and constants (b,) of face offset and heading at `back_m` before the node."""
    a = np.asarray(articulation, float)
    offset = np.zeros((a.shape[0], N_STATES))
    c, d = body.crab_coupling_per_m, back_m
    offset[:, Y] = 1.0
    offset[:, T] = -d
    offset[:, D] = -d * a
    offset[:, C] = -d + 0.5 * d * d * (c - 1.0 / body.crab_fade_m)
    offset[:, P] = offset[:, K] = 0.5 * d * d
    return offset, -0.5 * d * d * curvature, *_heading_back(body, a, d, curvature)


def _heading_back(
    body: Body, articulation: np.ndarray, back_m: float, curvature: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Row (b, 12) and constant (b,) of the heading alone."""
    heading = np.zeros((articulation.shape[0], N_STATES))
    heading[:, T] = 1.0
    heading[:, H] = articulation
    heading[:, P] = heading[:, K] = -back_m
    heading[:, C] = -back_m * body.crab_coupling_per_m
    return heading, back_m * curvature


def target_row(
    body: Body, articulation: np.ndarray, back_m: float, curvature: np.ndarray, setback_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Machine axis at the target plane against the design axis there: row (b, 12), constant (b,).

    offset − b·heading − setback, and for a target on the rear body + (b − front)·A, since that
    body points A less to the right. The reference is not in it.
    """
    offset, offset_0, heading, heading_0 = carried_back(body, articulation, back_m, curvature)
    behind = body.target_m
    row = offset - behind * heading
    const = offset_0 - behind * heading_0 - setback_mm
    if behind > body.front_m:
        const = const + (behind - body.front_m) * np.asarray(articulation, float)
    return row, const


def add_reference(row: np.ndarray, distance_m: float) -> np.ndarray:
    """A spot is read against the reference: its error (RO, RD·d, RR·d²/2) counts against it."""
    row = row.copy()
    row[:, RO] -= 1.0
    row[:, RD] -= distance_m
    row[:, RR] -= 0.5 * distance_m * distance_m
    return row


def heading_row(
    body: Body,
    articulation: np.ndarray,
    back_m: float,
    curvature: np.ndarray,
    distance_m: float,
    against_reference: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Heading as the angle channel shows it: row (b, 12), constant (b,).

    `against_reference` (b,) is true where the angle is read against the reference (yaw), false
    where gravity gives it (pitch). Both carry the channel's own zero error.
    """
    row, const = _heading_back(body, np.asarray(articulation, float), back_m, curvature)
    row[:, B] = 1.0
    row[:, RD] = np.where(against_reference, -1.0, 0.0)
    row[:, RR] = np.where(against_reference, -distance_m, 0.0)
    return row, const


def tail_row(
    body: Body, articulation: np.ndarray, curvature: np.ndarray, setback_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The tail: offset − front·heading − rear·(heading − A) − setback of the axis there."""
    offset, _, heading, _ = carried_back(body, articulation, 0.0, curvature)
    return offset - (body.front_m + body.rear_m) * heading, body.rear_m * np.asarray(
        articulation, float
    ) - setback_mm
