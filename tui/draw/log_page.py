"""The log as lines of text, and the filter over it."""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass

from steer.text import printable
from tui.draw import words
from tui.draw.spans import Row, wrap
from tui.source import LoggedEvent

# Filter name -> kinds it takes; an empty set takes every kind.
FILTERS: dict[str, frozenset[str]] = {
    "all but readings": frozenset(),
    "notes and decisions": frozenset({"note", "accepted", "overridden", "undone"}),
    "advised": frozenset({"advised"}),
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


# Field -> its name, its unit, where it points when positive and when negative.
_SIGNED = {
    "spot_right_mm": ("spot", "mm", ("right", "left")),
    "spot_up_mm": ("spot", "mm", ("up", "down")),
    "yaw_mm_per_m": ("yaw", "mm/m", ("right", "left")),
    "pitch_mm_per_m": ("pitch", "mm/m", ("up", "down")),
    "roll_deg": ("roll", "degrees", ("clockwise", "anticlockwise")),
}
_UNITS = {
    "_mm_per_min": "mm/min",
    "_mm_per_m": "mm/m",
    "_kpa": "kPa",
    "_knm": "kNm",
    "_kn": "kN",
    "_deg": "degrees",
    "_mm": "mm",
    "_m": "m",
    "_l": "l",
}


@dataclass(frozen=True, slots=True)
class LogLine:
    """One event in one line. Thousands are held: no dictionary each, and one name for all of a kind."""

    sequence: int
    arrived: str
    kind: str
    text: str


def line_of(event: LoggedEvent) -> LogLine:
    """What an event says, chainage first; fields without a phrase of their own by name, value and unit."""
    body = dict(event.body)
    parts: list[str] = []
    if event.kind == "file" and isinstance(body.get("name"), str):
        parts.append(_file_read(body))
    if event.kind == "drive_file":
        parts.append("drive.toml as it stands: what follows is advised and decided with it")
        body = {}
    if event.kind in ("advised", "accepted", "overridden") and _is_number(body.get("stroke")):
        parts.append(
            f"stroke {int(str(body.pop('stroke'))) + 1}"
        )  # counted from 1, as on the stroke's screen
    if taken_back(event) is not None:
        parts.append(f"event {body.pop('event')} is taken back")
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
            value = float(str(body.pop(f"{plane}_mm")))
            parts.append(
                f"{plane} {words.offset(plane, value, 1, math.inf)}"
            )  # as told, with no sd beside it
    for key, (name, unit, sides) in _SIGNED.items():
        if _is_number(body.get(key)):
            value = float(str(body.pop(key)))
            parts.append(f"{name} {_value(abs(value))} {unit} {sides[value < 0] if value else ''}".rstrip())
    if isinstance(body.get("time"), str):
        parts.append(f"taken {str(body.pop('time'))[:19].replace('T', ' ')} UTC")
    cylinders = body.get("cylinder_mm")
    if isinstance(cylinders, list | tuple) and cylinders:
        parts.append(f"cylinders {' '.join(_value(v) for v in cylinders[:24])} mm")
        del body["cylinder_mm"]
    codes = body.get("notices")
    if isinstance(codes, list) and codes:
        parts.append(f"while noticed: {', '.join(map(str, codes)).replace('_', ' ')}")
        del body["notices"]
    passed = body.pop("beyond", None)
    if isinstance(passed, list) and passed:
        parts.append(f"beyond: {', '.join(map(str, passed)).replace('_', ' ')}")
    # What is so is named, what is not so goes without saying.
    parts += [key.replace("_", " ") for key, value in body.items() if value is True]
    parts += [
        _named(key, value) for key, value in body.items() if value is not None and not isinstance(value, bool)
    ]
    kind = sys.intern(event.kind)
    return LogLine(event.sequence, event.arrived, kind, printable(", ".join(parts)[:600]))


def taken_back(event: LoggedEvent) -> int | None:
    """The sequence of the event that this one takes back; None of any other."""
    told = event.body.get("event")
    return int(str(told)) if event.kind in ("undone", "restored") and _is_number(told) else None


def with_fate(line: LogLine, undone: Mapping[int, int]) -> str:
    """What an event says, after that it no longer holds where a later one (`undone`: which) took it back."""
    later = undone.get(line.sequence)
    return line.text if later is None else f"TAKEN BACK by event {later}: {line.text}"


def kind_words(line: LogLine) -> str:
    """The kind of an event as words."""
    return line.kind.replace("_", " ")


def short(text: str, room: int) -> str:
    """What an event says in a row of the list: whole parts only, since a figure that lost its end reads as another."""
    if len(text) <= room:
        return text
    kept, comma, _ = text[: max(room - 4, 0)].rpartition(",")
    return f"{kept}, ..." if comma else text


def detail(line: LogLine | None, width: int, height: int, undone: Mapping[int, int]) -> list[Row]:
    """One event under a title, as whole as there is room for; `undone` as in `with_fate`."""
    if line is None:
        return []
    when = line.arrived[:16].replace("T", " ")
    head = f" EVENT {line.sequence}  {kind_words(line)}, in the log since {when} UTC"
    rows: list[Row] = [((head.ljust(width), "title"),)]
    return rows + [((f" {part}", ""),) for part in wrap(with_fate(line, undone), width - 2, height - 1)]


def passes(line: LogLine, name: str, search: str) -> bool:
    """Whether a line is shown under a filter and a search text (case does not matter)."""
    if name == "all but readings":
        wanted = line.kind not in ("reading", "stroke_end")
    else:
        kinds = FILTERS.get(name, frozenset())
        wanted = not kinds or line.kind in kinds
    if not wanted or not search:
        return wanted
    return search.lower() in f"{line.kind} {kind_words(line)} {line.text}".lower()


def _file_read(body: dict[str, object]) -> str:
    """What came in from a file. Takes what it says out of `body`, and the file's size and hash, which only
    `steer verify` needs."""
    name, kind, rows, new = (body.pop(key, None) for key in ("name", "kind", "rows", "new_rows"))
    for key in ("bytes", "sha256"):
        body.pop(key, None)
    count = rows if new is None else new
    one = {"reading": "reading", "check_shot": "check shot"}.get(str(kind), "row")
    what = f"{one}{'' if count == 1 else 's'}"
    if count == rows:
        return f"{name} read: {_counted(count)} {what}"
    return f"{name} read: {_counted(count)} new {what} of {_counted(rows)}"


def _counted(value: object) -> str:
    return f"{value:,}" if isinstance(value, int) else _value(value)


def _named(key: str, value: object) -> str:
    """A field by its name in words, its value and its unit, which ends the name."""
    if key == "from_sequence":  # what people call it, here and on the command line
        key = "from_event"
    for ending, unit in _UNITS.items():
        if key.endswith(ending) and _is_number(value):
            return f"{key.removesuffix(ending).replace('_', ' ')} {_value(value)} {unit}"
    return f"{key.replace('_', ' ')} {_value(value)}"


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
