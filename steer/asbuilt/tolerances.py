"""The tolerance at a chainage: drive.toml's own, its ranges, and the reception eye at the end."""

from __future__ import annotations

import numpy as np

from steer.drivefile import DriveFile

AT_THE_EYE_M = 0.02  # the face within this of the end of the axis has arrived


def tolerance_mm(file: DriveFile, at_m: np.ndarray) -> np.ndarray:
    """Tolerance (n, 2) in line and level at chainages (n,); in ranges that overlap the tightest counts.

    The eye is judged apart (`arrived`): it is an opening, the tolerance of the pipe goes on to the end.
    """
    at = np.asarray(at_m, float)
    found = np.tile([file.tolerance.line_mm, file.tolerance.level_mm], (len(at), 1))
    ranged = np.full(found.shape, np.inf)
    for part in file.tolerance.ranges:
        inside = (at >= part.from_m - 1e-9) & (at <= part.to_m + 1e-9)
        ranged[inside] = np.minimum(ranged[inside], [part.line_mm, part.level_mm])
    return np.where(np.isfinite(ranged), ranged, found)


def arrived(file: DriveFile, face_m: float) -> bool:
    """Whether the face has reached the end of the axis."""
    return face_m >= file.axis.end_chainage_m - AT_THE_EYE_M


def tolerance_along(file: DriveFile) -> tuple[np.ndarray, np.ndarray]:
    """Chainages (n,) over the whole axis and the tolerance (n, 2) there, with its steps upright."""
    first, last = file.axis.start_chainage_m, file.axis.end_chainage_m
    steps = [
        at + by for part in file.tolerance.ranges for at in (part.from_m, part.to_m) for by in (-1e-4, 1e-4)
    ]
    s = np.union1d(np.linspace(first, last, 301), np.array(steps, float))
    s = s[(s >= first) & (s <= last)]
    return s, tolerance_mm(file, s)
