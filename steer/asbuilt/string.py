"""The jacking force over the drive: used against permissible at the worst joint, friction, forecast, limits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steer.asbuilt.joints import Joints
from steer.asbuilt.lie import Laid
from steer.drivefile import DriveFile
from steer.pipes import (
    ForceForecast,
    LimitReached,
    RingJoint,
    Stretch,
    StrokeForces,
    face_share_kn,
    forecast_force,
    limit_reached,
    stretches,
    stroke_forces,
)

KINK = "the joint with the sharpest kink so far (lower limit)"


@dataclass(frozen=True)
class Force:
    """`permissible_kn` (n,) beside the strokes of `used`, at the worst joint that had been made by then, and
    `permissible_low_kn` at the upper limit of its angle; None without packer keys. `exceeded` indexes the
    strokes whose largest force passed the first, `may_exceed` those that passed only the second."""

    used: StrokeForces
    ring: RingJoint | None
    permissible_kn: np.ndarray | None
    permissible_low_kn: np.ndarray | None
    exceeded: tuple[int, ...]
    may_exceed: tuple[int, ...]
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


def force_of(file: DriveFile, readings: Iterable[Mapping[str, Any]], laid: Laid, joints: Joints) -> Force:
    """Force over the drive. The whole jacking force is taken at every joint, which is on the safe side:
    friction has taken some of it before a joint near the machine."""
    used = stroke_forces(readings, file.axis.start_chainage_m, file.drive.stroke_m, laid.last_m)
    ring = RingJoint.of(file.pipe)
    permissible = low = None
    exceeded: tuple[int, ...] = ()
    may_exceed: tuple[int, ...] = ()
    if ring is not None and len(used):
        made = used.chainage_m - file.machine.length_m - file.pipe.length_m
        permissible, low = (
            ring.permissible_kn(np.where(np.isnan(worst), 0.0, worst))
            for worst in (joints.along.running_largest(made), joints.largest_high(made))
        )
        over = used.largest_kn > permissible
        exceeded = tuple(np.flatnonzero(over).tolist())
        may_exceed = tuple(np.flatnonzero((used.largest_kn > low) & ~over).tolist())
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
    if low is not None and not exceeded:  # of earlier strokes `exceeded` speaks
        now = float(low[-1])
        limits += (replace(limit_reached(KINK, now, used, forecast), measured_m=None),)
    return Force(
        used, ring, permissible, low, exceeded, may_exceed, face_now, parts, forecast, limits
    )  # fmt: skip
