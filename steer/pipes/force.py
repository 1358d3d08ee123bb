"""Jacking force stroke by stroke, its forecast, and where a limit would be reached."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.pipes.friction import Stretch

AFTER_A_STOP = 1.4  # a stop of some hours: 20 to 40 % more (V. Chu, A Self-Learning Manual, p. 328)
_AHEAD_M = 0.1


@dataclass(frozen=True)
class StrokeForces:
    """Arrays (n,) over strokes that had a force: face chainage at the end; median force while advancing
    and the largest of all readings (kN), with the chainage of the largest; median face pressure (kPa,
    NaN where not measured) and the lubricant counter (l, NaN)."""

    chainage_m: np.ndarray
    force_kn: np.ndarray
    largest_kn: np.ndarray
    largest_at_m: np.ndarray
    face_pressure_kpa: np.ndarray
    lubricant_l: np.ndarray

    def __len__(self) -> int:
        return len(self.chainage_m)


def stroke_forces(
    readings: Iterable[Mapping[str, Any]], start_m: float, stroke_m: float, upto_m: float = np.inf
) -> StrokeForces:
    """Gather bodies of readings, in the order they came, into strokes of `stroke_m` from `start_m`.

    A reading advances when its chainage is new ground and its speed, if told, is not 0. Chainages
    before `start_m` or beyond `upto_m` are slips of the counter and left out.
    """
    table = [
        (body["chainage_m"], body["jacking_force_kn"], *(body.get(name) for name in
         ("advance_mm_per_min", "face_pressure_kpa", "lubricant_l")))
        for body in readings
        if body.get("jacking_force_kn") is not None and start_m - 1.0 <= body["chainage_m"] <= upto_m + 0.5
    ]  # fmt: skip
    if not table:
        none = np.zeros(0)
        return StrokeForces(none, none, none, none, none, none)
    data = np.array([[np.nan if v is None else v for v in row] for row in table], float)
    top = np.maximum.accumulate(data[:, 0])
    new_ground = np.diff(top, prepend=top[0]) > 0.0
    advancing = new_ground & ((data[:, 2] > 0.0) | np.isnan(data[:, 2]))
    stroke = np.maximum(np.ceil((top - start_m) / stroke_m - 1e-6), 0).astype(int)
    rows = []
    for number in np.unique(stroke):
        mine = stroke == number
        moving = mine & advancing
        used = moving if moving.any() else mine
        peak = int(np.flatnonzero(mine)[np.argmax(data[mine, 1])])
        rows.append(
            (
                float(top[mine][-1]),
                float(np.median(data[used, 1])) if moving.any() else np.nan,
                float(data[peak, 1]),
                float(data[peak, 0]),
                _median(data[used, 3]),
                _median(data[used, 4]),
            )
        )
    columns = np.array(rows, float).T
    return StrokeForces(*columns)


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else np.nan


def face_share_kn(face_pressure_kpa: np.ndarray, machine_diameter_mm: float) -> np.ndarray:
    """The part of the force that the pressure on the face takes up: pressure times the face's area."""
    return np.asarray(face_pressure_kpa, float) * np.pi * (machine_diameter_mm / 2000.0) ** 2


@dataclass(frozen=True)
class ForceForecast:
    """Force at chainages ahead (n,) if the last stretch's friction and the face's share go on, with a
    95 % band (kN). A restart after a stop of some hours needs up to AFTER_A_STOP times as much."""

    chainage_m: np.ndarray
    force_kn: np.ndarray
    low_kn: np.ndarray
    high_kn: np.ndarray


def forecast_force(last: Stretch, face_kn: float, end_m: float) -> ForceForecast:
    """From the end of the last stretch to `end_m`; one point when it is there already."""
    count = max(int(np.ceil((end_m - last.to_m) / _AHEAD_M)), 0)
    at = np.linspace(last.to_m, max(end_m, last.to_m), count + 1)
    ahead = at - last.to_m
    middle = last.level_kn + face_kn + last.slope_kn_per_m * ahead
    slope_sd = (last.slope_high_kn_per_m - last.slope_low_kn_per_m) / (2.0 * 1.96)
    half = 1.96 * np.hypot(last.scatter_kn, slope_sd * ahead)
    return ForceForecast(at, middle, middle - half, middle + half)


@dataclass(frozen=True)
class LimitReached:
    """Where the force meets a limit: `measured_m` where it already did; else `expected_m` by the
    forecast, `earliest_m` by its band's upper edge, and `restart_m` where a restart after a stop of some
    hours could; None: not before the end."""

    name: str
    limit_kn: float
    measured_m: float | None
    expected_m: float | None
    earliest_m: float | None
    restart_m: float | None = None


def limit_reached(
    name: str, limit_kn: float, forces: StrokeForces, forecast: ForceForecast | None
) -> LimitReached:
    """An intermediate jacking station must be in the string before the chainage that this gives: by
    common practice it starts when the available thrust no longer suffices."""
    over = np.flatnonzero(forces.largest_kn > limit_kn)
    if over.size:
        return LimitReached(name, limit_kn, float(forces.largest_at_m[over[0]]), None, None)
    if forecast is None:
        return LimitReached(name, limit_kn, None, None, None)

    def first(force: np.ndarray) -> float | None:
        at = np.flatnonzero(force > limit_kn)
        return float(forecast.chainage_m[at[0]]) if at.size else None

    restart = first(AFTER_A_STOP * forecast.force_kn)
    return LimitReached(name, limit_kn, None, first(forecast.force_kn), first(forecast.high_kn), restart)
