"""Numbers as a person says them: with unit and direction in words, no sign to misread."""

from __future__ import annotations

import math

from steer.text import decimals, loose, within
from tui.draw.spans import cells, first_whole

SIDES = {"line": ("right", "left"), "level": ("high", "low")}
TURNS = {"line": ("right", "left"), "level": ("up", "down")}


def side(plane: str, value: float, decimals: int = 0) -> str:
    """Direction of an offset from the design axis; empty when it rounds to nothing."""
    if round(abs(value), decimals) == 0:
        return ""
    return SIDES[plane][0 if value > 0 else 1]


def turn(plane: str, value: float, decimals: int = 1) -> str:
    """Direction of a heading or articulation; empty when it rounds to nothing."""
    if round(abs(value), decimals) == 0:
        return ""
    return TURNS[plane][0 if value > 0 else 1]


def offset(plane: str, value_mm: float, decimals: int = 0, sd_mm: float = 0.0) -> str:
    """An offset such as "4 mm right"; when it rounds to nothing "on line" or "on level", or "0 mm" where it is not
    known well enough to be called that."""
    if math.isnan(value_mm):
        return "not known"
    where = side(plane, value_mm, decimals)
    if not where and not loose(sd_mm):
        return f"on {plane}"
    return f"{abs(value_mm):.{decimals}f} mm {where}".rstrip()


def heading(plane: str, value_mm_per_m: float, sd_mm_per_m: float, size: int = 40) -> str:
    """Where the front body points: "nose left 0.8 mm/m"; no direction is claimed within one sd.

    The unit goes where `size` cells are not enough.
    """
    if math.isnan(value_mm_per_m):
        return "nose not known"
    if abs(value_mm_per_m) < max(sd_mm_per_m, 0.05):
        return "nose along the axis" if size >= 19 else "nose along"
    digits = 1 if abs(value_mm_per_m) < 9.95 else 0
    said = f"nose {turn(plane, value_mm_per_m)} {abs(value_mm_per_m):.{digits}f}"
    return f"{said} mm/m" if len(said) + 5 <= size else said


def articulation(plane: str, value_mm_per_m: float) -> str:
    """An articulation such as "2.0 left"; "straight" when it rounds to nothing."""
    where = turn(plane, value_mm_per_m)
    return f"{abs(value_mm_per_m):.1f} {where}" if where else "straight"


def both_turns(right_mm_per_m: float, up_mm_per_m: float) -> str:
    """An articulation in both planes: "3.5 mm/m left, 1.2 mm/m up"; "straight" when there is none."""
    parts = [
        f"{abs(value):.1f} mm/m {turn(plane, value)}"
        for plane, value in (("line", right_mm_per_m), ("level", up_mm_per_m))
        if turn(plane, value)
    ]
    return ", ".join(parts) if parts else "straight"


def known(plane: str, value_mm: float, sd_mm: float, plus_minus: str) -> str:
    """An offset with its 95 % band, by the rule of every page: "12 mm left ± 5", "0.4 mm high ± 1.2"."""
    return f"{offset(plane, value_mm, decimals(sd_mm), sd_mm)} {plus_minus} {within(sd_mm)}"


def cylinder_place(angle_deg: float) -> str:
    """Where a cylinder sits, clockwise from the top, looking ahead: "upper right"."""
    names = ("top", "upper right", "right", "lower right", "bottom", "lower left", "left", "upper left")
    return names[round(angle_deg % 360.0 / 45.0) % 8]


def clock(angle_deg: float) -> str:
    """An angle as an hour of the clock: 45 degrees is "1:30", 90 degrees "3:00"."""
    minutes = round(angle_deg % 360.0 * 2.0) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def roll(roll_deg: float, degree: str, size: int, lead: str = "") -> str:
    """Roll of the machine in words after `lead`, in fewer where `size` cells are not enough; empty where none fit."""
    if round(abs(roll_deg), 1) == 0:
        return first_whole((f"{lead}no roll",), size)
    said = f"{abs(roll_deg):.1f}{degree} {'clockwise' if roll_deg > 0 else 'anticlockwise'}"
    return first_whole((f"{lead}{word}{said}" for word in ("rolled ", "roll ", "")), size)


def joint(text: str, size: int, whose: str = "") -> str:
    """What the path ahead asks of the joints, as the core words it, in fewer letters where room is short; at last only
    what they then bear, since a figure that lost its end reads as another. `whose`: said behind it; nothing at all
    where there is no room for that."""
    if whose:
        said = joint(text, size - cells(whose) - 1)
        return f"{said} {whose}" if cells(said) + cells(whose) < size else ""
    bare = text.replace(" turn ", " ")
    shorter = bare.replace(" bear ", " "), bare.removeprefix("joints "), f"ahead{text.partition(',')[2]}"
    return first_whole((text, *(short for short in shorter if short != "ahead")), size)


def duration(seconds: float) -> str:
    """A span of time in its largest whole unit: it changes once a minute at most."""
    minutes = int(seconds // 60)
    if minutes < 1:
        return "under a minute"
    if minutes < 120:
        return f"{minutes} min"
    hours = minutes // 60
    return f"{hours} h" if hours < 72 else f"{hours // 24} days"


def clock_time(time_iso: str | None, today: str = "") -> str:
    """Hours and minutes, UTC, of an ISO 8601 time, after its date where that is not `today`'s (ISO 8601; empty:
    not known, and no date said); a dash when there is no time."""
    if not time_iso or len(time_iso) < 16 or time_iso[10] not in "T ":
        return "-"
    return time_iso[11:16] if not today or time_iso[:10] == today else f"{time_iso[:10]} {time_iso[11:16]}"
