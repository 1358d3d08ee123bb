"""A drive folder, opened: its log, read into what it tells, and written.

Whoever writes stores an event first and takes it in then.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, Self

from steer.drivefile import DriveFile, load_drive
from steer.estimate.follow import Follower
from steer.estimate.rulings import counter_lacks
from steer.intake import drivetext
from steer.intake.stored import Border
from steer.log import LOG_NAME, Event, Log
from steer.told import SETTINGS, Told


class Opened:
    """A drive's log and what it has told so far; a context manager, or `close()` it.

    Raises FolderUnusable (exit 3) for a folder, drive file or log that cannot be used.
    """

    def __init__(self, folder: Path, file: DriveFile, log: Log) -> None:
        self.folder, self.file, self.log = folder, file, log
        self.border = Border(file, folder / LOG_NAME)
        self.told = Told(file, self.border)
        self.file_now: dict[str, Any] | None = None  # drive.toml as an event, where the drive writes

    @classmethod
    def open(
        cls, folder: str | os.PathLike[str], *, write: bool = False, sync: Literal["line", "stroke"] = "line"
    ) -> Self:
        """Open a drive folder and read its log."""
        file = load_drive(folder)
        drive = cls(Path(folder), file, Log.open(folder, write=write, sync=sync))
        try:
            if write:
                drive.file_now = drivetext.as_event(drive.folder, file)
            drive.refresh()
        except BaseException:
            drive.close()
            raise
        return drive

    def close(self) -> None:
        """Close the log."""
        self.log.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def follower(self) -> Follower:
        """The estimate."""
        return self.told.follower

    @property
    def seen(self) -> int:
        """Sequence of the newest event taken in."""
        return self.told.seen

    @property
    def decisions(self) -> list[Event]:
        """Accepted, overridden and noted, as far as not taken back."""
        return self.told.decisions

    @property
    def last_reading_arrival(self) -> str | None:
        """When the newest reading was stored, leaving out those that came in late; known once an advice is."""
        heard = self.follower.present.heard
        return next(self.log.events(after=heard - 1)).arrived if heard else None

    def events(self) -> Iterator[Event]:
        """Every event of the log, in order; chainages of the counter with its corrections put on."""
        counter = self.follower.known.counter
        for event in self.log.events():
            if counter and event.kind in ("reading", "stroke_end"):
                s = float(event.body["chainage_m"]) + counter_lacks(counter, event.sequence)
                event = replace(event, body=event.body | {"chainage_m": s})
            yield event

    @property
    def strokes(self) -> int:
        """How many strokes' ends the log tells of."""
        return self.told.ended.count

    @property
    def stroke_end_m(self) -> float | None:
        """Where the newest stroke ended, the counter's corrections put on; None before the first one."""
        return self.told.ended.last_two_m(self.follower.known.counter)[0]

    def refresh(self) -> bool:
        """Take in what others have added to the log; True when there was anything."""
        if self.log.last_sequence() == self.seen:
            return False
        before, fits = self.seen, True
        for event in self.log.events(after=self.seen):
            fits = self.told.take(event, fits) and fits
        if not fits:
            self.told.read_again(self.log.events)
        return self.seen != before

    def add(self, kind: str, body: dict[str, Any]) -> Event:
        """Store one event and take it in (and whatever others have stored before it)."""
        items = self._with_file(kind, body)
        return self._take_stored(self.log.append_decided(lambda: items))

    def _with_file(self, kind: str, body: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
        """The event, checked, and before it the drive file where it hangs on one that the log does not hold."""
        self.border.new(kind, body)
        if kind in SETTINGS and self.file_now and not drivetext.same(self.file_now, self.told.drive_file):
            return [(drivetext.KIND, self.file_now), (kind, body)]
        return [(kind, body)]

    def _take_stored(self, events: list[Event]) -> Event:
        """Take in what was just stored (and whatever others have stored before it); the last of it."""
        event = events[-1]
        if event.sequence != self.seen + 1:
            self.refresh()
        elif not self.told.take(event):
            self.told.read_again(self.log.events)
        return event
