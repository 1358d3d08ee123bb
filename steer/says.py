"""The advice as the contract's JSON object, and as twelve lines for a person."""

from __future__ import annotations

import textwrap
from typing import Any

from steer.advice import Advice, Correction, ForecastPoint
from steer.text import SIDES, TURNS, chance, figure, within

CAUTION = (
    "It advises; it moves nothing. The machine's manual, the project specification, local codes and licensed "
    "practice come first."
)

SHORT_CAUTION = "It advises only: manual, specification, local codes, licensed practice rule."


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
        "at_reception": None if advice.at_reception is None else _point(advice.at_reception),
        "joint": advice.joint,
        "trusted": advice.trusted,
    }  # fmt: skip


def side(value: float, sd: float, positive: str, negative: str, unit: str = "mm") -> str:
    """`4 mm right ± 3`, with direction in words; ± is 95 %, rounded up."""
    text = figure(value, sd)
    word = "" if float(text) == 0.0 else f" {positive if value > 0 else negative}"
    return f"{text} {unit}{word} ± {within(sd)}"


def change_words(now: float, to: float, positive: str, negative: str, word: str = "now") -> str:
    """`right 3.5 mm/m (now left 1.0)`; another `word` than now where nobody reads it."""

    def one(value: float) -> str:
        text = f"{abs(value):.1f}"
        return "straight" if text == "0.0" else f"{positive if value > 0 else negative} {text}"

    unit = "" if one(to) == "straight" else " mm/m"
    return f"{one(to)}{unit} ({word} {one(now)})"


def page(
    name: str, advice: Advice, end_m: float, as_of: str = "", own: bool = False, told: bool = False
) -> str:
    """The next correction for a person at a terminal, 80 columns wide: twelve lines, and the notices. `as_of`: of what
    time it is, and what was decided since; `own`: a setting that is not this proposal; `told`: nobody reads the
    cylinders, and what was told last is taken as how they stand."""
    e = advice.estimate
    rows = [
        f"{name}"[:80],
        f"stroke {advice.stroke}, face at {advice.chainage_m:.2f} m, "
        f"{max(end_m - advice.chainage_m, 0.0):.1f} m to the reception shaft{_survey(advice)}",
        _row("line", f"{_place(e.line_mm, e.line_sd_mm, 0):18} nose "
             f"{side(e.yaw_mm_per_m, e.yaw_sd_mm_per_m, 'right', 'left', 'mm/m')}"),
        _row("level", f"{_place(e.level_mm, e.level_sd_mm, 1):18} nose "
             f"{side(e.pitch_mm_per_m, e.pitch_sd_mm_per_m, 'up', 'down', 'mm/m')}"),
    ]  # fmt: skip
    if as_of:
        rows.extend(_wrapped("as of", as_of))
    rows.extend(
        _setting(advice, own, told) if advice.trusted else [_row("set", "NO CORRECTION PROPOSED: see below")]
    )
    if advice.trusted:
        rows.extend(_ahead(advice))
    for notice in advice.notices:
        rows.extend(_wrapped("!", notice.text))
    rows.append(SHORT_CAUTION)
    return "\n".join(rows)


def _row(label: str, text: str) -> str:
    return f"{label:9}{text}"


def _wrapped(label: str, text: str) -> list[str]:
    return textwrap.wrap(_row(label, text), 80, subsequent_indent=" " * 9)


def _place(value: float, sd: float, plane: int) -> str:
    return side(value, sd, *SIDES[plane])


def _setting(advice: Advice, own: bool, told: bool) -> list[str]:
    """What to set, or was proposed where the crew set its own, cylinder by cylinder, and why."""
    c, now = advice.correction, advice.cylinder_now_mm
    label, word = "PROPOSED" if own else "SET", "told" if told else "now"
    if c.hold:
        held = "as they stood" if own else "as set"
        rows = [_row(label, f"HOLD: leave the cylinders {held}, {_held(c)}")]
    else:
        rows = [
            _row(label, f"{change_words(advice.now_right_mm_per_m, c.right_mm_per_m, 'right', 'left', word)}, "
                 f"{change_words(advice.now_up_mm_per_m, c.up_mm_per_m, 'up', 'down', word)}")
        ]  # fmt: skip
    cells = []
    for i, to in enumerate(c.cylinder_mm):
        read = float("nan") if now is None else now[i]
        figure_mm, was = f"{to:.5g}", ""
        if c.hold and read == read:  # not to be moved by the tenths between what was set and what is read
            figure_mm = f"{round(read, 1):g}"
        elif abs(read - to) >= 0.05:
            was = f"\xa0({round(read, 1):g})"
        cells.append(f"{i + 1}:\xa0{figure_mm}{was}")
    rows.extend(
        line.replace("\xa0", " ")
        for line in _wrapped(
            f"mm, {word}" if (c.hold and now is not None) or told else "mm" if c.hold else "mm (now)",
            "  ".join(cells),
        )
    )
    rows.extend(_wrapped("why", advice.reason))
    return rows


def _held(correction: Correction) -> str:
    """What the setting that is held makes: cylinders are read some tenths beside what they are set to."""
    return turned(correction.right_mm_per_m, correction.up_mm_per_m)


def turned(right_mm_per_m: float, up_mm_per_m: float) -> str:
    """`3.5 mm/m right, 1.0 mm/m down`, or straight."""
    parts = [
        f"{abs(value):.1f} mm/m {sides[0 if value > 0 else 1]}"
        for value, sides in zip((right_mm_per_m, up_mm_per_m), TURNS, strict=True)
        if round(abs(value), 1) > 0.0
    ]
    return ", ".join(parts) or "straight"


def _ahead(advice: Advice) -> list[str]:
    """The forecast with and without, by the names and at the place of the screens' strips; the arrival, the joints."""
    rows = []
    if advice.forecast and advice.forecast_unchanged:
        k = min(len(advice.forecast), len(advice.forecast_unchanged)) - 1
        f, u = advice.forecast[k], advice.forecast_unchanged[k]
        rows.append(_row("steered" if advice.correction.hold else "with", _both(f)))
        if not advice.correction.hold:
            rows.append(_row("without", _both(u)))
    last = []
    if advice.eye_probability is not None:
        last.append(f"inside the eye {chance(advice.eye_probability)}")
    if advice.joint:
        last.append(advice.joint)
    if last:
        rows.extend(_wrapped("arrive" if advice.eye_probability is not None else "joints", "; ".join(last)))
    return rows


def _survey(advice: Advice) -> str:
    if advice.next_survey_m is None:
        return ""
    due = advice.next_survey_m - advice.chainage_m
    return "; survey now" if due <= 0 else f"; survey by {advice.next_survey_m:.0f} m"


def _both(p: ForecastPoint) -> str:
    place = f"at {p.chainage_m:.1f} m: line {_place(p.line_mm, p.line_sd_mm, 0)}"
    return f"{place}, level {_place(p.level_mm, p.level_sd_mm, 1)}"
