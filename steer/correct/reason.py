"""Why, in one plain line for the operator."""

from __future__ import annotations

import numpy as np

from steer.advice import FaceEstimate

_SIDES = (("right", "left"), ("high", "low"))
_TURNS = (("right", "left"), ("up", "down"))


def _figure(value: float) -> str:
    size = abs(value)
    return f"{size:.0f}" if size >= 9.95 else f"{size:.1f}"


def say_why(
    estimate: FaceEstimate,
    now: np.ndarray,
    planned: np.ndarray,
    hold: bool,
    chainage_m: np.ndarray,
    forecast_mm: np.ndarray,
) -> str:
    """One line: where the face is and where it points, what is done, and where it is back on line.

    `now` (2,) articulation as it stands, `planned` (2, n) to come, `forecast_mm` (2, n) with it.
    """
    offset = (estimate.line_mm, estimate.level_mm)
    heading = (estimate.yaw_mm_per_m, estimate.pitch_mm_per_m)
    doubt = (estimate.line_sd_mm, estimate.level_sd_mm)
    heading_doubt = (estimate.yaw_sd_mm_per_m, estimate.pitch_sd_mm_per_m)
    change = planned[:, 0] - now
    # the plane that moves most, or is furthest off when nothing moves
    size = np.abs(change) if not hold else np.abs(offset)
    plane = int(np.argmax(size))
    side = _SIDES[plane][0 if offset[plane] > 0 else 1]
    where = (
        f"Face on {('line', 'level')[plane]} within {doubt[plane]:.0f} mm"
        if abs(offset[plane]) < doubt[plane]
        else f"Face {_figure(offset[plane])} mm {side}"
    )
    if abs(heading[plane]) > heading_doubt[plane]:
        turned = _TURNS[plane][0 if heading[plane] > 0 else 1]
        where += f", nose {_figure(heading[plane])} mm/m {turned}"
    if hold:
        end = forecast_mm[plane]
        return f"{where}. Hold: a change now would gain less than it costs; {_back(plane, chainage_m, end, doubt[plane])}"
    way = _TURNS[plane][0 if change[plane] > 0 else 1]
    strokes = 1
    while (
        strokes < planned.shape[1]
        and (planned[plane, strokes] - now[plane]) * change[plane] > 0.25 * change[plane] ** 2
    ):
        strokes += 1
    spell = f" for {strokes} strokes" if 1 < strokes < planned.shape[1] else ""
    return (
        f"{where}. {way.capitalize()} {_figure(change[plane])} mm/m{spell}; "
        f"{_back(plane, chainage_m, forecast_mm[plane], doubt[plane])}"
    )


def _back(plane: int, chainage_m: np.ndarray, forecast_mm: np.ndarray, doubt: float) -> str:
    name = ("line", "level")[plane]
    near = np.abs(forecast_mm) < max(2.0, doubt)
    inside = [i for i in range(len(near)) if near[i:].all()]
    if not inside:
        end = forecast_mm[-1]
        side = _SIDES[plane][0 if end > 0 else 1]
        return f"{_figure(end)} mm {side} expected at {chainage_m[-1]:.0f} m."
    if inside[0] == 0:
        return f"stays on {name}."
    return f"back on {name} near {chainage_m[inside[0]]:.0f} m."
