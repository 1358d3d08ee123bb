"""`Log`: the one door to `DRIVE/drive.db`.

SQLite in write-ahead mode: one writer at a time, any number of readers meanwhile. Every append is one
transaction and is on disk when the call returns (`synchronous=FULL`, which also survives a power cut).
With sync="stroke" appends survive a killed process at once and a power cut from the next `commit()` on.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from steer import __version__
from steer.errors import FolderUnusable
from steer.log import schema
from steer.log.claim import Claim
from steer.log.event import Event, canonical, chain, check_kind
from steer.log.trouble import plain_words

LOG_NAME = "drive.db"
_WAIT_S = 30.0  # for another writer's transaction, which lasts milliseconds
_PAGE = 500  # events read at a time, so that no reader holds an old state of the log open


def utc_now() -> str:
    """Now, as ISO 8601 UTC with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Log:
    """Append-only events of one drive. Make it with `Log.open`; use it as a context manager or `close()` it.

    Every trouble with the folder or the file raises FolderUnusable (exit 3) and leaves the log as it was.
    """

    def __init__(
        self, folder: Path, write: bool, sync: Literal["line", "stroke"], clock: Callable[[], str]
    ) -> None:
        self.folder = folder
        self.path = folder / LOG_NAME
        self._write = write
        self._sync = sync
        self._clock = clock
        self._lock = threading.RLock()
        self._claim: Claim | None = None
        self.why_read_only = ""  # what stood against writing when it was opened, where that was wanted
        self._db: sqlite3.Connection | None = None
        self._copy: tempfile.TemporaryDirectory[str] | None = None
        self._frozen: tuple[object, ...] | None = None  # set when what we read cannot follow a writer
        self._inode: tuple[int, int] | None = None

    @classmethod
    def open(
        cls,
        folder: str | os.PathLike[str],
        *,
        write: bool = False,
        sync: Literal["line", "stroke"] = "line",
        clock: Callable[[], str] = utc_now,
    ) -> Log:
        """Open the log of a drive folder. A writer makes it on first use; a reader of a drive that has
        none yet sees no events, and sees them when they come."""
        folder = Path(folder)
        log = cls(folder, write, sync, clock)
        if not folder.is_dir():
            reason = "it is not a folder" if folder.exists() else "no such folder"
            raise FolderUnusable(f"{folder}: {reason}")
        if log.path.exists() and not log.path.is_file():
            raise FolderUnusable(f"{log.path}: it is not a file")
        log._not_without_its_log()
        try:
            if write:
                log._open_writer()
            else:
                log._open_reader()
        except BaseException:
            log.close()
            raise
        return log

    # -- opening -----------------------------------------------------------------------------------

    def _connect(self, path: Path, query: str) -> sqlite3.Connection:
        return sqlite3.connect(
            f"{path.absolute().as_uri()}?{query}",
            uri=True,
            timeout=_WAIT_S,
            isolation_level=None,
            check_same_thread=False,
            cached_statements=32,
        )

    def _not_without_its_log(self) -> None:
        """A new log would empty the file beside it, which may hold what was stored last."""
        beside = self.path.with_name(self.path.name + "-wal")
        if not self.path.exists() and beside.exists() and beside.stat().st_size > 0:
            raise FolderUnusable(
                f"{self.path}: it is gone, and {beside.name} holds what was stored last: put {self.path.name} back "
                "beside it (a drive is moved as a whole folder)"
            )

    def _open_writer(self) -> None:
        with plain_words(self.path):
            db = self._db = self._connect(self.path, "mode=rwc")
            schema.version_of(db, self.path)  # before anything is changed
            mode = _write_ahead(db)
            if mode != "wal":
                raise FolderUnusable(f"{self.path}: this disk cannot hold a write-ahead log (mode {mode})")
            db.execute(f"PRAGMA synchronous = {'FULL' if self._sync == 'line' else 'NORMAL'}")
            db.execute("PRAGMA fullfsync = ON")  # macOS: through the drive's own cache
            db.execute("PRAGMA journal_size_limit = 67108864")
            schema.prepare(db, self.path)
            self._inode = _identity(self.path)

    def _open_reader(self) -> None:
        if not self.path.exists():
            return
        with plain_words(self.path):
            self._db = self._connect(self.path, "mode=ro")
            try:
                version = schema.version_of(self._db, self.path)
            except sqlite3.OperationalError as error:
                if not _no_side_files(error.sqlite_errorcode):
                    raise
                self._db.close()
                self._db = self._connect_frozen()
                version = schema.version_of(self._db, self.path)
            if version == 0:  # a writer is just making it
                self._db.close()
                self._db = None

    def _connect_frozen(self) -> sqlite3.Connection:
        """A folder in which SQLite may not make its side files, or finds no space for them: read the file as
        it stands, or, when a killed writer left events in the side file, a copy of both."""
        self._frozen = self._signature()
        side = Path(f"{self.path}-wal")
        if not side.exists() or side.stat().st_size == 0:
            return self._connect(self.path, "mode=ro&immutable=1")
        self._drop_copy()
        self._copy = tempfile.TemporaryDirectory(prefix="steer-")
        for file in (self.path, side):
            shutil.copyfile(file, Path(self._copy.name) / file.name)
        return self._connect(Path(self._copy.name) / LOG_NAME, "mode=rw")

    def _signature(self) -> tuple[object, ...]:
        found: list[object] = []
        for path in (self.path, Path(f"{self.path}-wal")):
            try:
                status = path.stat()
                found.append((status.st_ino, status.st_size, status.st_mtime_ns))
            except OSError:
                found.append(None)
        return tuple(found)

    def _reading(self) -> sqlite3.Connection | None:
        """The connection to read from; None while there is no log yet."""
        if self._frozen is not None and self._frozen != self._signature():
            if self._db is not None:
                self._db.close()
            self._db, self._frozen = None, None
        if self._db is None and not self._write:
            self._open_reader()
        return self._db

    # -- writing -----------------------------------------------------------------------------------

    def append(self, kind: str, body: dict[str, Any]) -> Event:
        """Store one event; with sync="line" it is on disk when this returns."""
        return self.append_many([(kind, body)])[0]

    def append_many(self, items: Iterable[tuple[str, dict[str, Any]]]) -> list[Event]:
        """Store all of them in one transaction, or, whatever goes wrong, none. Returns the events."""
        stored = [(check_kind(kind), canonical(body), body) for kind, body in items]
        return self._append(lambda: stored) if stored else []

    def append_decided(self, decide: Callable[[], Iterable[tuple[str, dict[str, Any]]]]) -> list[Event]:
        """Store what `decide` returns; it may look into this log, and nobody else writes meanwhile."""
        return self._append(lambda: [(check_kind(kind), canonical(body), body) for kind, body in decide()])

    def _append(self, items: Callable[[], list[tuple[str, str, dict[str, Any]]]]) -> list[Event]:
        with self._lock, plain_words(self.path):
            db = self._writing()
            db.execute("BEGIN IMMEDIATE")
            try:
                sequence, previous = self._last(db)
                events, rows = [], []
                for kind, text, body in items():
                    sequence += 1
                    arrived = self._clock()
                    previous = chain(previous, sequence, arrived, __version__, kind, text)
                    events.append(Event(sequence, arrived, kind, body))
                    rows.append((sequence, arrived, __version__, kind, text, previous))
                db.executemany("INSERT INTO events VALUES (?, ?, ?, ?, ?, ?)", rows)
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise
            return events

    def commit(self) -> None:
        """Bring to disk what sync="stroke" appended since the last call. With sync="line" it already is."""
        if self._sync == "line":
            return
        with self._lock, plain_words(self.path):
            self._writing()
            side = Path(f"{self.path}-wal")
            if side.exists():
                descriptor = os.open(side, os.O_RDWR)
                try:
                    os.fsync(descriptor)
                finally:
                    os.close(descriptor)

    def _writing(self) -> sqlite3.Connection:
        if not self._write or self._db is None:
            if self.why_read_only:
                raise FolderUnusable(
                    f"{self.why_read_only}; opened for reading only then: leave and open again"
                )
            raise FolderUnusable(f"{self.path}: the log was opened for reading only")
        # A removed or replaced file would take events without a word and lose them.
        if _identity(self.path) != self._inode:
            raise FolderUnusable(f"{self.path}: the log was removed or replaced while in use")
        return self._db

    def _last(self, db: sqlite3.Connection) -> tuple[int, bytes]:
        row = db.execute("SELECT sequence, hash FROM events ORDER BY sequence DESC LIMIT 1").fetchone()
        return (int(row[0]), bytes(row[1])) if row else (0, schema.origin_of(db))

    def claim_feed(self) -> None:
        """Be the only feed of this drive until `close()`; FolderUnusable names who already is."""
        if self._claim is None:
            self._claim = Claim(self.folder)

    # -- reading -----------------------------------------------------------------------------------

    def events(self, after: int = 0) -> Iterator[Event]:
        """Every event with a sequence above `after`, in order."""
        while True:
            with self._lock, plain_words(self.path):
                db = self._reading()
                rows = (
                    db.execute(
                        "SELECT sequence, arrived, kind, body FROM events WHERE sequence > ? "
                        "ORDER BY sequence LIMIT ?",
                        (after, _PAGE),
                    ).fetchall()
                    if db
                    else []
                )
            for row in rows:
                yield self._event(*row)
            if len(rows) < _PAGE:
                return
            after = rows[-1][0]

    def _event(self, sequence: int, arrived: Any, kind: Any, body: Any) -> Event:
        try:
            found = json.loads(body)
        except (ValueError, TypeError, RecursionError):
            found = None
        if type(found) is not dict or type(kind) is not str or type(arrived) is not str:
            raise FolderUnusable(
                f"{self.path}: event {sequence} is not as it was written: `steer verify` says more"
            )
        return Event(sequence, arrived, kind, found)

    def last_sequence(self) -> int:
        """The newest event's sequence, 0 if there is none. Cheap: made to be polled."""
        with self._lock, plain_words(self.path):
            db = self._reading()
            return int(db.execute("SELECT coalesce(max(sequence), 0) FROM events").fetchone()[0]) if db else 0

    def files(self) -> list[Event]:
        """The "file" events, oldest first, without reading the others."""
        with self._lock, plain_words(self.path):
            db = self._reading()
            query = "SELECT sequence, arrived, kind, body FROM events WHERE kind = 'file' ORDER BY sequence"
            rows = db.execute(query).fetchall() if db else []
        return [self._event(*row) for row in rows]

    def of_kinds(self, *kinds: str) -> list[Event]:
        """The events of these kinds, oldest first, without taking the others' bodies apart."""
        query = (
            "SELECT sequence, arrived, kind, body FROM events "
            f"WHERE kind IN ({', '.join('?' * len(kinds))}) ORDER BY sequence"
        )
        with self._lock, plain_words(self.path):
            db = self._reading()
            rows = db.execute(query, kinds).fetchall() if db else []
        return [self._event(*row) for row in rows]

    def has_file(self, sha256: str) -> bool:
        """Whether a "file" event with this content hash is in the log."""
        return any(event.body.get("sha256") == sha256 for event in self.files())

    def raw(self, after: int = 0, upto: int | None = None) -> Iterator[tuple[Any, ...]]:
        """Rows as stored, for what examines or carries a log: sequence, arrived, program, kind, body text,
        hash. Their types are SQLite's and may be anything in a log that somebody meddled with."""
        query = (
            "SELECT sequence, arrived, program, kind, body, hash FROM events "
            "WHERE sequence > ? AND sequence <= ? ORDER BY sequence LIMIT ?"
        )
        last = (1 << 62) if upto is None else upto
        while True:
            with self._lock, plain_words(self.path):
                db = self._reading()
                rows = db.execute(query, (after, last, _PAGE)).fetchall() if db else []
            yield from rows
            if len(rows) < _PAGE:
                return
            after = rows[-1][0]

    def origin(self) -> bytes | None:
        """The 32 bytes that the first event is chained to; None while there is no log."""
        with self._lock, plain_words(self.path):
            db = self._reading()
            return schema.origin_of(db) if db else None

    def faults(self) -> list[str]:
        """What SQLite's own check and the append-only guards find wrong; empty when all is well."""
        with self._lock, plain_words(self.path):
            db = self._reading()
            if db is None:
                return []
            said = [str(row[0]) for row in db.execute("PRAGMA integrity_check(5)")]
            found = [] if said == ["ok"] else [f"the database is damaged: {line}" for line in said]
            if schema.guards_missing(db):
                found.append("the guards that keep the log append-only were changed or removed")
            return found

    # -- closing -----------------------------------------------------------------------------------

    def _drop_copy(self) -> None:
        if self._copy is not None:
            self._copy.cleanup()
            self._copy = None

    def close(self) -> None:
        """Close the file and give up the claim; closing twice does nothing."""
        with self._lock:
            db, self._db = self._db, None
            try:
                if db is not None:
                    db.close()
            finally:
                self._drop_copy()
                if self._claim is not None:
                    self._claim.release()
                    self._claim = None

    def __enter__(self) -> Log:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _no_side_files(code: int) -> bool:
    """Whether this error says that the side files cannot be made: read-only, or a full disk."""
    return code & 0xFF in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_FULL) or code in (
        sqlite3.SQLITE_IOERR_SHMOPEN,
        sqlite3.SQLITE_IOERR_SHMSIZE,
        sqlite3.SQLITE_IOERR_SHMMAP,
    )


def _write_ahead(db: sqlite3.Connection) -> str:
    """Switch to the write-ahead log; the mode that the file then has.

    SQLite does not wait for this lock as it does for others (two programs that both want to switch would
    wait for each other), so it is asked again until the other one is through."""
    until = time.monotonic() + _WAIT_S
    while True:
        try:
            return str(db.execute("PRAGMA journal_mode = WAL").fetchone()[0])
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(0.01)


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino
