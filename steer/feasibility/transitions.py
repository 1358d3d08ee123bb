"""Whether the machine can change its curvature as suddenly as the design does.

The articulation may change by so much a stroke. Where the design turns from a straight into an arc at once, or
through a clothoid shorter than that allows, the machine drives a ramp of curvature of its own instead. Laid evenly
about the design's own transition it comes out with the right bearing, but beside the axis by the shift of a
clothoid of length L over one of length l between curvatures apart by k: k·(L² − l²)/24 (the shift L²/24R of
route-surveying textbooks, from memory; the check is against a library's clothoids).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from steer.axis import Axis
from steer.drivefile import DriveFile
from steer.estimate.tuning import motion_of
from steer.feasibility.findings import Finding, judged

_LEAST_MM_PER_M2 = 1e-6  # a radius of a million kilometres is straight


@dataclass(frozen=True)
class Transition:
    """The design's curvature changes by `change` (2,) right, up (mm/m²) over `length_m`, 0 for at once, beginning
    at `chainage_m`."""

    chainage_m: float
    length_m: float
    change: tuple[float, float]

    @property
    def size_mm_per_m2(self) -> float:
        return math.hypot(*self.change)


def transitions(axis: Axis) -> list[Transition]:
    """Every clothoid, and every joint of plan or profile where curvature jumps."""
    found = []
    at = axis.start_chainage_m
    for element in axis.plan.elements:
        change = 1000.0 * (element.curvature_end - element.curvature_start)
        if abs(change) > _LEAST_MM_PER_M2:
            found.append(Transition(at, element.length_m, (change, 0.0)))
        at += element.length_m
    joints = axis.start_chainage_m + np.unique([*axis.plan.joints_m, *axis.profile.joints_m])
    inside = joints[(joints > axis.start_chainage_m + 1e-6) & (joints < axis.end_chainage_m - 1e-6)]
    before, after = axis.at(inside - 1e-6), axis.at(inside + 1e-6)
    jumps = np.column_stack(
        [
            np.subtract(after.curvature_right_mm_per_m2, before.curvature_right_mm_per_m2),
            np.subtract(after.curvature_up_mm_per_m2, before.curvature_up_mm_per_m2),
        ]
    )
    for chainage, (right, up) in zip(inside.tolist(), jumps.tolist(), strict=True):
        # across a clothoid's end the two sides differ by its own slope over 2 µm
        if math.hypot(right, up) > 1e-4:
            found.append(Transition(chainage, 0.0, (right, up)))
    return found


def ramp_m(drive: DriveFile, change_mm_per_m2: float, gain_per_m: float) -> float:
    """Length over which the machine changes its curvature by that: articulation in steps of a stroke each."""
    articulation = change_mm_per_m2 / gain_per_m
    return articulation / drive.machine.max_change_mm_per_m * drive.drive.stroke_m


def shift_mm(change_mm_per_m2: float, ramp_length_m: float, design_length_m: float = 0.0) -> float:
    """How far beside the design a longer ramp laid evenly about it comes out, mm; 0 where it is not longer."""
    return change_mm_per_m2 * max(ramp_length_m**2 - design_length_m**2, 0.0) / 24.0


def build_up(drive: DriveFile) -> Finding | None:
    """The worst change of the design's curvature against what the machine can build up; None without any."""
    motion = motion_of(drive)
    poor_gain = max(motion.gain_prior_per_m - motion.gain_prior_sd_per_m, motion.gain_bounds_per_m[0])
    tolerance = (drive.tolerance.line_mm, drive.tolerance.level_mm)
    worst, most = None, -1.0
    for t in transitions(drive.axis):
        length = ramp_m(drive, t.size_mm_per_m2, motion.gain_prior_per_m)
        for plane in (0, 1):  # one ramp for both planes, each with its own tolerance
            off = shift_mm(abs(t.change[plane]), length, t.length_m)
            # where none comes out beside the axis: the one that asks most of a stroke
            rank = (
                off / tolerance[plane]
                if off > 0.05
                else 1e-6 * length / max(t.length_m, drive.drive.stroke_m)
            )
            if rank > most:
                worst, most = (t, plane, off, length), rank
    if worst is None:
        return None
    t, plane, off, length = worst
    poor_off = shift_mm(abs(t.change[plane]), ramp_m(drive, t.size_mm_per_m2, poor_gain), t.length_m)
    limit = tolerance[plane]
    verdict = judged(off, limit)
    if verdict == "possible" and poor_off > limit:
        verdict = "tight"
    return Finding(
        "Build-up of the curve", off, limit, "mm", verdict, _words(drive, t, plane, length, poor_off)
    )


def _words(drive: DriveFile, t: Transition, plane: int, length: float, poor_off: float) -> str:
    stroke, most = drive.drive.stroke_m, drive.machine.max_change_mm_per_m
    articulation = length * most / stroke
    off = shift_mm(abs(t.change[plane]), length, t.length_m)
    if t.length_m == 0.0:
        strokes = max(1, math.ceil(length / stroke - 1e-6))
        bend = "in level" if abs(t.change[1]) > abs(t.change[0]) else "without a clothoid"
        text = (
            f"the design bends at once at chainage {t.chainage_m:.1f} m, {bend}; about "
            f"{articulation:.1f} mm/m of articulation take {strokes} stroke{'s' if strokes > 1 else ''} of at most "
            f"{most:g} mm/m. "
        )
    else:
        text = (
            f"the clothoid of {t.length_m:.1f} m at chainage {t.chainage_m:.1f} m asks for about {articulation:.1f} "
            f"mm/m of articulation, {articulation * stroke / max(t.length_m, stroke):.1f} mm/m a stroke; at most "
            f"{most:g} mm/m are allowed. "
        )
    if poor_off < 0.05:
        return text + "The machine can follow"
    late = abs(t.change[plane]) * 0.5 * (length - t.length_m)
    return text + (
        f"Half of it begun before, the path comes out {_mm(off)} {'beside' if plane == 0 else 'above or below'} the "
        f"axis ({_mm(poor_off)} in poor ground); all of it after, it also points {max(late, 0.0):.1f} mm/m off. The bore "
        "follows up to a machine length later: begin earlier by that"
    )


def _mm(value: float) -> str:
    return f"{value:.1f} mm" if value < 9.95 else f"{value:.0f} mm"
