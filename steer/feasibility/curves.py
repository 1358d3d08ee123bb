"""Whether pipes, machine and cylinders can follow the curves of the design axis.

All from the geometry of a circle: a joint between pipes of length L on radius R turns by the angle between
their chords, 2·asin(L/2R); a pipe's middle stands off the bore by L²/8R; a machine of two bodies, length
f + r, that follows R with rigid guides is bent by (f + r)/2R.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from steer.axis import Axis
from steer.drivefile import DriveFile
from steer.estimate.tuning import motion_of
from steer.feasibility.findings import Finding, judged
from steer.pipes.joints import joint_angles
from steer.pipes.ring import RingJoint


@dataclass(frozen=True)
class Tightest:
    """The strongest curvature of both planes together, mm/m², and where it first occurs."""

    curvature_mm_per_m2: float
    chainage_m: float

    @property
    def radius_m(self) -> float:
        """inf on a straight axis."""
        return 1000.0 / self.curvature_mm_per_m2 if self.curvature_mm_per_m2 > 0.0 else math.inf


def chainages(axis: Axis, step_m: float = 0.25) -> np.ndarray:
    """Places (n,) to look at: every step from start to end, and either side of every joint."""
    start, end = axis.start_chainage_m, axis.end_chainage_m
    count = max(2, min(200_001, math.ceil((end - start) / step_m) + 1))
    joints = start + np.array([*axis.plan.joints_m, *axis.profile.joints_m])
    sides = np.concatenate([joints, joints - 1e-6, joints + 1e-6])
    return np.unique(np.clip(np.concatenate([np.linspace(start, end, count), sides]), start, end))


def tightest(axis: Axis) -> Tightest:
    """Search the whole axis; the joints, where curvature jumps or a clothoid is tightest, are in it."""
    at = chainages(axis)
    point = axis.at(at)
    both = np.hypot(point.curvature_right_mm_per_m2, point.curvature_up_mm_per_m2)
    i = int(np.argmax(both > both.max() - 1e-9))
    return Tightest(float(both[i]), float(at[i]))


def joints(drive: DriveFile) -> Finding:
    """The largest joint angle that the design itself asks for."""
    pipe, axis = drive.pipe, drive.axis
    angle, at = _largest_joint_angle(drive)
    limit = pipe.max_joint_angle_mm_per_m
    least_m = pipe.length_m / (2.0 * math.sin(limit / 2000.0))
    verdict = judged(angle, limit)
    if angle < 0.005:
        text = (
            f"the axis is straight; the joints allow {limit:g} mm/m, R = {least_m:.0f} m, "
            "all of it for corrections"
        )
    else:
        gap = angle * pipe.outer_diameter_mm / 1000.0
        left = limit - angle
        text = (
            f"the design turns them by up to {angle:.2f} mm/m (chainage {at:.1f} m, gap {gap:.1f} mm across "
            f"the outside); limit {limit:g} mm/m, "
            + (f"{left:.2f} mm/m left for corrections" if left >= 0.0 else f"passed by {-left:.2f} mm/m")
            + f". Smallest radius {tightest(axis).radius_m:.0f} m, the joints allow {least_m:.0f} m"
        )
    return Finding("Pipe joints", angle, limit, "mm/m", verdict, text)


def force(drive: DriveFile) -> Finding | None:
    """Permissible jacking force in the tightest curve against the straight; None without packer keys."""
    ring = RingJoint.of(drive.pipe)
    if ring is None:
        return None
    angle, at = _largest_joint_angle(drive)
    curve = float(ring.permissible_kn(angle))
    straight = ring.straight_kn
    if angle < 0.005:
        text = f"{straight:.0f} kN with straight joints; every correction that turns a joint takes some of it"
    else:
        text = (
            f"{curve:.0f} kN where the design turns the joints most (chainage {at:.1f} m), "
            f"{100 * curve / straight:.0f} % of the {straight:.0f} kN of straight joints"
        )
    return Finding(
        "Permissible jacking force", curve, None, "kN", "note", text + ". A used packer stands less"
    )


def articulation(drive: DriveFile) -> Finding:
    """The articulation that the design's own curve asks for, with the ground taking its part."""
    limit = drive.machine.max_articulation_mm_per_m
    curve = tightest(drive.axis)
    rigid, expected, poor = _articulation(drive, curve)
    verdict = judged(expected, limit)
    if verdict == "possible" and poor > limit:
        verdict = "tight"
    if rigid < 0.005:
        text = f"the axis is straight; all {limit:g} mm/m are left for corrections"
    else:
        text = (
            f"the tightest curve (R = {curve.radius_m:.0f} m, chainage {curve.chainage_m:.1f} m) asks for "
            f"{rigid:.1f} mm/m with rigid guides, about {expected:.1f} mm/m expected in ground and "
            f"{poor:.1f} mm/m in poor ground; limit {limit:g} mm/m"
        )
    return Finding("Articulation", expected, limit, "mm/m", verdict, text)


def cylinders(drive: DriveFile) -> Finding:
    """The travel that the same articulation asks of a cylinder, at whatever roll."""
    c = drive.machine.cylinders
    expected = _articulation(drive, tightest(drive.axis))[1]
    needed = c.circle_radius_mm * expected / 1000.0
    limit = min(c.neutral_mm - c.range_mm[0], c.range_mm[1] - c.neutral_mm)
    text = (
        f"the curve asks for {needed:.1f} mm either side of straight; {limit:.1f} mm are there "
        f"({c.range_mm[0]:g} to {c.range_mm[1]:g} mm, straight at {c.neutral_mm:g} mm)"
    )
    return Finding("Cylinder travel", needed, limit, "mm", judged(needed, limit), text)


def overcut(drive: DriveFile) -> Finding:
    """A straight pipe in a curved bore needs its sagitta as room."""
    pipe, curve = drive.pipe, tightest(drive.axis)
    needed = pipe.length_m**2 * curve.curvature_mm_per_m2 / 8.0
    room = drive.machine.outer_diameter_mm - pipe.outer_diameter_mm
    text = (
        f"a pipe of {pipe.length_m:g} m needs {needed:.1f} mm to lie in the tightest curve; the bore is "
        f"{room:g} mm wider than the pipe (machine {drive.machine.outer_diameter_mm:g} mm, "
        f"pipe {pipe.outer_diameter_mm:g} mm)"
    )
    verdict = judged(needed, room)
    if room <= 0.0 and verdict == "possible":
        verdict = "tight"
        text += ": no room for lubrication"
    return Finding("Overcut", needed, room, "mm", verdict, text)


def _articulation(drive: DriveFile, curve: Tightest) -> tuple[float, float, float]:
    """mm/m for a curve: with rigid guides, with the response the estimate expects before it has learned
    the ground, and with one standard deviation less of it."""
    motion = motion_of(drive)
    rigid_per_m = 2.0 / drive.machine.length_m
    expected_per_m = motion.gain_prior_per_m
    poor_per_m = max(expected_per_m - motion.gain_prior_sd_per_m, motion.gain_bounds_per_m[0])
    return (
        curve.curvature_mm_per_m2 / rigid_per_m,
        curve.curvature_mm_per_m2 / expected_per_m,
        curve.curvature_mm_per_m2 / poor_per_m,
    )


def _largest_joint_angle(drive: DriveFile) -> tuple[float, float]:
    """mm/m and chainage; behind the start and beyond the end the pipes lie straight on."""
    axis, length = drive.axis, drive.pipe.length_m
    path = np.array([axis.start_chainage_m - 2.0 * length, axis.end_chainage_m + 2.0 * length])
    nothing = np.zeros(2)
    found = joint_angles(axis, path, nothing, nothing, length, drive.pipe.outer_diameter_mm, chainages(axis))
    largest = float(np.nanmax(found.angle_mm_per_m))
    i = int(np.argmax(found.angle_mm_per_m > largest - 1e-6))
    return largest, float(found.chainage_m[i])
