"""The design axis as the simulator sees it: small angles, per plane, straight from the drive file's parts.

Written apart from `steer.axis` on purpose: a fault there shows against this. Offsets are measured square to
the axis; what the simulation needs are only local differences over a machine length, for which the double
integral of the curvature stands for the curve itself (error of order angle², below 0.01 mm over 6 m at R =
450 m).
"""

from __future__ import annotations

from typing import Any

import numpy as np


def _radius(value: Any) -> float:
    return float("inf") if value == "inf" else float(value)


def curvature_mm_per_m2(parts: list[dict[str, Any]], along_m: np.ndarray) -> np.ndarray:
    """Curvature of a list of axis parts at distances from its start, shape as `along_m`. Beyond its ends:
    0."""
    out = np.zeros_like(along_m)
    begin = 0.0
    for part in parts:
        length = float(part["length_m"])
        inside = (along_m >= begin) & (along_m < begin + length)
        turn = -1.0 if part.get("turn") == "left" else 1.0
        if part["kind"] == "arc":
            out[inside] = turn * 1000.0 / float(part["radius_m"])
        elif part["kind"] == "spiral":
            first, last = 1000.0 / _radius(part["radius_start_m"]), 1000.0 / _radius(part["radius_end_m"])
            out[inside] = turn * (first + (last - first) * (along_m[inside] - begin) / length)
        elif part["kind"] == "parabola":
            out[inside] = (part["grade_end_mm_per_m"] - part["grade_start_mm_per_m"]) / length
        begin += length
    return out


def start_grade_mm_per_m(parts: list[dict[str, Any]]) -> float:
    first = parts[0]
    return float(first["grade_mm_per_m"] if first["kind"] == "grade" else first["grade_start_mm_per_m"])


class Course:
    """Design axis over the simulation grid `along_m` (m from the start, may begin below 0).

    curvature   (n, 2) mm/m²
    direction   (n, 2) mm/m, tangent against the tangent at the start
    offset      (n, 2) mm, distance from the tangent at the start, small angles
    """

    def __init__(self, axis: dict[str, Any], along_m: np.ndarray) -> None:
        self.along_m = along_m
        step = along_m[1] - along_m[0]
        middle = along_m[:-1] + step / 2
        bend = np.column_stack(
            [curvature_mm_per_m2(axis["horizontal"], middle), curvature_mm_per_m2(axis["vertical"], middle)]
        )
        self.curvature = np.column_stack(
            [curvature_mm_per_m2(axis["horizontal"], along_m), curvature_mm_per_m2(axis["vertical"], along_m)]
        )
        zero = np.zeros((1, 2))
        self.direction = np.concatenate([zero, np.cumsum(bend, axis=0) * step])
        half = self.direction[:-1] + bend * step / 2
        self.offset = np.concatenate([zero, np.cumsum(half, axis=0) * step])
        at_start = int(np.argmin(np.abs(along_m)))
        self.direction = self.direction - self.direction[at_start]
        self.offset = self.offset - self.offset[at_start]
        self.grade_mm_per_m = start_grade_mm_per_m(axis["vertical"])
