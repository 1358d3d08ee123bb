"""How a path went, in figures: offsets, joint angles, force, and how much the cylinders moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.drivefile import DriveFile
from steer.pipes.joints import joint_angles
from steer.pipes.ring import RingJoint


@dataclass(frozen=True)
class Measures:
    """One path from its first to its last chainage.

    rms, worst       mm, each plane alone
    outside_m        metres at which line or level (or both) is outside tolerance
    joint_mm_per_m   largest joint angle of pipes that follow the path, both planes together; NaN when the
                     path is shorter than two pipes
    change_mm_per_m  mean size of the change of articulation from stroke to stroke; NaN when not given
    end_line_mm, end_level_mm   where the path ends
    in_eye           whether it ends inside the reception eye (or the tolerance, where no eye is given);
                     None when it does not reach the end of the axis
    force_kn         largest force that was used; NaN when not given
    allowed_kn       force that the worst joint permits; NaN without the pipe's packer keys
    joint_share      the most that a joint carries at the end, as a share of what its own angle permits: over
                     1 is more than it may; NaN without those keys or when the string's force is not given
    """

    rms_line_mm: float
    rms_level_mm: float
    worst_line_mm: float
    worst_level_mm: float
    outside_m: float
    joint_mm_per_m: float
    change_mm_per_m: float
    end_line_mm: float
    end_level_mm: float
    in_eye: bool | None
    force_kn: float = float("nan")
    allowed_kn: float = float("nan")
    joint_share: float = float("nan")

    @property
    def rms_mm(self) -> float:
        """Both planes pooled."""
        return float(np.sqrt((self.rms_line_mm**2 + self.rms_level_mm**2) / 2.0))


def measure(
    file: DriveFile,
    chainage_m: np.ndarray,
    line_mm: np.ndarray,
    level_mm: np.ndarray,
    articulation: np.ndarray | None = None,
    force_kn: float = float("nan"),
    string_kn: np.ndarray | None = None,
    bore_mm: np.ndarray | None = None,
) -> Measures:
    """Measures of a path (n,) over ascending chainage; `articulation` (1 + strokes, 2) mm/m as held
    before it and as set for each stroke, `string_kn` (n,) the axial force in the string at those chainages,
    `bore_mm` (n, 2) the likeliest bore, by which pipes turn, where the path is a smoothed one.

    Every point counts for the chainage it stands for, so uneven spacing does not weigh. Raises
    ValueError for an empty path.
    """
    if len(chainage_m) == 0:
        raise ValueError("an empty path has no measures")
    share = _shares(chainage_m)
    outside = (np.abs(line_mm) > file.tolerance.line_mm) | (np.abs(level_mm) > file.tolerance.level_mm)
    span = float(chainage_m[-1] - chainage_m[0])
    line, level = (line_mm, level_mm) if bore_mm is None else bore_mm.T
    at, angle = _joints(file, chainage_m, line, level)
    joint = float(np.nanmax(angle)) if np.isfinite(angle).any() else float("nan")
    ring = RingJoint.of(file.pipe)
    used = float("nan")
    if ring is not None and string_kn is not None and np.isfinite(angle).any():
        used = float(np.nanmax(np.interp(at, chainage_m, string_kn) / ring.permissible_kn(angle)))
    change = float("nan")
    if articulation is not None and len(articulation) > 1:
        change = float(np.mean(np.hypot(*np.diff(articulation, axis=0).T)))
    at_the_end = chainage_m[-1] >= file.axis.end_chainage_m - 0.051
    return Measures(
        rms_line_mm=float(np.sqrt(share @ line_mm**2)),
        rms_level_mm=float(np.sqrt(share @ level_mm**2)),
        worst_line_mm=float(np.abs(line_mm).max()),
        worst_level_mm=float(np.abs(level_mm).max()),
        outside_m=float(share @ outside) * span,
        joint_mm_per_m=joint,
        change_mm_per_m=change,
        end_line_mm=float(line_mm[-1]),
        end_level_mm=float(level_mm[-1]),
        in_eye=_in_eye(file, line_mm[-1], level_mm[-1]) if at_the_end else None,
        force_kn=force_kn,
        allowed_kn=float("nan") if ring is None else float(ring.permissible_kn(joint)),
        joint_share=used,
    )


def joint_limits_kn(file: DriveFile) -> float:
    """Force that the straight joint permits, kN; NaN without the pipe's packer keys."""
    ring = RingJoint.of(file.pipe)
    return float("nan") if ring is None else ring.straight_kn


def _shares(chainage_m: np.ndarray) -> np.ndarray:
    """Share of the length that each point stands for (trapezoidal rule), summing to 1."""
    if len(chainage_m) == 1:
        return np.ones(1)
    gaps = np.diff(chainage_m)
    share = np.zeros(len(chainage_m))
    share[:-1] += gaps / 2.0
    share[1:] += gaps / 2.0
    total = share.sum()
    found: np.ndarray = share / total if total > 0 else np.full(len(share), 1.0 / len(share))
    return found


def _joints(
    file: DriveFile, chainage_m: np.ndarray, line_mm: np.ndarray, level_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Chainages (k,) where joints pass, and their angles (k,) mm/m; none on a path shorter than two pipes."""
    pipe = file.pipe.length_m
    first, last = chainage_m[0] + pipe, chainage_m[-1] - pipe
    if last < first:
        return np.zeros(0), np.zeros(0)
    at = np.linspace(first, last, max(2, round((last - first) / 0.1) + 1))
    found = joint_angles(file.axis, chainage_m, line_mm, level_mm, pipe, file.pipe.outer_diameter_mm, at)
    return at, found.angle_mm_per_m


def _in_eye(file: DriveFile, line_mm: float, level_mm: float) -> bool:
    eye = file.tolerance.eye or file.tolerance
    return bool(abs(line_mm) <= eye.line_mm and abs(level_mm) <= eye.level_mm)
