"""Joint angles as built: the likeliest, and how large they may have been.

The likeliest path is the smoothed one with the jumps that the log betrays; about it lie the paths that are
possible as well. An angle is no straight function of the path, and the largest of many still less, so the
upper limits come from the drawn paths themselves: 97.5 % of them stay below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from steer.asbuilt.lie import Laid
from steer.drivefile import DriveFile
from steer.estimate.possible import Jump, Possible
from steer.pipes import JointAngles, joint_angles, string_joints
from steer.pipes.joints import STEP_M

UPPER = 0.975
PLACES = 64  # at which drawn paths are asked at once


@dataclass(frozen=True)
class Joints:
    """Angles along the whole drive with their upper limits `high_mm_per_m`, and of the joints where they
    lie now (`standing`, nearest the machine first); `at` gives them at other chainages. `passed_m` is the
    chainage up to which joints have come. `worst` and `worst_ahead` index `along`: the largest angle so
    far, and of those that joints have yet to pass. `so_far_high_mm_per_m` is the upper limit of the largest
    up to each place of `along`."""

    along: JointAngles
    high_mm_per_m: np.ndarray
    so_far_high_mm_per_m: np.ndarray
    standing: JointAngles
    at: Callable[[np.ndarray], JointAngles]
    passed_m: float
    limit_mm_per_m: float
    worst: int | None
    worst_ahead: int | None
    over_limit_m: float  # metres of drive where the angle is over the limit
    may_be_over_m: float  # further metres where only its upper limit is
    jumps: tuple[Jump, ...]

    def high_at(self, at_m: np.ndarray) -> np.ndarray:
        """Upper limits (n,) at chainages (n,); NaN where the angle is not known."""
        if len(self.along.chainage_m) == 0:
            return np.full(len(at_m), np.nan)
        angle = self.at(at_m).angle_mm_per_m
        high = np.interp(at_m, self.along.chainage_m, np.nan_to_num(self.high_mm_per_m))
        return np.where(np.isnan(angle), np.nan, np.maximum(high, angle))

    def largest_high(self, upto_m: np.ndarray) -> np.ndarray:
        """Upper limit of the largest angle at or before each chainage (m,); NaN where no joint was yet."""
        at = np.searchsorted(self.along.chainage_m, np.asarray(upto_m, float) + 1e-9, side="right")
        if len(self.along.chainage_m) == 0:
            return np.full(np.shape(upto_m), np.nan)
        return np.where(at > 0, self.so_far_high_mm_per_m[np.maximum(at - 1, 0)], np.nan)

    @property
    def worst_high_mm_per_m(self) -> float:
        """Upper limit of the largest angle so far; NaN where there is none."""
        return float(self.largest_high(np.array([self.passed_m]))[0])


def joints_of(file: DriveFile, laid: Laid, possible: Possible) -> Joints:
    """Joint angles along the machine's path, searched every STEP_M: joints pass through it, and surveys of
    single pipes are too coarse for angles between neighbours."""
    pipe, path = file.pipe, laid.path
    line, level = (
        value + np.interp(path.chainage_m, possible.chainage_m, possible.shift_mm[:, plane])
        for plane, value in enumerate((path.line_mm, path.level_mm))
    )

    def angles(at: np.ndarray) -> JointAngles:
        return joint_angles(
            file.axis, path.chainage_m, line, level, pipe.length_m, pipe.outer_diameter_mm, at
        )

    tail = laid.last_m - file.machine.length_m
    first, last = laid.first_m + pipe.length_m, laid.last_m - pipe.length_m
    along = angles(np.arange(first, last + 1e-9, STEP_M) if last > first else np.zeros(0))
    high, so_far = upper_limits(along, lambda part: drawn_angles(along, possible, pipe.length_m, part))
    passed = tail - pipe.length_m
    ahead = np.flatnonzero(along.chainage_m > passed + 1e-9)
    known = ahead[np.isfinite(along.angle_mm_per_m[ahead])]
    limit = pipe.max_joint_angle_mm_per_m
    over = along.angle_mm_per_m > limit
    return Joints(
        along,
        high,
        so_far,
        angles(string_joints(tail, laid.first_m, pipe.length_m)),
        angles,
        passed,
        limit,
        along.largest(passed),
        int(known[np.argmax(along.angle_mm_per_m[known])]) if known.size else None,
        float(over.sum()) * STEP_M,
        float(((high > limit) & ~over).sum()) * STEP_M,
        possible.jumps,
    )


def drawn_angles(along: JointAngles, possible: Possible, pipe_m: float, part: slice) -> np.ndarray:
    """Angles (count, n) of the drawn paths at a part of the places of `along`, mm/m; NaN where not known.

    How the paths differ goes into the angle by second differences: exact to the square of the angle.
    """
    planes, at = [], along.chainage_m[part]
    for plane, mean in enumerate((along.right_mm_per_m[part], along.up_mm_per_m[part])):
        behind, here, ahead = (
            _between(possible.chainage_m, possible.draws_mm[:, :, plane], at + shift)
            for shift in (-pipe_m, 0.0, pipe_m)
        )
        planes.append(mean + (ahead - 2.0 * here + behind) / pipe_m)
    return np.hypot(*planes)


def upper_limits(along: JointAngles, drawn: Callable[[slice], np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Upper limits (n,) of each angle, and of the largest up to each; neither below the likeliest. `drawn` gives the
    angles (count, k) of the drawn paths at a part of the places: those of a long drive are not held all at once."""
    angle = along.angle_mm_per_m
    high, so_far = angle.copy(), np.maximum.accumulate(np.nan_to_num(angle))
    largest: np.ndarray | float = 0.0
    for first in range(0, len(angle), PLACES):
        part = slice(first, first + PLACES)
        each = drawn(part)
        if len(each) == 0:
            break
        running = np.maximum(np.maximum.accumulate(np.nan_to_num(each), axis=1), largest)
        largest = running[:, -1:]
        high[part] = np.maximum(np.quantile(each, UPPER, axis=0), high[part])
        so_far[part] = np.maximum(np.quantile(running, UPPER, axis=0), so_far[part])
    return high, so_far


def _between(at_m: np.ndarray, values: np.ndarray, wanted_m: np.ndarray) -> np.ndarray:
    """Values (count, n) at ascending places, interpolated at others: (count, m); held at the ends."""
    if len(at_m) < 2:
        return np.repeat(values[:, :1], len(wanted_m), axis=1)
    left = np.clip(np.searchsorted(at_m, wanted_m, side="right") - 1, 0, len(at_m) - 2)
    share = np.clip((wanted_m - at_m[left]) / (at_m[left + 1] - at_m[left]), 0.0, 1.0)
    found: np.ndarray = values[:, left] * (1.0 - share) + values[:, left + 1] * share
    return found
