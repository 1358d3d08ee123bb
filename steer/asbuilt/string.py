"""The pipe string as built: its joints' angles and gaps, permissible against used force, friction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steer.asbuilt.lie import Laid
from steer.drivefile import DriveFile
from steer.pipes import (
    ForceForecast,
    JointAngles,
    LimitReached,
    RingJoint,
    Stretch,
    StrokeForces,
    face_share_kn,
    forecast_force,
    joint_angles,
    limit_reached,
    stretches,
    string_joints,
    stroke_forces,
)
from steer.pipes.joints import STEP_M

KINK = "the joint with the sharpest kink so far"


@dataclass(frozen=True)
class Joints:
    """Angles along the whole drive, and of the joints where they lie now (`standing`, nearest the machine
    first); `at` gives them at other chainages. `passed_m` is the chainage up to which joints have come.
    `worst` and `worst_ahead` index `along`: the largest angle so far, and of those that joints have yet
    to pass."""

    along: JointAngles
    standing: JointAngles
    at: Callable[[np.ndarray], JointAngles]
    passed_m: float
    limit_mm_per_m: float
    worst: int | None
    worst_ahead: int | None
    over_limit_m: float  # metres of drive where the angle is over the limit


@dataclass(frozen=True)
class Force:
    """`permissible_kn` (n,) beside the strokes of `used`, at the worst joint that had been made by then;
    None without packer keys. `exceeded` indexes the strokes whose largest force passed it."""

    used: StrokeForces
    ring: RingJoint | None
    permissible_kn: np.ndarray | None
    exceeded: tuple[int, ...]
    face_kn: float | None  # the face's share at the last strokes; None: pressure not measured
    stretches: tuple[Stretch, ...]
    forecast: ForceForecast | None
    limits: tuple[LimitReached, ...]

    @property
    def least_margin(self) -> int | None:
        """Index of the stroke with the least permissible force left over."""
        if self.permissible_kn is None or len(self.used) == 0:
            return None
        return int(np.argmin(self.permissible_kn - self.used.largest_kn))


def joints_of(file: DriveFile, laid: Laid) -> Joints:
    """Joint angles along the machine's path, searched every STEP_M: joints pass through it, and surveys of
    single pipes are too coarse for angles between neighbours."""
    pipe, path = file.pipe, laid.path

    def angles(at: np.ndarray) -> JointAngles:
        return joint_angles(
            file.axis,
            path.chainage_m,
            path.line_mm,
            path.level_mm,
            pipe.length_m,
            pipe.outer_diameter_mm,
            at,
        )

    tail = laid.last_m - file.machine.length_m
    first, last = laid.first_m + pipe.length_m, laid.last_m - pipe.length_m
    along = angles(np.arange(first, last + 1e-9, STEP_M) if last > first else np.zeros(0))
    passed = tail - pipe.length_m
    worst = along.largest(passed)
    ahead = np.flatnonzero(along.chainage_m > passed + 1e-9)
    known = ahead[np.isfinite(along.angle_mm_per_m[ahead])]
    over = along.angle_mm_per_m > pipe.max_joint_angle_mm_per_m
    return Joints(
        along,
        angles(string_joints(tail, laid.first_m, pipe.length_m)),
        angles,
        passed,
        pipe.max_joint_angle_mm_per_m,
        worst,
        int(known[np.argmax(along.angle_mm_per_m[known])]) if known.size else None,
        float(over.sum()) * STEP_M,
    )


def force_of(file: DriveFile, readings: Iterable[Mapping[str, Any]], laid: Laid, joints: Joints) -> Force:
    """Force over the drive. The whole jacking force is taken at every joint, which is on the safe side:
    friction has taken some of it before a joint near the machine."""
    used = stroke_forces(readings, file.axis.start_chainage_m, file.drive.stroke_m, laid.last_m)
    ring = RingJoint.of(file.pipe)
    permissible = None
    exceeded: tuple[int, ...] = ()
    if ring is not None and len(used):
        made = used.chainage_m - file.machine.length_m - file.pipe.length_m
        worst = joints.along.running_largest(made)
        permissible = ring.permissible_kn(np.where(np.isnan(worst), 0.0, worst))
        exceeded = tuple(np.flatnonzero(used.largest_kn > permissible).tolist())
    face = face_share_kn(used.face_pressure_kpa, file.machine.outer_diameter_mm)
    measured = np.isfinite(face)
    skin = used.force_kn - np.where(measured, face, np.nan if measured.any() else 0.0)
    parts = stretches(used.chainage_m, skin, np.pi * file.pipe.outer_diameter_mm / 1000.0)
    face_now = float(np.median(face[measured][-10:])) if measured.any() else None
    forecast = forecast_force(parts[-1], face_now or 0.0, file.axis.end_chainage_m) if parts else None
    named: list[tuple[str, float | None]] = [
        ("main jacks", file.limits.main_jack_kn),
        ("thrust wall", file.limits.thrust_wall_kn),
        ("pipe", file.limits.pipe_kn),
    ]
    limits = tuple(limit_reached(name, kn, used, forecast) for name, kn in named if kn is not None)
    if permissible is not None and not exceeded:  # of earlier strokes `exceeded` speaks
        now = float(permissible[-1])
        limits += (replace(limit_reached(KINK, now, used, forecast), measured_m=None),)
    return Force(used, ring, permissible, exceeded, face_now, parts, forecast, limits)
