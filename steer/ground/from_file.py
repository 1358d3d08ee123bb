"""A checked drive file as the dictionary that a scenario takes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from steer.drivefile import DriveFile
from steer.drivefile.sections import AxisElements

PIECE_M = 1.0  # an axis that comes as LandXML is cut into pieces about so long
_TABLES = ("drive", "tolerance", "machine", "target", "reference", "sd", "pipe")


def drive_dict(file: DriveFile) -> dict[str, Any]:
    """The tables that a scenario needs, with drive.toml's keys. An axis from LandXML becomes arcs and
    parabolas of about `PIECE_M`, each with the axis's own change of bearing and grade."""
    found: dict[str, Any] = {name: getattr(file, name).model_dump(exclude_none=True) for name in _TABLES}
    spec = file.axis_spec
    found["axis"] = spec.model_dump() if isinstance(spec, AxisElements) else _pieces(file)
    return found


def _pieces(file: DriveFile) -> dict[str, Any]:
    axis = file.axis
    start, length = axis.start_chainage_m, axis.end_chainage_m - axis.start_chainage_m
    ends = start + np.linspace(0.0, length, max(2, round(length / PIECE_M) + 1))
    points = axis.at(ends)
    bearing, grade = np.asarray(points.bearing_rad), np.asarray(points.grade_mm_per_m)
    easting, northing, level = axis.position(float(start), 0.0, 0.0)
    horizontal: list[dict[str, Any]] = []
    vertical: list[dict[str, Any]] = []
    for i, piece in enumerate(np.diff(ends)):
        turn = float(bearing[i + 1] - bearing[i])
        plan: dict[str, Any] = {"kind": "line", "length_m": float(piece)}
        if abs(turn) > 1e-9:
            side = "right" if turn > 0 else "left"
            plan |= {"kind": "arc", "radius_m": float(piece) / abs(turn), "turn": side}
        horizontal.append(plan)
        profile = {"grade_start_mm_per_m": float(grade[i]), "grade_end_mm_per_m": float(grade[i + 1])}
        vertical.append({"kind": "parabola", "length_m": float(piece)} | profile)
    return {
        "start": {
            "chainage_m": float(start),
            "easting_m": easting,
            "northing_m": northing,
            "level_m": level,
            "bearing_deg": math.degrees(float(bearing[0])),
        },
        "horizontal": horizontal,
        "vertical": vertical,
    }
