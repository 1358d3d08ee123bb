"""How far a fixed beam reaches inside the pipe, and how much air of uneven temperature bends it."""

from __future__ import annotations

import math

import numpy as np

from steer.axis import Axis
from steer.drivefile import DriveFile
from steer.estimate.geometry import frame, place
from steer.feasibility.findings import Finding

_STEP_M = 0.2
_MOST_PLACES = 50_000
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
    source = np.array(axis.position(chainage_m, right_mm, up_mm))
    tangent, right, up = frame(axis.at(chainage_m))
    along = tangent + right * right_mm_per_m / 1000.0 + up * up_mm_per_m / 1000.0
    count = min(_MOST_PLACES, max(3, math.ceil((to_m - chainage_m) / _STEP_M)))
    at = np.linspace(chainage_m, to_m, count)
    point = axis.at(at)
    ahead, right, up = frame(point)
    to_axis = place(point) - source
    cosine = ahead @ along
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.einsum("...i,...i", to_axis, ahead) / cosine
        offset = far[:, None] * along - to_axis
        line, level = np.einsum("...i,...i", offset, right), np.einsum("...i,...i", offset, up)
        clear = clear_radius_mm - 1000.0 * np.hypot(line, level)
    # A beam along which the axis has turned away by a right angle crosses no plane of it any more.
    out = np.flatnonzero(~((clear >= 0.0) & (cosine > 0.01)))
    if not out.size:
        return to_m, float(clear.min())
    i = int(out[0])
    if i == 0:
        return chainage_m, float(clear[0])
    share = clear[i - 1] / (clear[i - 1] - clear[i]) if np.isfinite(clear[i]) else 0.0
    return float(at[i - 1] + min(share, 1.0) * (at[i] - at[i - 1])), 0.0


def beam(drive: DriveFile) -> list[Finding]:
    """Reach and refraction of the launch shaft's beam; nothing for a reference that follows the axis.

    The beam's figure is its greatest distance from the axis against the clear bore's radius where it reaches the end,
    else the distance that it must reach against the one it does.
    """
    reference, axis = drive.reference, drive.axis
    if reference.kind != "beam":
        return []
    start, needed = axis.start_chainage_m, _needed_m(drive)
    if needed <= start:
        return []
    clear_radius = drive.pipe.inner_diameter_mm / 2.0
    got, clearance = _first(drive)
    off = max(drive.tolerance.line_mm, drive.tolerance.level_mm)
    if got >= needed:
        tight = clearance < off
        text = (
            f"it reaches the target to the end of the drive (target at chainage {needed:.1f} m), "
            f"{clearance:.0f} mm from the pipe's inner wall at the closest"
        )
        if tight:
            text += f": less than the {off:g} mm by which the pipes may lie off the axis"
        found = [
            Finding(
                "Beam", clear_radius - clearance, clear_radius, "mm", "tight" if tight else "possible", text
            )
        ]
    else:
        anew = moves(drive)
        listed = ", ".join(f"{m:.0f}" for m in anew[:6]) + (" …" if len(anew) > 6 else "")
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
        f"1 K/m across the beam bends it by {bent:.{1 if bent < 9.95 else 0}f} mm at {far:.0f} m, toward the colder "
        f"air; {uses_up:.{1 if uses_up < 9.95 else 0}f} K/m would use up the tolerance of {least:g} mm. "
        "Check shots show it, the beam does not"
    )
    found.append(Finding("Refraction", bent, least, "mm", "tight" if bent > least else "possible", text))
    return found


def _needed_m(drive: DriveFile) -> float:
    """Chainage up to which the target must be read."""
    return drive.axis.end_chainage_m - drive.target.behind_face_m


def _first(drive: DriveFile) -> tuple[float, float]:
    """Reach and clearance of the beam as drive.toml sets it."""
    reference = drive.reference
    return reach(
        drive.axis,
        drive.axis.start_chainage_m,
        drive.pipe.inner_diameter_mm / 2.0,
        right_mm=reference.right_mm,
        up_mm=reference.up_mm,
        right_mm_per_m=reference.right_mm_per_m,
        up_mm_per_m=reference.up_mm_per_m,
        to_m=_needed_m(drive),
    )


def moves(drive: DriveFile) -> list[float]:
    """Chainages of the target by which a beam must be set anew, each new one along the axis from the last.

    Empty where one beam reaches, and for a reference that follows the axis.
    """
    reference, needed = drive.reference, _needed_m(drive)
    if reference.kind != "beam" or needed <= drive.axis.start_chainage_m:
        return []
    first, _ = _first(drive)
    if first >= needed:
        return []
    found = [first]
    while len(found) < _MOST_SETS:
        got, _ = reach(
            drive.axis,
            found[-1],
            drive.pipe.inner_diameter_mm / 2.0,
            right_mm=reference.right_mm,
            up_mm=reference.up_mm,
            to_m=needed,
        )
        if got >= needed or got < found[-1] + 0.5:
            break
        found.append(got)
    return found
