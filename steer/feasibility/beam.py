"""How far a fixed beam reaches inside the pipe, and how much air of uneven temperature bends it."""

from __future__ import annotations

import math

import numpy as np

from steer.axis import Axis
from steer.drivefile import DriveFile
from steer.feasibility.findings import Finding

_STEP_M = 0.2
_MOST_SETS = 50


def bend_mm(
    distance_m: float, gradient_k_per_m: float = 1.0, celsius: float = 20.0, hpa: float = 1013.25
) -> float:
    """Offset of a red beam from straight at a distance, toward the colder air, for a gradient across it.

    Half the ray's curvature times the square of the distance; the curvature is (dn/dT)·(dT/dx), with
    n − 1 = 292e-6·(273.15/T)·(P/1013.25 hPa) for dry air and red light (Barrell and Sears; from memory).
    """
    kelvin = 273.15 + celsius
    dn_per_k = 292e-6 * 273.15 / kelvin**2 * (hpa / 1013.25)
    return 1000.0 * 0.5 * dn_per_k * gradient_k_per_m * distance_m**2


def reach(
    axis: Axis,
    chainage_m: float,
    clear_radius_mm: float,
    *,
    right_mm: float,
    up_mm: float,
    right_mm_per_m: float = 0.0,
    up_mm_per_m: float = 0.0,
    to_m: float,
) -> tuple[float, float]:
    """Chainage to which a straight beam stays inside the clear bore, and its least clearance on the way (mm).

    The beam starts right_mm, up_mm from the axis at chainage_m, in a direction against the axis tangent
    there; it is followed as far as to_m.
    """
    p = axis.at(chainage_m)
    bearing, grade = float(p.bearing_rad), float(p.grade_mm_per_m) / 1000.0
    slant = math.hypot(1.0, grade)
    sin, cos = math.sin(bearing), math.cos(bearing)
    tangent = np.array([sin, cos, grade]) / slant
    right = np.array([cos, -sin, 0.0])
    up = np.array([-grade * sin, -grade * cos, 1.0]) / slant
    along = tangent + right * right_mm_per_m / 1000.0 + up * up_mm_per_m / 1000.0
    begin = np.array(axis.position(chainage_m, right_mm, up_mm))
    # A beam that has not reached to_m after half as far again has left the bore long before.
    far = np.linspace(0.0, 1.5 * (to_m - chainage_m) + 1.0, max(3, math.ceil((to_m - chainage_m) / _STEP_M)))
    place = axis.locate(*(begin[:, None] + along[:, None] * far))
    chainage = np.asarray(place.chainage_m)
    clear = clear_radius_mm - np.hypot(place.line_mm, place.level_mm)
    out = np.flatnonzero(~(clear >= 0.0) | ~(chainage <= to_m))
    if not out.size:
        return to_m, float(clear.min())
    i = int(out[0])
    if i == 0:
        return chainage_m, float(clear[0])
    if clear[i] >= 0.0:  # it has arrived
        return to_m, float(clear[: i + 1].min())
    share = clear[i - 1] / (clear[i - 1] - clear[i])
    return float(chainage[i - 1] + share * (chainage[i] - chainage[i - 1])), 0.0


def beam(drive: DriveFile) -> list[Finding]:
    """Reach and refraction of the launch shaft's beam; nothing for a reference that follows the axis."""
    reference, axis = drive.reference, drive.axis
    if reference.kind != "beam":
        return []
    start, needed = axis.start_chainage_m, axis.end_chainage_m - drive.target.behind_face_m
    if needed <= start:
        return []
    clear_radius = drive.pipe.inner_diameter_mm / 2.0
    got, clearance = reach(
        axis,
        start,
        clear_radius,
        right_mm=reference.right_mm,
        up_mm=reference.up_mm,
        right_mm_per_m=reference.right_mm_per_m,
        up_mm_per_m=reference.up_mm_per_m,
        to_m=needed,
    )
    off = max(drive.tolerance.line_mm, drive.tolerance.level_mm)
    if got >= needed:
        tight = clearance < off
        text = (
            f"it reaches the target to the end of the drive (target at chainage {needed:.1f} m), "
            f"{clearance:.0f} mm from the pipe's inner wall at the closest"
        )
        if tight:
            text += f": less than the {off:g} mm by which the pipes may lie off the axis"
        found = [Finding("Beam", needed - start, got - start, "m", "tight" if tight else "possible", text)]
    else:
        moves = _moves(drive, got, needed)
        listed = ", ".join(f"{m:.0f}" for m in moves[:6]) + (" …" if len(moves) > 6 else "")
        text = (
            f"it meets the pipe's inner wall at chainage {got:.1f} m; the target must be read up to "
            f"{needed:.1f} m. "
            "The reference must be set anew before the target is at chainage "
            f"{listed} m "
            "(each new beam along the axis from there)"
        )
        found = [Finding("Beam", needed - start, got - start, "m", "with moves", text)]
    far = min(got, needed) - start
    bent, least = bend_mm(far), min(drive.tolerance.line_mm, drive.tolerance.level_mm)
    uses_up = least / bent if bent > 0.0 else math.inf
    text = (
        f"1 K/m across the beam bends it by {bent:.1f} mm at {far:.0f} m, toward the colder air; "
        f"{uses_up:.1f} K/m would use up the tolerance of {least:g} mm. "
        "Check shots show it, the beam does not"
    )
    found.append(Finding("Refraction", bent, least, "mm", "tight" if bent > least else "possible", text))
    return found


def _moves(drive: DriveFile, first: float, needed: float) -> list[float]:
    """Chainages at which a reference must be set anew, each new one along the axis from the last."""
    reference = drive.reference
    moves = [first]
    while len(moves) < _MOST_SETS:
        got, _ = reach(
            drive.axis,
            moves[-1],
            drive.pipe.inner_diameter_mm / 2.0,
            right_mm=reference.right_mm,
            up_mm=reference.up_mm,
            to_m=needed,
        )
        if got >= needed or got < moves[-1] + 0.5:
            break
        moves.append(got)
    return moves
