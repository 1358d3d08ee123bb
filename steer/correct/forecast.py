"""Forecasts as records, their bands, and the chance of arriving inside the reception eye."""

from __future__ import annotations

import math

import numpy as np

from steer.advice import ForecastPoint
from steer.correct.outlook import Outlook
from steer.drivefile import DriveFile
from steer.estimate.motion import RD, RO, RR, MotionModel, Y
from steer.estimate.nodes import Node

# Whatever the ground does is steered out again over a distance of return and a share of its lag, so the band of a
# forecast that goes on being steered grows less and less over that far. Both shares from
# tests/bench/correct_forecast.py, so that bands of 80 % hold 80 % on three kinds of ground.
ANSWERED_RETURNS, ANSWERED_LAGS = 1.3, 0.6


def taken_hold_m(node: Node, motion: MotionModel, return_m: float) -> float:
    """The distance by which what is set now has taken hold."""
    late_m = float(node.weights @ (motion.lag_m + motion.delay_m))
    return ANSWERED_RETURNS * return_m + ANSWERED_LAGS * late_m


def steered_sd(
    alone: np.ndarray, node: Node, motion: MotionModel, stroke_m: float, return_m: float
) -> np.ndarray:
    """Standard deviations (2, n) when every stroke is corrected anew, from those of a path that is not, `alone`:
    s ahead they are what those are at R·(1 − exp(−s/R)), where R is how far it takes to steer something out."""
    n = alone.shape[1]
    ahead_m = stroke_m * np.arange(n + 1)
    far_m = taken_hold_m(node, motion, return_m)
    seen_m = far_m * (1.0 - np.exp(-ahead_m[1:] / far_m))
    now = np.sqrt(node.blend()[1][:, Y, Y])
    return np.stack([np.interp(seen_m, ahead_m, [now[k], *alone[k]]) for k in (0, 1)])


def points(
    outlook: Outlook, mm: np.ndarray, sd: np.ndarray, end_m: float, face: ForecastPoint
) -> tuple[ForecastPoint, ...]:
    """A forecast (2, n) as records, up to the end of the axis; `face` is where it begins."""
    if not (np.isfinite(mm).all() and np.isfinite(sd).all()):
        return ()
    made: list[ForecastPoint] = []
    before = face
    for s, a, da, b, db in zip(outlook.chainage_m, mm[0], sd[0], mm[1], sd[1], strict=True):
        point = ForecastPoint(float(s), float(a), float(da), float(b), float(db))
        if s > end_m + 1e-6:
            if end_m - before.chainage_m > 0.01:
                made.append(_between(before, point, end_m))
            break
        made.append(point)
        before = point
    return tuple(made)


def _between(a: ForecastPoint, b: ForecastPoint, s_m: float) -> ForecastPoint:
    t = (s_m - a.chainage_m) / (b.chainage_m - a.chainage_m)
    return ForecastPoint(
        s_m,
        a.line_mm + t * (b.line_mm - a.line_mm),
        a.line_sd_mm + t * (b.line_sd_mm - a.line_sd_mm),
        a.level_mm + t * (b.level_mm - a.level_mm),
        a.level_sd_mm + t * (b.level_sd_mm - a.level_sd_mm),
    )


def at_reception(
    node: Node, forecast: tuple[ForecastPoint, ...], face: ForecastPoint, end_m: float
) -> ForecastPoint | None:
    """The face at the end of the axis, steered all the way, with no more check shots than there are.

    Beyond the forecast the reference's own error grows: what is known of it now, carried to the end,
    is added to the last band. None without a forecast.
    """
    if node.s_m >= end_m - 0.01:
        return face
    if not forecast:
        return None
    last = forecast[-1]
    if last.chainage_m >= end_m - 0.01:
        return last
    _, p = node.blend()
    index = [RO, RD, RR]
    grows = np.array([_reference_variance(p[:, index][:, :, index], s) for s in (last.chainage_m, end_m)])
    more = np.maximum(grows[1] - grows[0], 0.0)
    line, level = np.sqrt(np.square([last.line_sd_mm, last.level_sd_mm]) + more)
    return ForecastPoint(end_m, last.line_mm, float(line), last.level_mm, float(level))


def _reference_variance(p: np.ndarray, s_m: float) -> np.ndarray:
    row = np.array([1.0, s_m, 0.5 * s_m * s_m])
    found: np.ndarray = np.einsum("i,bij,j->b", row, p, row)
    return found


def eye_probability(drive: DriveFile, arrival: ForecastPoint | None) -> float | None:
    """Chance of arriving inside the eye (the tolerance where no eye is given): normal, both planes apart."""
    if arrival is None:
        return None
    eye = drive.tolerance.eye or drive.tolerance
    found = 1.0
    for value, sd, most in (
        (arrival.line_mm, arrival.line_sd_mm, eye.line_mm),
        (arrival.level_mm, arrival.level_sd_mm, eye.level_mm),
    ):
        root = max(sd, 1e-6) * math.sqrt(2.0)
        found *= 0.5 * (math.erf((most - value) / root) + math.erf((most + value) / root))
    return found if math.isfinite(found) else None
