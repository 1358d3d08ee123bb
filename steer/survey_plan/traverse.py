"""What a check survey is worth at a chainage: an open traverse and levels carried in from the shaft.

Angle errors alone decide the line of an open traverse (Chrzanowski, Optimization of the breakthrough
accuracy in tunnelling surveys, Canadian Surveyor 35(1), 1981; formula from memory). The distances'
errors act along the drive and only turn into line where it bends; they are left out.
"""

from __future__ import annotations

import math

import numpy as np

from steer.axis import Axis, AxisPoint
from steer.drivefile import DriveFile
from steer.feasibility.curves import tightest
from steer.survey_plan.course import Survey

_SECOND = math.pi / 648_000.0


def open_traverse_sd_mm(legs: int, length_m: float, angle_sd_sec: float) -> float:
    """Lateral sd (mm) of the end of a straight open traverse of n equal legs, `length_m` in all:

    length·σ·sqrt(n/3 + 1/2 + 1/(6n)), one angle a station, the first against a direction without error.
    """
    n = legs
    return 1000.0 * length_m * angle_sd_sec * _SECOND * math.sqrt(n / 3.0 + 0.5 + 1.0 / (6.0 * n))


def traverse_sd_mm(axis: Axis, chainage_m: float, leg_m: float, angle_sd_sec: float) -> float:
    """The same along the axis, bends and all: each angle turns what lies ahead of its station.

    Legs are equal, at most `leg_m` of chainage. Only what of the turn falls square to the axis at
    `chainage_m` counts.
    """
    length = chainage_m - axis.start_chainage_m
    if length <= 0.0:
        return 0.0
    return 1000.0 * angle_sd_sec * _SECOND * float(np.linalg.norm(_legs_m(axis, chainage_m, leg_m)))


def _legs_m(axis: Axis, chainage_m: float, leg_m: float) -> np.ndarray:
    """How far a chainage lies ahead of each station of the traverse to it."""
    legs = max(1, math.ceil((chainage_m - axis.start_chainage_m) / leg_m - 1e-9))
    station = axis.at(np.linspace(axis.start_chainage_m, chainage_m, legs + 1)[:-1])
    return _ahead_m(axis, chainage_m, station)


def carried_in(drive: DriveFile, chainage_m: float) -> np.ndarray:
    """Covariance (2, 2, 2) of a reference set anew at a chainage, per plane (line, level): its offset there (mm)
    and its direction (mm/m).

    Its place and direction come through the pipes as a check survey does, and it is set as well as the first
    one ([sd] reference_mm, reference_mm_per_m). The same angles turn place and direction. The base's own error
    is not in it.
    """
    sd, at = drive.sd, survey_of(drive, chainage_m)
    found = np.zeros((2, 2, 2))
    found[:, 0, 0] = np.square([at.line_sd_mm, at.level_sd_mm]) + sd.reference_mm**2
    found[:, 1, 1] = sd.reference_mm_per_m**2
    legs = _legs_m(drive.axis, chainage_m, longest_sight_m(drive))
    turned = (1000.0 * drive.survey.angle_sd_sec * _SECOND) ** 2
    found[0, 0, 1] = found[0, 1, 0] = turned * float(legs.sum())
    found[0, 1, 1] += turned * len(legs)
    return found


def base_effect_mm(axis: Axis, chainage_m: float | np.ndarray, base_sd_mm_per_m: float) -> np.ndarray:
    """What the direction of the shaft's base turns at a chainage (n,): line, mm, one sd.

    Reference, traverse and every survey share it, so no check survey from the same base shows it.
    """
    at = np.atleast_1d(np.asarray(chainage_m, float))
    start = axis.at(axis.start_chainage_m)
    found: np.ndarray = np.array([float(_ahead_m(axis, s, start)) for s in at.tolist()])
    return base_sd_mm_per_m * np.abs(found)


def longest_sight_m(drive: DriveFile) -> float:
    """A leg of the traverse: `survey.leg_m`, or less where the tightest curve hides the next station.

    Its sagitta, leg²/8R, may take half of the clear radius. Own choice, no source.
    """
    in_curve = 2.0 * math.sqrt(tightest(drive.axis).radius_m * drive.pipe.inner_diameter_mm / 2000.0)
    return min(drive.survey.leg_m, in_curve)


def survey_of(drive: DriveFile, chainage_m: float) -> Survey:
    """A check survey of the face with the face at `chainage_m`; the base's own error is not in it."""
    given = drive.survey
    traverse = traverse_sd_mm(drive.axis, chainage_m, longest_sight_m(drive), given.angle_sd_sec)
    length_km = max(chainage_m - drive.axis.start_chainage_m, 0.0) / 1000.0
    levelling = given.level_sd_mm_per_sqrt_km * math.sqrt(length_km)
    return Survey(
        chainage_m, math.hypot(given.point_sd_mm, traverse), math.hypot(given.point_sd_mm, levelling)
    )


def _ahead_m(axis: Axis, chainage_m: float, station: AxisPoint) -> np.ndarray:
    """How far the point at a chainage lies ahead of stations, along its own tangent in plan."""
    end = axis.at(chainage_m)
    east = float(end.easting_m) - np.asarray(station.easting_m)
    north = float(end.northing_m) - np.asarray(station.northing_m)
    bearing = float(end.bearing_rad)
    found: np.ndarray = east * math.sin(bearing) + north * math.cos(bearing)
    return found
