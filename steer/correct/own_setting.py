"""A setting of the crew's own: whole cylinder steps at the present roll, the limits it would break, what lies ahead
with it.

What the machine cannot be set to is refused. A limit of steering can be passed, by who says so knowing which: the
cylinders may stand so already, and the log has to tell what is really set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from steer.advice import Advice, ForecastPoint
from steer.checkshots.effect import with_open_questions
from steer.correct.advise import at_face, face_estimate, kink, propose
from steer.correct.forecast import at_reception, eye_probability, points
from steer.correct.settings import Chosen, nearest
from steer.drivefile import DriveFile, MachineSection
from steer.estimate.estimator import Estimator
from steer.estimate.follow import Follower
from steer.estimate.nodes import Node
from steer.pipes.cost import KinkCost
from steer.text import PLANES

_MORE = 0.05  # mm/m by which a joint must turn more than as proposed: figures are shown in tenths


@dataclass(frozen=True)
class Limit:
    """A limit of steering that a setting passes: `code` for the log, `text` for a person."""

    code: str  # "line_change", "level_change", "joint_angle"
    text: str


@dataclass(frozen=True)
class Tried:
    """Cylinder extensions (N,) mm on whole steps (as they read where no change is asked), the articulation
    they make (mm/m), why the machine cannot be set so, the limits passed by it, and the face ahead with it (empty
    where it cannot be set, or no forecast is to be trusted)."""

    cylinder_mm: tuple[float, ...]
    right_mm_per_m: float
    up_mm_per_m: float
    problems: tuple[str, ...]
    beyond: tuple[Limit, ...] = ()
    ahead: tuple[ForecastPoint, ...] = ()


@dataclass(frozen=True)
class Foreseen:
    """What a setting leads to: the face ahead, the sharpest joint that makes (None: too short to tell), and the chance
    of arriving inside the eye (None without a forecast)."""

    ahead: tuple[ForecastPoint, ...]
    joint: KinkCost | None
    eye_probability: float | None


@dataclass(frozen=True)
class Standpoint:
    """What a proposal is made from, as `propose` takes it."""

    estimator: Estimator
    node: Node
    now_mm: np.ndarray | None
    roll_deg: float
    advised: np.ndarray | None
    told_mm: np.ndarray | None

    @classmethod
    def of(cls, follower: Follower, node: Node, advised: np.ndarray | None) -> Standpoint:
        """From the newest state `node`; a shot that waits for a word leaves its doubt in every figure."""
        told = follower.cylinders.told_mm
        return cls(
            follower.estimator, with_open_questions(node, follower.estimator), follower.standing_or_neutral(),
            follower.roll_deg, advised, None if told is None else np.array(told, float),
        )  # fmt: skip


def try_setting(machine: MachineSection, advice: Advice, right_mm_per_m: float, up_mm_per_m: float) -> Tried:
    """Look at an articulation (mm/m, + right, + up) from where the advice says the cylinders stand."""
    now = np.array([advice.now_right_mm_per_m, advice.now_up_mm_per_m])
    now_mm = None if advice.cylinder_now_mm is None else np.array(advice.cylinder_now_mm, float)
    whole, made = nearest(machine, advice.roll_deg, np.array([right_mm_per_m, up_mm_per_m]), now_mm, now)
    problems = []
    if np.hypot(*made) > machine.max_articulation_mm_per_m + 1e-9:
        problems.append(f"at most {machine.max_articulation_mm_per_m:g} mm/m in both planes together")
    low, high = machine.cylinders.range_mm
    for number, mm in enumerate(whole, 1):
        if not low - 1e-9 <= mm <= high + 1e-9:
            problems.append(f"cylinder {number} would stand at {mm:g} mm; allowed are {low:g} to {high:g} mm")
    most = machine.max_change_mm_per_m
    beyond = [
        Limit(
            f"{plane}_change",
            f"{plane} would change by {change:.1f} mm/m in one stroke; allowed are {most:g} mm/m",
        )
        for plane, change in zip(PLANES, np.abs(made - now), strict=True)
        if change > most + 1e-9
    ]
    return Tried(
        tuple(float(mm) for mm in whole), float(made[0]), float(made[1]), tuple(problems), tuple(beyond)
    )


def looked_ahead(drive: DriveFile, here: Standpoint, advice: Advice, tried: Tried) -> Tried:
    """Says as well what lies ahead, and where a joint there would turn further than it may, and further than as
    proposed."""
    if tried.problems or not advice.trusted:
        return tried
    found = foreseen(drive, here, tried.right_mm_per_m, tried.up_mm_per_m, tried.cylinder_mm)
    tried, cost = replace(tried, ahead=found.ahead), found.joint
    most = drive.pipe.max_joint_angle_mm_per_m
    if cost is None or cost.angle_mm_per_m <= max(most, (advice.joint_mm_per_m or 0.0) + _MORE):
        return tried
    text = f"a joint would turn {cost.angle_mm_per_m:.1f} mm/m near {cost.chainage_m:.1f} m; allowed are {most:g} mm/m"
    return replace(tried, beyond=(*tried.beyond, Limit("joint_angle", text)))


def foreseen(
    drive: DriveFile,
    here: Standpoint,
    right_mm_per_m: float,
    up_mm_per_m: float,
    cylinder_mm: Sequence[float],
) -> Foreseen:
    """What lies ahead with this setting for the coming stroke and corrections from the next one on, as the forecast of
    a proposal counts them."""
    own = Chosen(np.array(cylinder_mm, float), np.array([right_mm_per_m, up_mm_per_m]), 0.0)
    found = propose(
        drive, here.estimator, here.node, here.now_mm, here.roll_deg,
        advised=here.advised, told_mm=here.told_mm, own=own,
    )  # fmt: skip
    face = at_face(here.node, face_estimate(here.node))
    end_m = drive.axis.end_chainage_m
    ahead = points(found.outlook, found.with_mm, found.with_sd, end_m, face)
    arrival = at_reception(here.node, ahead, face, end_m)
    return Foreseen(ahead, kink(drive, found), eye_probability(drive, arrival))
