"""Why, in one plain line for the operator."""

from __future__ import annotations

import numpy as np

from steer.advice import FaceEstimate
from steer.text import PLANES, SIDES, TURNS, within

EITHER_WAY = (
    "Not a correction: it is in doubt which way the machine answers, and this setting does least harm either way. "
    "Check the mapping of cylinders and target first"
)
_MUCH = 0.5  # share of the tolerance from which on an offset is spoken of beside a larger one; own choice


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
    opposite: bool = False,
    bound: str = "",
    tolerance_mm: tuple[float, float] = (np.inf, np.inf),
    cut: str = "",
) -> str:
    """One line: where the face is and where it points, what is done, and where it is back on line.

    `now` (2,) articulation as it stands, `planned` (2, n) to come, `forecast_mm` (2, m) with it at `chainage_m` (m,),
    the same as is drawn and printed; m is 0 where nothing is foreseen. A plane
    in which something changes is spoken of, both when both change, the larger change first; when
    nothing changes, the one that is further off, and both where both are off by half of `tolerance_mm`. `bound`
    says which limit makes it hold, `cut` which one makes the change less than wanted; empty where none does.
    """
    if opposite:
        return f"{EITHER_WAY}."
    change = planned[:, 0] - now
    offset = np.array([estimate.line_mm, estimate.level_mm])
    doubt = np.array([estimate.line_sd_mm, estimate.level_sd_mm])
    if hold or not (np.abs(change) >= 0.05).any():
        planes = np.argsort(-np.abs(offset)).tolist()
        if not (np.abs(offset) >= _MUCH * np.array(tolerance_mm)).all():
            planes = planes[:1]
        where = "; ".join(_where(estimate, plane, len(planes) > 1) for plane in planes)
        backs = [_back(p, chainage_m, forecast_mm[p], doubt[p], offset[p]) for p in planes]
        why = bound or "a change now would gain less than it costs"
        back = ", ".join(filter(None, backs))
        return f"{where}. Hold: {why}{back and '; '}{back}."
    said = []
    both = bool((np.abs(change) >= 0.05).all())
    for plane in np.argsort(-np.abs(change)).tolist():
        if abs(change[plane]) < 0.05:
            continue
        way = TURNS[plane][0 if change[plane] > 0 else 1]
        back = _back(plane, chainage_m, forecast_mm[plane], doubt[plane], offset[plane])
        spell = _spell(planned[plane], now[plane], change[plane])
        said.append(
            f"{_where(estimate, plane, both)}: {way} by {_figure(change[plane])} mm/m{spell}{back and ', '}{back}."
        )
    if cut:
        said.append(f"Cut short {cut}.")
    return " ".join(said)


def _where(estimate: FaceEstimate, plane: int, short: bool = False) -> str:
    """`4 mm high, nose 1.3 mm/m down`, `4 mm high, nose down`; no direction within one sd, but then the 95 %
    band that stands behind ± on every page."""
    offset, sd = ((estimate.line_mm, estimate.line_sd_mm), (estimate.level_mm, estimate.level_sd_mm))[plane]
    heading, heading_sd = (
        (estimate.yaw_mm_per_m, estimate.yaw_sd_mm_per_m),
        (estimate.pitch_mm_per_m, estimate.pitch_sd_mm_per_m),
    )[plane]
    side = SIDES[plane][0 if offset > 0 else 1]
    figure = f"{abs(offset):.0f}" if sd >= 0.95 else _figure(offset)
    where = f"On {PLANES[plane]} within {within(sd)} mm" if abs(offset) < sd else f"{figure} mm {side}"
    if abs(heading) > heading_sd:
        turned = TURNS[plane][0 if heading > 0 else 1]
        where += f", nose {turned}" if short else f", nose {_figure(heading)} mm/m {turned}"
    return where


def _spell(planned: np.ndarray, now: float, change: float) -> str:
    strokes = 1
    while strokes < len(planned) and (planned[strokes] - now) * change > 0.25 * change**2:
        strokes += 1
    return f" for {strokes} strokes" if 1 < strokes < len(planned) else ""


def _back(plane: int, chainage_m: np.ndarray, forecast_mm: np.ndarray, doubt: float, offset: float) -> str:
    if not len(chainage_m):
        return ""
    near = np.abs(forecast_mm) < max(2.0, doubt)
    inside = [i for i in range(len(near)) if near[i:].all()]
    if not inside:
        end = forecast_mm[-1]
        side = SIDES[plane][0 if end > 0 else 1]
        word = "still" if end * offset > 0.0 else "then"
        return f"{word} {abs(end):.0f} mm {side} at {chainage_m[-1]:.1f} m"
    if inside[0] == 0 and abs(offset) < max(2.0, doubt):
        return f"stays on {PLANES[plane]}"
    return f"back on {PLANES[plane]} near {chainage_m[inside[0]]:.0f} m"
