"""The log as lines of text, and the filter over it."""

from __future__ import annotations

from dataclasses import dataclass

from tui.draw import words
from tui.source import LoggedEvent

# Filter name -> kinds it takes; an empty set takes every kind.
FILTERS: dict[str, frozenset[str]] = {
    "all but readings": frozenset(),
    "notes and decisions": frozenset({"note", "advised", "accepted", "overridden", "undone"}),
    "surveys": frozenset(
        {
            "check_shot",
            "shot_accepted",
            "shot_rejected",
            "withdrawn",
            "restored",
            "reference_set",
            "chainage_set",
            "file",
        }
    ),
    "readings": frozenset({"reading"}),
    "everything": frozenset(),
}


@dataclass(frozen=True)
class LogLine:
    """One event in one line."""

    sequence: int
    arrived: str
    kind: str
    text: str


def line_of(event: LoggedEvent) -> LogLine:
    """What an event says, chainage first; fields without a phrase of their own by name and value."""
    body = dict(event.body)
    parts: list[str] = []
    if _is_number(body.get("chainage_m")):
        parts.append(f"at {float(str(body.pop('chainage_m'))):.2f} m")
    for key in ("text", "note"):
        if body.get(key):
            parts.append(str(body.pop(key)))
    right, up = body.get("right_mm_per_m"), body.get("up_mm_per_m")
    if _is_number(right) and _is_number(up):
        parts.append(words.both_turns(float(str(right)), float(str(up))))
        del body["right_mm_per_m"], body["up_mm_per_m"]
    for plane in ("line", "level"):
        if _is_number(body.get(f"{plane}_mm")):
            parts.append(f"{plane} {words.offset(plane, float(str(body.pop(f'{plane}_mm'))), 1)}")
    cylinders = body.get("cylinder_mm")
    if isinstance(cylinders, list | tuple) and cylinders:
        parts.append(f"cylinders {' '.join(_value(v) for v in cylinders[:24])} mm")
        del body["cylinder_mm"]
    parts += [f"{key} {_value(value)}" for key, value in body.items() if value is not None]
    return LogLine(event.sequence, event.arrived, event.kind, ", ".join(parts)[:300])


def passes(line: LogLine, name: str, search: str) -> bool:
    """Whether a line is shown under a filter and a search text (case does not matter)."""
    if name == "all but readings":
        wanted = line.kind not in ("reading", "stroke_end")
    else:
        kinds = FILTERS.get(name, frozenset())
        wanted = not kinds or line.kind in kinds
    return wanted and (not search or search.lower() in f"{line.kind} {line.text}".lower())


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _value(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".")
    if isinstance(value, list | tuple):
        return "[" + " ".join(_value(v) for v in value[:8]) + "]"
    if isinstance(value, dict):
        return "{" + " ".join(f"{k} {_value(v)}" for k, v in list(value.items())[:6]) + "}"
    return str(value)[:60]
