"""Reads a steering setting as an operator types it."""

from __future__ import annotations

import re

_WORDS = {
    "line": {"r": 1.0, "right": 1.0, "l": -1.0, "left": -1.0},
    "level": {"u": 1.0, "up": 1.0, "d": -1.0, "down": -1.0},
}
_NUMBER = re.compile(r"[+-]?\d{1,3}(?:[.,]\d{1,2})?")


def parse(plane: str, text: str) -> float | str:
    """A setting in mm/m (+ right, + up), or what is wrong with the text.

    Understood: "3.5 left", "left 3.5", "l3,5", "0"; a number other than 0 needs its direction.
    """
    directions = "right or left" if plane == "line" else "up or down"
    cleaned = text.strip().lower().replace("mm/m", "").strip()
    match = _NUMBER.search(cleaned)
    if not match:
        return f"type a number and {directions}"
    value = float(match.group().replace(",", "."))
    rest = (cleaned[: match.start()] + cleaned[match.end() :]).strip()
    if rest in _WORDS[plane]:
        if match.group()[0] in "+-":
            return f"a sign or a direction, not both: {text.strip()}"
        return value * _WORDS[plane][rest]
    if rest:
        return f"{rest!r} is not {directions}"
    if value != 0.0:
        return f"{match.group()} needs its direction: {directions}"
    return 0.0
