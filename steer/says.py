"""The advice as the contract's JSON object, and as twelve lines for a person."""

from __future__ import annotations

import textwrap
from typing import Any

from steer.advice import Advice, ForecastPoint

CAUTION = (
    "It advises; it moves nothing. The machine's manual, the project specification, local codes and licensed "
    "practice come first."
)


def _r(value: float, digits: int = 3) -> float:
    return round(float(value), digits) + 0.0


def _point(point: ForecastPoint) -> dict[str, float]:
    return {
        "chainage_m": _r(point.chainage_m),
        "line_mm": _r(point.line_mm),
        "line_sd_mm": _r(point.line_sd_mm),
        "level_mm": _r(point.level_mm),
        "level_sd_mm": _r(point.level_sd_mm),
    }


def advice_object(advice: Advice) -> dict[str, Any]:
    """The contract's `advice` object without its `kind`; keys beyond the contract come last."""
    e, c = advice.estimate, advice.correction
    return {
        "stroke": advice.stroke,
        "chainage_m": _r(advice.chainage_m),
        "estimate": {
            "line_mm": _r(e.line_mm), "line_sd_mm": _r(e.line_sd_mm),
            "level_mm": _r(e.level_mm), "level_sd_mm": _r(e.level_sd_mm),
            "yaw_mm_per_m": _r(e.yaw_mm_per_m), "yaw_sd_mm_per_m": _r(e.yaw_sd_mm_per_m),
            "pitch_mm_per_m": _r(e.pitch_mm_per_m), "pitch_sd_mm_per_m": _r(e.pitch_sd_mm_per_m),
        },
        "correction": {
            "right_mm_per_m": _r(c.right_mm_per_m), "up_mm_per_m": _r(c.up_mm_per_m),
            "cylinder_mm": [_r(v) for v in c.cylinder_mm], "hold": c.hold,
        },
        "forecast": [_point(p) for p in advice.forecast],
        "notices": [
            {"code": n.code, "text": n.text, "since_chainage_m": _r(n.since_chainage_m)} for n in advice.notices
        ],
        "reason": advice.reason,
        "forecast_unchanged": [_point(p) for p in advice.forecast_unchanged],
        "roll_deg": _r(advice.roll_deg),
        "next_survey_m": None if advice.next_survey_m is None else _r(advice.next_survey_m, 1),
        "eye_probability": None if advice.eye_probability is None else _r(advice.eye_probability),
        "trusted": advice.trusted,
    }  # fmt: skip


def figure(value: float, sd: float) -> str:
    """As many digits as the uncertainty earns: whole from one sd of 1 upward, else one decimal."""
    return f"{abs(value):.0f}" if sd >= 0.95 else f"{abs(value):.1f}"


def side(value: float, sd: float, positive: str, negative: str, unit: str = "mm") -> str:
    """`4 mm right ± 3`, with direction in words; ± is 95 %."""
    text = figure(value, sd)
    word = "" if float(text) == 0.0 else f" {positive if value > 0 else negative}"
    return f"{text} {unit}{word} ± {figure(1.96 * sd, sd)}"


def change_words(now: float, to: float, positive: str, negative: str) -> str:
    """`right 3.5 mm/m (now left 1.0)`."""

    def one(value: float) -> str:
        text = f"{abs(value):.1f}"
        return "straight" if text == "0.0" else f"{positive if value > 0 else negative} {text}"

    unit = "" if one(to) == "straight" else " mm/m"
    return f"{one(to)}{unit} (now {one(now)})"


def page(name: str, advice: Advice, end_m: float) -> str:
    """The next correction for a person at a terminal, 80 columns wide."""
    e, c = advice.estimate, advice.correction
    rows = [
        f"{name}",
        f"stroke {advice.stroke}, face at {advice.chainage_m:.2f} m, "
        f"{end_m - advice.chainage_m:.1f} m to the reception shaft",
        f"line   {side(e.line_mm, e.line_sd_mm, 'right', 'left')}, nose "
        f"{side(e.yaw_mm_per_m, e.yaw_sd_mm_per_m, 'right', 'left', 'mm/m')}",
        f"level  {side(e.level_mm, e.level_sd_mm, 'high', 'low')}, nose "
        f"{side(e.pitch_mm_per_m, e.pitch_sd_mm_per_m, 'up', 'down', 'mm/m')}",
    ]
    if not advice.trusted:
        rows.append("set    NO CORRECTION PROPOSED: see the notices")
    elif c.hold:
        rows.append("set    HOLD: leave the cylinders as they are")
    else:
        rows.append(f"set    {change_words(advice.now_right_mm_per_m, c.right_mm_per_m, 'right', 'left')}")
        rows.append(f"       {change_words(advice.now_up_mm_per_m, c.up_mm_per_m, 'up', 'down')}")
    if advice.trusted:
        now = advice.cylinder_now_mm
        cells = []
        for i, to in enumerate(c.cylinder_mm):
            was = "" if now is None or abs(now[i] - to) < 0.05 else f" (now {now[i]:g})"
            cells.append(f"{i + 1}: {to:g}{was}")
        rows.append("mm     " + "   ".join(cells))
        rows.extend(textwrap.wrap("why    " + advice.reason, 80, subsequent_indent="       "))
        if advice.forecast:
            k = min(len(advice.forecast), 5) - 1
            f, u = advice.forecast[k], advice.forecast_unchanged[k]
            rows.append(
                f"then   at {f.chainage_m:.1f} m: line {side(f.line_mm, f.line_sd_mm, 'right', 'left')}, "
                f"level {side(f.level_mm, f.level_sd_mm, 'high', 'low')}"
            )
            if not c.hold:
                rows.append(
                    f"       left alone: line {side(u.line_mm, u.line_sd_mm, 'right', 'left')}, "
                    f"level {side(u.level_mm, u.level_sd_mm, 'high', 'low')}"
                )
    if advice.next_survey_m is not None:
        due = advice.next_survey_m - advice.chainage_m
        rows.append(
            f"survey {'due now' if due <= 0 else f'due by {advice.next_survey_m:.0f} m, in {due:.0f} m'}"
        )
    for notice in advice.notices:
        rows.extend(textwrap.wrap(f"!      {notice.text}", 80, subsequent_indent="       "))
    rows.extend(textwrap.wrap(CAUTION, 80))
    return "\n".join(rows)
