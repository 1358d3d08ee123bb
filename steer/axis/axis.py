"""The design axis: plan and profile together, over chainage.

Chainage is plan length. Line is horizontal, perpendicular to the plan tangent, + right; level is
perpendicular to the tangent in space, in the vertical plane through it, + high.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import overload

import numpy as np

from steer.axis.foot import Located, foot_of_perpendicular
from steer.axis.plan import Plan
from steer.axis.profile import Profile
from steer.errors import InputRefused


class AxisError(InputRefused):
    """The axis as given cannot be meant; `problems` lists everything that is wrong with it."""


@dataclass(frozen=True, slots=True)
class AxisPoint:
    """The axis at one chainage (floats) or at many (arrays of shape (n,)).

    `bearing_rad` is clockwise from grid north and runs on without a jump along the axis, so it
    may lie outside 0 … 2π. `curvature_right` is per plan length, + turning right (bearing grows);
    `curvature_up` is the change of grade per plan length, + turning up.
    """

    chainage_m: float | np.ndarray
    easting_m: float | np.ndarray
    northing_m: float | np.ndarray
    level_m: float | np.ndarray
    bearing_rad: float | np.ndarray
    grade_mm_per_m: float | np.ndarray
    curvature_right_mm_per_m2: float | np.ndarray
    curvature_up_mm_per_m2: float | np.ndarray


class Axis:
    """Position and direction at a chainage, and the chainage, line and level of a point.

    Before its start and after its end the axis runs straight on along its tangent. At a joint
    the curvature is that of the element that begins there (at the end: of the last one).
    """

    def __init__(
        self,
        plan: Plan,
        profile: Profile,
        *,
        chainage_m: float,
        easting_m: float,
        northing_m: float,
        level_m: float,
        notes: tuple[str, ...] = (),
    ) -> None:
        """Coordinates and chainage are those of the start; plan and profile count from there.

        `notes` are lines for a person about how the axis was read.
        """
        self.plan = plan
        self.profile = profile
        self.start_chainage_m = chainage_m
        self.end_chainage_m = chainage_m + plan.length_m
        self.origin = (easting_m, northing_m, level_m)
        self.notes = notes
        self._nodes_m: np.ndarray | None = None

    def __repr__(self) -> str:
        return f"Axis({self.start_chainage_m:.3f} to {self.end_chainage_m:.3f} m)"

    def local(self, length_m: float) -> tuple[float, float, float, float, float, float, float]:
        """East, north, level (m from the origin), bearing, grade, curvature right and up (1/m)."""
        total = self.plan.length_m
        inside = min(max(length_m, 0.0), total)
        east, north, bearing, k = self.plan.at(inside)
        z, grade, kv = self.profile.at(inside)
        if inside != length_m:
            beyond = length_m - inside
            east += beyond * math.sin(bearing)
            north += beyond * math.cos(bearing)
            z += beyond * grade
            k = kv = 0.0
        return east, north, z, bearing, grade, k, kv

    def local_many(self, length_m: np.ndarray) -> tuple[np.ndarray, ...]:
        """The same for an array (n,)."""
        inside = np.clip(length_m, 0.0, self.plan.length_m)
        east, north, bearing, k = self.plan.at_many(inside)
        z, grade, kv = self.profile.at_many(inside)
        beyond = length_m - inside
        out = np.flatnonzero(beyond)
        if out.size:
            b = beyond[out]
            east[out] += b * np.sin(bearing[out])
            north[out] += b * np.cos(bearing[out])
            z[out] += b * grade[out]
            k[out] = 0.0
            kv[out] = 0.0
        return east, north, z, bearing, grade, k, kv

    def at(self, chainage_m: float | np.ndarray) -> AxisPoint:
        """The axis at a chainage (float) or at many (array-like of shape (n,)), any finite value."""
        e0, n0, z0 = self.origin
        if isinstance(chainage_m, (float, int)):
            s = float(chainage_m)
            e, n, z, bearing, grade, k, kv = self.local(s - self.start_chainage_m)
            return AxisPoint(s, e0 + e, n0 + n, z0 + z, bearing, grade * 1e3, k * 1e3, kv * 1e3)
        many = np.asarray(chainage_m, dtype=float)
        if many.ndim == 0:
            return self.at(float(many))
        east, north, level, b, g, kr, ku = self.local_many(many - self.start_chainage_m)
        return AxisPoint(many, e0 + east, n0 + north, z0 + level, b, g * 1e3, kr * 1e3, ku * 1e3)

    @overload
    def position(self, chainage_m: float, line_mm: float, level_mm: float) -> tuple[float, float, float]: ...
    @overload
    def position(
        self, chainage_m: np.ndarray, line_mm: np.ndarray, level_mm: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]: ...
    def position(self, chainage_m, line_mm, level_mm):  # type: ignore[no-untyped-def]
        """Easting, northing, level (m) of the point line_mm right of and level_mm above the axis.

        All floats, or arrays that broadcast to one shape (n,).
        """
        s, line, up = np.broadcast_arrays(
            np.asarray(chainage_m, float), np.asarray(line_mm, float) / 1e3, np.asarray(level_mm, float) / 1e3
        )
        east, north, z, bearing, grade, _, _ = self.local_many(np.atleast_1d(s - self.start_chainage_m))
        sin, cos = np.sin(bearing), np.cos(bearing)
        slant = np.hypot(1.0, grade)
        back = up * grade / slant  # the perpendicular to a rising axis leans back
        e0, n0, z0 = self.origin
        found = (
            e0 + (east + line * cos - back * sin),
            n0 + (north - line * sin - back * cos),
            z0 + (z + up / slant),
        )
        return tuple(float(v[0]) for v in found) if s.ndim == 0 else found

    def locate(
        self, easting_m: float | np.ndarray, northing_m: float | np.ndarray, level_m: float | np.ndarray
    ) -> Located:
        """Chainage, line and level of surveyed points: the nearest point of the axis in space.

        Floats, or arrays that broadcast to one shape (n,). `ok` is False where there is no unique foot
        of the perpendicular (see `steer.axis.foot`); chainage, line and level are NaN there.
        """
        e0, n0, z0 = self.origin
        east, north, z = np.broadcast_arrays(
            np.asarray(easting_m, float) - e0,
            np.asarray(northing_m, float) - n0,
            np.asarray(level_m, float) - z0,
        )
        if self._nodes_m is None:
            self._nodes_m = self._make_nodes()
        points = np.stack([np.atleast_1d(east), np.atleast_1d(north), np.atleast_1d(z)], axis=1)
        length, line, up, ok = foot_of_perpendicular(self.local_many, self._nodes_m, points)
        found = (length + self.start_chainage_m, line * 1e3, up * 1e3)
        if east.ndim == 0:
            return Located(float(found[0][0]), float(found[1][0]), float(found[2][0]), bool(ok[0]))
        return Located(*found, ok)

    def _make_nodes(self) -> np.ndarray:
        """Lengths at which a search looks: every joint, and between them every 0.1 rad of turn."""
        total = self.plan.length_m
        ends = sorted({0.0, total, *(s for s in (*self.plan.joints_m, *self.profile.joints_m) if s < total)})
        nodes = [0.0]
        for a, b in pairwise(ends):
            probe = self.local_many(np.array([a, 0.5 * (a + b), np.nextafter(b, a)]))
            steepest = max(float(np.abs(probe[5]).max()), float(np.abs(probe[6]).max()))
            count = max(1, math.ceil(steepest * (b - a) / 0.1))
            nodes.extend(np.linspace(a, b, count + 1)[1:].tolist())
        return np.array(nodes)
