"""How old the newest reading is, whatever somebody does to the clock."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steer.advice import Snapshot


BEHIND_S = 300.0  # two computers' clocks may differ by so much: less is taken for fresh


class Freshness:
    """Counts from the moment a new reading was seen, on the clock that nobody can set.

    Only the first snapshot is aged by the wall clock, from the arrival time in the log:
    `extra["last_reading_arrival"]`, or, when a source does not tell, that of the newest event. Where that lies
    ahead of the wall clock there is no telling how old it is: `behind_s`, until a reading comes.
    """

    def __init__(
        self, wall: Callable[[], float] = time.time, steady: Callable[[], float] = time.monotonic
    ) -> None:
        self._wall = wall
        self._steady = steady
        self._newest: object = None  # arrival of the newest reading, or how many there are
        self._since: float | None = None
        self.behind_s = 0.0  # seconds; 0: the clock is not behind the log

    def see(self, snapshot: Snapshot) -> None:
        """Takes note of a snapshot that was just made."""
        count = snapshot.readings_used + snapshot.readings_refused
        newest = snapshot.extra.get("last_reading_arrival") or count
        if newest == self._newest:
            return
        first = self._newest is None
        self._newest = newest
        self.behind_s = 0.0
        if count == 0:
            self._since = None
            return
        age = self._age_in_log(snapshot) if first else 0.0
        self._since = self._steady() - age

    def age_s(self) -> float | None:
        """Seconds since the newest reading; None when there has been none."""
        return None if self._since is None else max(0.0, self._steady() - self._since)

    def _age_in_log(self, snapshot: Snapshot) -> float:
        arrival = snapshot.extra.get("last_reading_arrival") or snapshot.last_event_time
        if not isinstance(arrival, str):
            return 0.0
        try:
            stamp = datetime.fromisoformat(arrival)
        except ValueError:
            return 0.0
        if stamp.tzinfo is None:
            stamp = stamp.replace(tzinfo=UTC)
        age = self._wall() - stamp.timestamp()
        self.behind_s = -age if age < -BEHIND_S else 0.0
        return max(0.0, age)

    def today(self) -> str:
        """The wall clock's day, ISO 8601, UTC."""
        return datetime.fromtimestamp(self._wall(), UTC).date().isoformat()
