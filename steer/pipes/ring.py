"""The ring joint with linear stress and no tension: what force a joint may carry at an angle.

The packer is a ring of thickness t and modulus E between two faces taken as rigid, of outer radius R
and inner radius r. Closed on one side and turned by an angle b, its stress grows linearly from the
line where contact ends to the edge, where it may reach the limit p: contact reaches z = p·t/(E·b) in
from the edge. With c = R − z, the place of that line from the centre, the force is

    N = p/z · (I(R) − I(r)),   I(q) = ∫ (x − c) dA over the part x > c of a disc of radius q
      = 2/3·(q² − c²)^(3/2) − c·(q²·arccos(c/q) − c·sqrt(q² − c²))   for |c| < q,

and I(q) = −c·π·q² where the disc is wholly inside. So the whole area carries p at b = 0, and half of
that force is left when z = 2·R (elementary statics; tabulated in GB 50135 appendix H).

Rigid faces are on the safe side of real ones. Linear stress is **not**: packers used before carry more
at the edge (Steinzeug Information 2004, p. 34).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.drivefile import PipeSection

_STRAIGHT = 1e-9  # mm/m; below it the joint is straight


@dataclass(frozen=True)
class RingJoint:
    """A bearing ring: radii and thickness in mm, modulus and largest stress in MPa."""

    outer_radius_mm: float
    inner_radius_mm: float
    thickness_mm: float
    modulus_mpa: float
    max_stress_mpa: float

    @classmethod
    def of(cls, pipe: PipeSection) -> RingJoint | None:
        """The ring of drive.toml's [pipe], centred on the wall; None without the packer keys."""
        if (
            pipe.packer_width_mm is None
            or pipe.packer_thickness_mm is None
            or pipe.packer_modulus_mpa is None
            or pipe.max_joint_stress_mpa is None
        ):
            return None
        middle = (pipe.outer_diameter_mm + pipe.inner_diameter_mm) / 4.0
        return cls(
            middle + pipe.packer_width_mm / 2.0,
            middle - pipe.packer_width_mm / 2.0,
            pipe.packer_thickness_mm,
            pipe.packer_modulus_mpa,
            pipe.max_joint_stress_mpa,
        )

    @property
    def area_mm2(self) -> float:
        """Bearing area."""
        return float(np.pi * (self.outer_radius_mm**2 - self.inner_radius_mm**2))

    @property
    def straight_kn(self) -> float:
        """Permissible force of the straight joint: the largest stress on the whole ring."""
        return self.max_stress_mpa * self.area_mm2 / 1000.0

    @property
    def opens_at_mm_per_m(self) -> float:
        """The joint angle from which, at the permissible force, the ring no longer bears all round."""
        edge = self.max_stress_mpa * self.thickness_mm / self.modulus_mpa  # mm of packer pressed together
        return 1000.0 * edge / (2.0 * self.outer_radius_mm)

    def contact_mm(self, angle_mm_per_m: np.ndarray | float) -> np.ndarray:
        """How far in from the edge the ring bears at the permissible force, at most its diameter."""
        angle = np.maximum(np.abs(np.asarray(angle_mm_per_m, float)), _STRAIGHT)
        depth = self.max_stress_mpa * self.thickness_mm / (self.modulus_mpa * angle / 1000.0)
        return np.minimum(depth, 2.0 * self.outer_radius_mm)

    def permissible_kn(self, angle_mm_per_m: np.ndarray | float) -> np.ndarray:
        """Force that brings the edge to the largest stress at these joint angles (mm/m), kN, same shape.

        NaN stays NaN: an angle that is not known permits no statement.
        """
        angle = np.abs(np.asarray(angle_mm_per_m, float))
        tilt = np.where(angle > _STRAIGHT, angle, _STRAIGHT) / 1000.0
        depth = self.max_stress_mpa * self.thickness_mm / (self.modulus_mpa * tilt)
        outer, inner = self.outer_radius_mm, self.inner_radius_mm
        part = pressed_volume(outer, outer, depth) - pressed_volume(inner, outer, depth)
        force = self.max_stress_mpa / depth * part / 1000.0
        return np.where(np.isnan(angle), np.nan, np.where(angle > _STRAIGHT, force, self.straight_kn))

    def share_of_straight(self, angle_mm_per_m: np.ndarray | float) -> np.ndarray:
        """Permissible force at these angles as a share of the straight joint's, 0 to 1."""
        return self.permissible_kn(angle_mm_per_m) / self.straight_kn


def pressed_volume(radius: float, outer: float, depth: np.ndarray | float) -> np.ndarray:
    """I(radius) of the module's text for contact `depth` in from the edge of radius `outer`; mm³."""
    c = outer - np.asarray(depth, float)
    inside = np.clip(c, -radius, radius)
    root = np.sqrt(np.maximum(radius**2 - inside**2, 0.0))
    part = 2.0 / 3.0 * root**3 - inside * (radius**2 * np.arccos(inside / radius) - inside * root)
    return np.where(c <= -radius, -c * np.pi * radius**2, part)


def pressed_moment(radius: float, outer: float, depth: np.ndarray | float) -> np.ndarray:
    """∫ (x − c)·x dA over the pressed part of a disc: with `pressed_volume` the eccentricity; mm⁴."""
    c = outer - np.asarray(depth, float)
    inside = np.clip(c, -radius, radius)
    turn = np.arccos(inside / radius)
    square = radius**4 / 4.0 * (turn - np.sin(4.0 * turn) / 4.0)
    return square - 2.0 / 3.0 * inside * np.maximum(radius**2 - inside**2, 0.0) ** 1.5
