"""From raw readings to offsets and headings against the design axis.

A reading becomes four values: machine axis at the target plane (line, level, mm) as if the
reference ran exactly where it was set, and the front body's heading (yaw, pitch, mm/m) against the
axis tangent and grade at the face. What the reference really does is left to the filter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from steer.axis import Axis, AxisPoint
from steer.drivefile import DriveFile
from steer.machine.target import axis_offset_from_spot, axis_offset_from_target, spot_from_axis_offset


@dataclass(frozen=True)
class Reference:
    """A setting of the reference: offsets (mm) and, for a beam, direction (mm/m) at the axis's start."""

    kind: str
    right_mm: float
    up_mm: float
    right_mm_per_m: float
    up_mm_per_m: float

    @classmethod
    def of(cls, drive: DriveFile) -> Reference:
        """The setting that drive.toml gives."""
        r = drive.reference
        return cls(r.kind, r.right_mm, r.up_mm, r.right_mm_per_m, r.up_mm_per_m)


def frame(point: AxisPoint) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit vectors (east, north, up) along the axis, to its right, and upward square to it: (…, 3)."""
    bearing, grade = np.asarray(point.bearing_rad), np.asarray(point.grade_mm_per_m) / 1000.0
    slant = np.hypot(1.0, grade)
    sin, cos, zero = np.sin(bearing), np.cos(bearing), np.zeros_like(bearing)
    ahead = np.stack([sin / slant, cos / slant, grade / slant], -1)
    right = np.stack([cos, -sin, zero], -1)
    up = np.stack([-sin * grade / slant, -cos * grade / slant, 1.0 / slant], -1)
    return ahead, right, up


def place(point: AxisPoint) -> np.ndarray:
    """Easting, northing, level of the axis (…, 3) in m."""
    return np.stack([point.easting_m, point.northing_m, point.level_m], -1)


@lru_cache(maxsize=8)
def _beam(axis: Axis, reference: Reference) -> tuple[np.ndarray, np.ndarray]:
    """Where a beam as set starts (m) and its direction, (3,) each; asked for at every stroke."""
    start = axis.at(axis.start_chainage_m)
    source = np.array(axis.position(axis.start_chainage_m, reference.right_mm, reference.up_mm))
    bearing = float(start.bearing_rad) + reference.right_mm_per_m / 1000.0
    grade = (float(start.grade_mm_per_m) + reference.up_mm_per_m) / 1000.0
    beam = np.array([math.sin(bearing), math.cos(bearing), grade]) / math.hypot(1.0, grade)
    source.setflags(write=False)
    beam.setflags(write=False)
    return source, beam


def reference_at(axis: Axis, reference: Reference, target: AxisPoint) -> tuple[np.ndarray, np.ndarray]:
    """Where the reference as set crosses the plane square to the axis at `target`.

    Returns line and level (…, 2) in mm and the distance from the start along the reference (…) in m.
    A beam that no longer crosses the plane ahead of it (the axis has turned away) gives NaN.
    """
    along = np.asarray(target.chainage_m, float) - axis.start_chainage_m
    if reference.kind == "axis":
        set_at = np.array([reference.right_mm, reference.up_mm])
        return np.broadcast_to(set_at, (*along.shape, 2)).copy(), along
    source, beam = _beam(axis, reference)
    ahead, right, up = frame(target)
    to_axis = place(target) - source
    cosine = ahead @ beam
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.where(cosine > 0.2, np.einsum("...i,...i", to_axis, ahead) / cosine, np.nan)
    offset = distance[..., None] * beam - to_axis
    line = 1000.0 * np.einsum("...i,...i", offset, right)
    level = 1000.0 * np.einsum("...i,...i", offset, up)
    return np.stack([line, level], -1), distance


def setback(axis: Axis, face: AxisPoint, behind_m: float) -> np.ndarray:
    """Where the axis at `behind_m` behind the face lies in the frame at the face: (…, 2) in mm.

    Zero on a straight; κ·b²/2 to the right on a right-hand curve. What a straight body has there
    counts from the axis, so this is taken off its offset.
    """
    back = axis.at(face.chainage_m - behind_m)
    east, north = back.easting_m - face.easting_m, back.northing_m - face.northing_m
    sin, cos, grade = np.sin(face.bearing_rad), np.cos(face.bearing_rad), face.grade_mm_per_m / 1000.0
    up = (back.level_m - face.level_m - grade * (sin * east + cos * north)) / np.hypot(1.0, grade)
    return 1000.0 * np.stack([cos * east - sin * north, up], -1)


@dataclass(frozen=True)
class Columns:
    """Readings as arrays (n,), NaN where not measured; chainage and roll are always there."""

    chainage_m: np.ndarray
    spot_right_mm: np.ndarray
    spot_up_mm: np.ndarray
    target_line_mm: np.ndarray
    target_level_mm: np.ndarray
    yaw_mm_per_m: np.ndarray
    pitch_mm_per_m: np.ndarray
    roll_deg: np.ndarray


def reduce(drive: DriveFile, reference: Reference, columns: Columns) -> tuple[np.ndarray, np.ndarray]:
    """The four values of each reading, (n, 4): target-plane line, level (mm), heading line, level
    (mm/m) against the axis at the face; and the distance of the target along the reference, (n,) m."""
    axis = drive.axis
    face = axis.at(columns.chainage_m)
    target = axis.at(columns.chainage_m - drive.target.behind_face_m)
    crossing, distance = reference_at(axis, reference, target)
    arm = (drive.target.right_mm, drive.target.up_mm)
    values = np.full((len(columns.chainage_m), 4), np.nan)
    # One spot channel alone still tells its own plane: the other enters only through the sine of roll, and
    # is taken as a machine on the axis would show it (20 mm off at 2 degrees of roll: 0.7 mm).
    right, up = columns.spot_right_mm, columns.spot_up_mm
    on_axis = spot_from_axis_offset(crossing[:, 0], crossing[:, 1], *arm, 0.0, 0.0, columns.roll_deg)
    line, level = axis_offset_from_spot(
        crossing[:, 0],
        crossing[:, 1],
        *arm,
        np.where(np.isfinite(right), right, on_axis[0]),
        np.where(np.isfinite(up), up, on_axis[1]),
        columns.roll_deg,
    )
    values[:, 0] = np.where(np.isfinite(right), line, np.nan)
    values[:, 1] = np.where(np.isfinite(up), level, np.nan)
    if np.isfinite(columns.target_line_mm).any() or np.isfinite(columns.target_level_mm).any():
        line, level = axis_offset_from_target(
            columns.target_line_mm, columns.target_level_mm, *arm, columns.roll_deg
        )
        values[:, 0] = np.where(np.isfinite(columns.target_line_mm), line, values[:, 0])
        values[:, 1] = np.where(np.isfinite(columns.target_level_mm), level, values[:, 1])
    if reference.kind == "axis":
        towards = np.asarray(target.bearing_rad)
    else:
        start = axis.at(axis.start_chainage_m)
        towards = np.full(
            len(columns.chainage_m), float(start.bearing_rad) + reference.right_mm_per_m / 1000.0
        )
    values[:, 2] = columns.yaw_mm_per_m + 1000.0 * (towards - face.bearing_rad)
    values[:, 3] = columns.pitch_mm_per_m - face.grade_mm_per_m
    return values, np.where(np.isfinite(distance), distance, 0.0)
