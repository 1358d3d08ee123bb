"""A log without a disk: the same door as `steer.log.Log`, for drives that are only looked at."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, cast

from steer.drive import Drive
from steer.drivefile import DriveFile
from steer.log import Event, Log


class MemoryLog:
    """Events in order; `put` takes one that has a sequence already, `append` numbers a new one."""

    def __init__(self) -> None:
        self._events: list[Event] = []

    def append(self, kind: str, body: dict[str, Any]) -> Event:
        """A new event after the last one."""
        event = Event(self.last_sequence() + 1, "", kind, body)
        self._events.append(event)
        return event

    def append_decided(self, decide: Callable[[], Iterable[tuple[str, dict[str, Any]]]]) -> list[Event]:
        """What `decide` returns, as new events."""
        return [self.append(kind, body) for kind, body in decide()]

    def put(self, event: Event) -> None:
        """An event of another log, with its own sequence. Raises ValueError when it is not the next."""
        if event.sequence <= self.last_sequence():
            raise ValueError(f"event {event.sequence} after {self.last_sequence()}")
        self._events.append(event)

    def events(self, after: int = 0) -> Iterator[Event]:
        """Events with a sequence above `after`, oldest first."""
        begin = bisect.bisect_right(self._events, after, key=lambda event: event.sequence)
        return iter(self._events[begin:])

    def last_sequence(self) -> int:
        """Sequence of the newest event, 0 when there is none."""
        return self._events[-1].sequence if self._events else 0

    def commit(self) -> None:
        """Nothing to bring to a disk."""

    def close(self) -> None:
        """Nothing to close."""


def drive_in_memory(file: DriveFile, log: MemoryLog | None = None) -> Drive:
    """A `Drive` over a log in memory: same fold, same advice, nothing stored."""
    return Drive(Path(), file, cast(Log, log if log is not None else MemoryLog()))
