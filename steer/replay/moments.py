"""Where a log is cut: the moments at which the next stroke was decided on.

A log that was kept during the drive holds the strokes' ends; it is replayed in its own order, so what
came late comes late. A log filled from files afterwards holds none: its readings come in their order, a
check shot or a new setting of the reference comes when the face stood at its chainage, and a moment is
where the face has gone a stroke further.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.drivefile import DriveFile
from steer.log import Event

_AT_A_CHAINAGE = ("check_shot", "reference_set", "note", "accepted", "overridden")
_NAMES_AN_EVENT = ("shot", "event", "from_sequence")


@dataclass(frozen=True)
class Moment:
    """Everything up to and with the event at `upto` (a place in the list of events) is known."""

    number: int  # from 0
    upto: int
    chainage_m: float


def in_order(events: list[Event]) -> tuple[list[Event], bool]:
    """The events as they are to be replayed, and whether that is the log's own order."""
    if any(event.kind == "stroke_end" for event in events) or not events:
        return events, True
    reached = np.maximum.accumulate([_chainage(e) for e in events if e.kind == "reading"] or [0.0])
    places: list[float] = []
    passed = 0
    for event in events:
        place = passed - 0.5
        if event.kind == "reading":
            place = float(passed)
            passed += 1
        elif event.kind in _AT_A_CHAINAGE and event.body.get("chainage_m") is not None:
            place = float(np.searchsorted(reached, _chainage(event) + 1e-4, side="right")) - 0.5
        places.append(place)
    order = sorted(range(len(events)), key=lambda i: (places[i], i))
    renamed = {events[i].sequence: n for n, i in enumerate(order, 1)}
    return [_renamed(events[i], n, renamed) for n, i in enumerate(order, 1)], False


def _renamed(event: Event, number: int, renamed: dict[int, int]) -> Event:
    body: dict[str, Any] = event.body
    for name in _NAMES_AN_EVENT:
        if name in body and body[name] in renamed:
            body = body | {name: renamed[body[name]]}
    return Event(number, event.arrived, event.kind, body)


def moments(file: DriveFile, events: list[Event]) -> list[Moment]:
    """The moments of events in order; none when nothing has been read."""
    ends = [(i, _chainage(e)) for i, e in enumerate(events) if e.kind == "stroke_end"]
    if not ends:
        ends = _strokes_of(file, events)
    return [Moment(n, upto, chainage) for n, (upto, chainage) in enumerate(ends)]


def _strokes_of(file: DriveFile, events: list[Event]) -> list[tuple[int, float]]:
    stroke, start = file.drive.stroke_m, file.axis.start_chainage_m
    found: list[tuple[int, float]] = []
    reached, last, number = -np.inf, -1, 1
    for i, event in enumerate(events):
        if event.kind != "reading":
            if event.kind in _AT_A_CHAINAGE and last == i - 1:
                last = i  # what came while the face stood there belongs to that moment
            continue
        at = _chainage(event)
        if at > start + number * stroke + 0.01 * stroke and last >= 0:
            found.append((last, float(reached)))
            number = int(np.floor((at - start) / stroke)) + 1
        reached, last = max(reached, at), i
    if last >= 0:
        found.append((last, float(reached)))
    return found


def _chainage(event: Event) -> float:
    return float(event.body["chainage_m"])
