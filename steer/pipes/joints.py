"""Joint angles and gaps of the pipe string, from the path that it follows.

As the string advances every chainage once carries a joint. With pipes of length L the joint at s takes
the angle between the chords (s − L, s) and (s, s + L): |y(s+L) − 2·y(s) + y(s−L)|/L in each plane on a
straight axis; here the chords are taken in space, so the design curve's own share is in it exactly.
The joint opens on one side by gap = angle · outer diameter.

Field research found that joints pass through the shield's own path and that the string neither
straightens nor drifts (Oxford, Site based research in pipe jacking, abstract).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.axis import Axis

STEP_M = 0.1  # how closely the path is searched for the largest angle


@dataclass(frozen=True)
class JointAngles:
    """Angles (n,) at chainages, mm/m: `right` and `up` say which way the pipe ahead is turned against
    the pipe behind; `angle` is both together; `gap_mm` how far the joint opens."""

    chainage_m: np.ndarray
    right_mm_per_m: np.ndarray
    up_mm_per_m: np.ndarray
    angle_mm_per_m: np.ndarray
    gap_mm: np.ndarray

    def largest(self, upto_m: float = np.inf) -> int | None:
        """Index of the largest angle at or before a chainage; None when there is none."""
        known = (self.chainage_m <= upto_m + 1e-9) & np.isfinite(self.angle_mm_per_m)
        if not known.any():
            return None
        return int(np.argmax(np.where(known, self.angle_mm_per_m, -1.0)))

    def running_largest(self, upto_m: np.ndarray) -> np.ndarray:
        """The largest angle at or before each chainage (m,), NaN where no joint has been yet."""
        order = np.argsort(self.chainage_m, kind="stable")
        known = order[np.isfinite(self.angle_mm_per_m[order])]
        if known.size == 0:
            return np.full(np.shape(upto_m), np.nan)
        top = np.maximum.accumulate(self.angle_mm_per_m[known])
        at = np.searchsorted(self.chainage_m[known], np.asarray(upto_m, float) + 1e-9, side="right")
        return np.where(at > 0, top[np.maximum(at - 1, 0)], np.nan)


def joint_angles(
    axis: Axis,
    path_m: np.ndarray,
    line_mm: np.ndarray,
    level_mm: np.ndarray,
    pipe_m: float,
    diameter_mm: float,
    at_m: np.ndarray,
) -> JointAngles:
    """Angles of joints at `at_m` (n,) between pipes of `pipe_m` that follow a path.

    The path is line and level (k,) over ascending chainage (k,), at any spacing, joined by straight
    lines: spacing h under a curvature of 1/R moves an angle by less than h²/(2·R·L). Where a pipe on
    either side would lie beyond the path's ends, the angle is NaN: it is not known.
    """
    at = np.atleast_1d(np.asarray(at_m, float))
    places = [_place(axis, path_m, line_mm, level_mm, at + shift) for shift in (-pipe_m, 0.0, pipe_m)]
    behind, ahead = _unit(places[1] - places[0]), _unit(places[2] - places[1])
    turn = ahead - behind
    point = axis.at(at)
    bearing, grade = np.asarray(point.bearing_rad), np.asarray(point.grade_mm_per_m) / 1000.0
    slant = np.hypot(1.0, grade)
    right_of = np.stack([np.cos(bearing), -np.sin(bearing), np.zeros_like(bearing)], axis=1)
    above = np.stack([-np.sin(bearing) * grade, -np.cos(bearing) * grade, np.ones_like(bearing)], axis=1)
    right = 1000.0 * (turn * right_of).sum(1)
    up = 1000.0 * (turn * above).sum(1) / slant
    # half the chord between unit vectors is the sine of half the angle between them
    angle = 2000.0 * np.arcsin(np.minimum(np.linalg.norm(turn, axis=1) / 2.0, 1.0))
    first, last = (path_m[0], path_m[-1]) if len(path_m) else (np.inf, -np.inf)
    known = (at - pipe_m >= first - 1e-9) & (at + pipe_m <= last + 1e-9)
    right, up, angle = (np.where(known, v, np.nan) for v in (right, up, angle))
    return JointAngles(at, right, up, angle, angle * diameter_mm / 1000.0)


def string_joints(tail_m: float, start_m: float, pipe_m: float) -> np.ndarray:
    """Chainages (n,) of the joints between the pipes of a string behind `tail_m`, nearest first.

    The first is a pipe's length behind the machine's tail; those still in the launch shaft do not count.
    """
    count = int(np.floor((tail_m - start_m) / pipe_m + 1e-9))
    return tail_m - pipe_m * np.arange(1, max(count, 0) + 1)


def _place(
    axis: Axis, path_m: np.ndarray, line_mm: np.ndarray, level_mm: np.ndarray, at_m: np.ndarray
) -> np.ndarray:
    """Places (n, 3) of the path at chainages; beyond its ends they mean nothing."""
    if len(path_m) == 0:
        return np.zeros((len(at_m), 3))
    line, level = np.interp(at_m, path_m, line_mm), np.interp(at_m, path_m, level_mm)
    return np.stack(axis.position(at_m, line, level), axis=1)


def _unit(chords: np.ndarray) -> np.ndarray:
    length = np.linalg.norm(chords, axis=1, keepdims=True)
    return chords / np.where(length > 0.0, length, 1.0)
