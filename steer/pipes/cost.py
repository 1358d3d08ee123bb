"""What a correction costs: the kink it leaves in the bore, and the force a joint there may carry.

Called beside every correction, so it takes the joint angle by second differences, the design curve's
own as curvature times pipe length; `joint_angles` takes it in space.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.axis import Axis
from steer.pipes.ring import RingJoint


@dataclass(frozen=True)
class KinkCost:
    """The sharpest joint angle that the stretch ahead will see (mm/m), where, and the share of the
    straight joint's permissible force that it leaves (0 to 1; None without packer keys)."""

    angle_mm_per_m: float
    chainage_m: float
    share: float | None
    permissible_kn: float | None


def kink_cost(
    axis: Axis,
    ring: RingJoint | None,
    pipe_m: float,
    driven_m: np.ndarray,
    driven_mm: np.ndarray,
    ahead_m: np.ndarray,
    ahead_mm: np.ndarray,
) -> KinkCost | None:
    """The kink between what is driven, `driven_mm` (k, 2) line and level at ascending `driven_m` (k,),
    and what is forecast, `ahead_mm` (n, 2) at `ahead_m` (n,) beyond it.

    None when the path is shorter than two pipes.
    """
    s = np.concatenate([driven_m, ahead_m])
    near = int(np.searchsorted(s, (driven_m[-1] if len(driven_m) else -np.inf) - 3.0 * pipe_m))
    s = s[near:]
    if len(s) == 0 or s[-1] - s[0] < 2.0 * pipe_m:
        return None
    # joints that have a pipe's length of the path ahead, and whose pipe ahead reaches into it
    ends = np.concatenate([ahead_m, driven_m[-1:] + pipe_m])
    joints = ends[(ends - 2.0 * pipe_m >= s[0]) & (ends <= s[-1])] - pipe_m
    if len(joints) == 0:
        return None
    point = axis.at(joints)
    turn = []
    for plane, curvature in enumerate((point.curvature_right_mm_per_m2, point.curvature_up_mm_per_m2)):
        y = np.concatenate([driven_mm[:, plane], ahead_mm[:, plane]])[near:]
        behind, here, front = (np.interp(joints + shift, s, y) for shift in (-pipe_m, 0.0, pipe_m))
        turn.append((front - 2.0 * here + behind) / pipe_m + np.asarray(curvature) * pipe_m)
    angle = np.hypot(*turn)
    at = int(np.argmax(angle))
    worst = float(angle[at])
    share = None if ring is None else float(ring.share_of_straight(worst))
    force = None if ring is None or share is None else share * ring.straight_kn
    return KinkCost(worst, float(joints[at]), share, force)
