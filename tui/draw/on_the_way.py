"""How far the face goes out before it comes to where the forecast ends: the end alone may look better than the way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tui.draw import words
from tui.draw.limits import limit_mm
from tui.draw.scene import Scene, own_setting
from tui.draw.stretch import foreseen

if TYPE_CHECKING:
    from steer.advice import ForecastPoint

LEAST_MM = 5.0  # further out than face and end by less is not worth a row; own choice, no source
SHARE = 0.1  # of the limit, likewise


def said(scene: Scene) -> str:
    """The largest offset on the way for each plane in which it lies clearly beyond both the face and the forecast's
    end, with its chainage, and that end: "Own: up to 31 mm right at 106.0 m, then 8 mm right at 115.2 m."; else
    empty."""
    snapshot, ahead = scene.snapshot, foreseen(scene)[0]
    if snapshot is None or snapshot.advice is None or not ahead:
        return ""
    e, end = snapshot.advice.estimate, ahead[-1]
    parts = []
    for plane, now, last, sd in (
        ("line", e.line_mm, end.line_mm, end.line_sd_mm),
        ("level", e.level_mm, end.level_mm, end.level_sd_mm),
    ):
        way = [(p.line_mm if plane == "line" else p.level_mm, p.chainage_m) for p in ahead]
        clear = max(LEAST_MM, SHARE * limit_mm(snapshot, plane, ahead[0].chainage_m, end.chainage_m))
        out = [
            (value, at_m)
            for value, at_m in way
            if max(value - max(now, last), min(now, last) - value, 0.0) >= clear
            and abs(value) >= abs(last) + clear
        ]
        if out:
            most, at_m = max(out, key=lambda point: abs(point[0]))
            there = words.offset(plane, last, sd_mm=sd)
            parts.append(f"up to {words.offset(plane, most)} at {at_m:.1f} m, then {there}")
    if not parts:
        return ""
    whose = "Own" if own_setting(scene) else "On the way"
    return f"{whose}: {'; '.join(parts)} at {end.chainage_m:.1f} m."


def furthest(ahead: Sequence[ForecastPoint]) -> str:
    """The largest offset ahead in each plane and where: "31 mm right at 106.0 m, 8 mm low at 101.9 m"; empty
    without a forecast."""
    if not ahead:
        return ""
    line, level = max(ahead, key=lambda p: abs(p.line_mm)), max(ahead, key=lambda p: abs(p.level_mm))
    return (
        f"{words.offset('line', line.line_mm, sd_mm=line.line_sd_mm)} at {line.chainage_m:.1f} m, "
        f"{words.offset('level', level.level_mm, sd_mm=level.level_sd_mm)} at {level.chainage_m:.1f} m"
    )
