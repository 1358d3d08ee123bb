"""What a surveyor observed and what is known beforehand: plain frozen records in radians and metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["direction", "zenith", "slope", "distance"]

ARC_SECOND = 3.141592653589793 / (180.0 * 3600.0)  # rad

# What a common total station does in a tunnel; used where a file gives no sd (common practice, no source).
DEFAULT_SD_DIRECTION_SEC = 3.0
DEFAULT_SD_ZENITH_SEC = 5.0
DEFAULT_SD_DISTANCE_MM = 2.0
DEFAULT_SD_DISTANCE_PPM = 2.0


@dataclass(frozen=True)
class Observation:
    """One observed quantity of one sight.

    value, sd    rad for direction (clockwise) and zenith (0 = up), m for slope and (horizontal) distance.
    set          directions of one station and set share one unknown orientation.
    heights      m above the point: of the instrument's tilting axis and of the target.
    row          line of the file it stands in (the header is line 1), to name it by.
    """

    row: int
    station: str
    target: str
    kind: Kind
    value: float
    sd: float
    set: str = ""
    instrument_height_m: float = 0.0
    target_height_m: float = 0.0


@dataclass(frozen=True)
class ControlPoint:
    """A point known beforehand. sd_mm 0: held fixed; otherwise each coordinate is itself an observation
    with that sd, and the point is adjusted with the others. level_m None: known in plan only."""

    point: str
    easting_m: float
    northing_m: float
    level_m: float | None
    sd_mm: float = 0.0


def distance_sd_m(length_m: float, sd_mm: float, sd_ppm: float) -> float:
    """sd of a measured distance in m from its constant part (mm) and the part that grows with it (ppm).

    The parts are independent errors, so their squares add (Ghilani and Wolf, Adjustment Computations,
    error propagation for electronically measured distances; from memory)."""
    return float(((sd_mm * 1e-3) ** 2 + (sd_ppm * 1e-6 * length_m) ** 2) ** 0.5)
