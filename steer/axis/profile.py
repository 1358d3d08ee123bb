"""The axis seen from the side: grades, parabolas and circular vertical curves over plan length.

Grade g is dz/ds with s the plan length, so the vertical curvature given is dg/ds: exact for a
parabola, (1 + g²)^1.5/R on a circular curve.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class ProfileElement:
    """One element in place: level in m from the axis's own origin, grades in m/m, + rising."""

    kind: str  # "grade", "parabola", "arc"
    length_m: float
    level_m: float
    grade_start: float
    grade_end: float

    @property
    def radius_m(self) -> float:
        """Radius of a circular curve, + curving up (inf when its grades are equal)."""
        turn = _sine(self.grade_end) - _sine(self.grade_start)
        return self.length_m / turn if turn else math.inf

    def end_level_m(self) -> float:
        """Level at its end."""
        return self.at(self.length_m)[0]

    def at(self, u: float) -> tuple[float, float, float]:
        """Level, grade and dg/ds u metres into the element."""
        if self.kind == "arc" and self.grade_end != self.grade_start:
            radius = self.radius_m
            s0 = _sine(self.grade_start)
            s = s0 + u / radius
            c0, c = math.sqrt(1.0 - s0 * s0), math.sqrt(1.0 - s * s)
            # R·(c0 − c) written without the difference of two nearly equal cosines
            return self.level_m + u * (s0 + s) / (c0 + c), s / c, 1.0 / (radius * c**3)
        slope = (self.grade_end - self.grade_start) / self.length_m
        return (
            self.level_m + u * (self.grade_start + 0.5 * slope * u),
            self.grade_start + slope * u,
            slope,
        )


def _sine(grade: float) -> float:
    return grade / math.hypot(1.0, grade)


def chain_profile(shapes: Sequence[tuple[str, float, float, float]]) -> tuple[ProfileElement, ...]:
    """Place (kind, length_m, grade_start, grade_end) one after the other from level 0."""
    level = 0.0
    placed = []
    for kind, length_m, g0, g1 in shapes:
        element = ProfileElement(kind, length_m, level, g0, g1)
        placed.append(element)
        level = element.end_level_m()
    return tuple(placed)


class Profile:
    """Evaluates placed elements over the plan length from the start of the axis."""

    def __init__(self, elements: Sequence[ProfileElement]) -> None:
        self.elements = tuple(elements)
        joints = [0.0]
        for element in self.elements:
            joints.append(joints[-1] + element.length_m)
        self.joints_m = tuple(joints)
        self.length_m = joints[-1]
        self._starts = joints[:-1]
        self._array_starts = np.array(self._starts)
        self._table = np.array([[e.length_m, e.level_m, e.grade_start, e.grade_end] for e in self.elements]).T
        self._round = np.array([e.kind == "arc" and e.grade_end != e.grade_start for e in self.elements])

    def at(self, length_m: float) -> tuple[float, float, float]:
        """Level, grade and dg/ds at 0 ≤ length_m ≤ the profile's length."""
        index = max(bisect_right(self._starts, length_m) - 1, 0)
        return self.elements[index].at(length_m - self._starts[index])

    def radius_m(self, length_m: float) -> float:
        """Radius as drawn, + curving up, inf where straight: a circular curve's own, a parabola's ds/dg."""
        element = self.elements[max(bisect_right(self._starts, length_m) - 1, 0)]
        if element.kind == "arc":
            return element.radius_m
        turn = element.grade_end - element.grade_start
        return element.length_m / turn if turn else math.inf

    def at_many(self, length_m: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The same for an array (n,)."""
        index = np.maximum(np.searchsorted(self._array_starts, length_m, side="right") - 1, 0)
        u = length_m - self._array_starts[index]
        length, level, g0, g1 = self._table[:, index]
        slope = (g1 - g0) / length
        z, grade = level + u * (g0 + 0.5 * slope * u), g0 + slope * u
        for i in np.flatnonzero(self._round):
            element, here = self.elements[i], index == i
            s0 = _sine(element.grade_start)
            s = s0 + u[here] / element.radius_m
            c0, c = math.sqrt(1.0 - s0 * s0), np.sqrt(1.0 - s * s)
            z[here] = element.level_m + u[here] * (s0 + s) / (c0 + c)
            grade[here] = s / c
            slope[here] = 1.0 / (element.radius_m * c**3)
        return z, grade, slope
