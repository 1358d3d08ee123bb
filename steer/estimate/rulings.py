"""What the whole log says about how its readings are to be taken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from steer.drivefile import DriveFile
from steer.estimate.geometry import Reference
from steer.estimate.nodes import Setting


@dataclass(frozen=True)
class Rulings:
    """What the whole log says about how its readings are to be taken."""

    settings: tuple[Setting, ...] = ()
    # (from sequence, metres to add to the counter, sequence of the event that says so), as they came
    counter: tuple[tuple[int, float, int], ...] = ()
    undone: frozenset[int] = frozenset()  # sequences of accepted or overridden settings taken back


def rulings(drive: DriveFile, events: Iterable[Any]) -> Rulings:
    """Collect the rulings from events (reference_set, chainage_set, undone)."""
    settings: list[Setting] = []
    counter: list[tuple[int, float, int]] = []
    undone: set[int] = set()
    for event in events:
        if event.kind == "reference_set":
            settings.append(setting_of(drive, event))
        elif event.kind == "chainage_set":
            counter.append(correction_of(event))
        elif event.kind == "undone":
            undone.add(int(event.body["event"]))
    settings.sort(key=lambda s: (s.s_m, s.sequence))
    return Rulings(tuple(settings), tuple(counter), frozenset(undone))


def correction_of(event: Any) -> tuple[int, float, int]:
    """A chainage_set event: from which sequence on, metres to add, its own sequence."""
    since = int(event.body.get("from_sequence") or event.sequence)
    return since, float(event.body["add_m"]), event.sequence


def counter_lacks(counter: Iterable[tuple[int, float, int]], sequence: int) -> float:
    """Metres to add to the chainage of an event: as the newest correction says that covers it."""
    return counter_at(counter, sequence)[0]


def counter_at(counter: Iterable[tuple[int, float, int]], sequence: int) -> tuple[float, int]:
    """Metres to add to the chainage of an event, and the sequence of the correction that says so (0: none)."""
    found = 0.0, 0
    for since, add, ruling in counter:
        if sequence >= since:
            found = add, ruling
    return found


def setting_of(drive: DriveFile, event: Any) -> Setting:
    """A reference_set event as a setting; directions that it does not give are 0."""
    body = event.body
    reference = Reference(
        drive.reference.kind,
        float(body.get("right_mm") or 0.0),
        float(body.get("up_mm") or 0.0),
        float(body.get("right_mm_per_m") or 0.0),
        float(body.get("up_mm_per_m") or 0.0),
    )
    return Setting(float(body["chainage_m"]), event.sequence, reference)
