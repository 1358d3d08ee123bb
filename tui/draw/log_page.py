"""The log as lines of text, and the filter over it."""

from __future__ import annotations

from dataclasses import dataclass

from tui.source import LoggedEvent

# Filter name -> kinds; an empty set takes every kind.
FILTERS: dict[str, frozenset[str]] = {
    "all but readings": frozenset(),
    "notes and decisions": frozenset({"note", "accepted", "overridden", "accept", "override", "undo"}),
    "check shots": frozenset({"check_shot", "shot_word", "file"}),
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
    """What an event says, its largest fields only."""
    body = event.body
    said = body.get("text") or body.get("note")
    if said:
        text = str(said)
    else:
        parts = [f"{key} {_value(value)}" for key, value in body.items() if value is not None]
        text = ", ".join(parts)
    return LogLine(event.sequence, event.arrived, event.kind, text[:300])


def passes(line: LogLine, name: str, search: str) -> bool:
    """Whether a line is shown under a filter and a search text (case does not matter)."""
    if name == "all but readings":
        wanted = line.kind not in ("reading", "stroke_end")
    else:
        kinds = FILTERS.get(name, frozenset())
        wanted = not kinds or line.kind in kinds
    return wanted and (not search or search.lower() in f"{line.kind} {line.text}".lower())


def _value(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".")
    if isinstance(value, list | tuple):
        return "[" + " ".join(_value(v) for v in value[:8]) + "]"
    if isinstance(value, dict):
        return "{" + " ".join(f"{k} {_value(v)}" for k, v in list(value.items())[:6]) + "}"
    return str(value)
