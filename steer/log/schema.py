"""The tables of `drive.db`, their version, and the step from an older version to this one."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable
from pathlib import Path

from steer import __version__
from steer.errors import FolderUnusable

SCHEMA_VERSION = 1
APPLICATION_ID = 0x53544C47  # marks an SQLite file as a drive log, "STLG"

# Append-only is enforced by the database itself, for every program that opens it. The insert trigger
# also stops INSERT OR REPLACE, which would not run the delete trigger.
_CREATE = (
    "CREATE TABLE about (name TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL)",
    """CREATE TABLE events (
         sequence INTEGER PRIMARY KEY,
         arrived  TEXT NOT NULL,
         program  TEXT NOT NULL,
         kind     TEXT NOT NULL,
         body     TEXT NOT NULL,
         hash     BLOB NOT NULL CHECK (typeof(hash) = 'blob' AND length(hash) = 32))""",
    "CREATE INDEX files ON events (sequence) WHERE kind = 'file'",
    """CREATE TRIGGER events_in_order BEFORE INSERT ON events
         WHEN NEW.sequence IS NOT (SELECT coalesce(max(sequence), 0) + 1 FROM events)
         BEGIN SELECT RAISE(ABORT, 'the log is append-only: wrong sequence'); END""",
    *(
        f"""CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
         BEGIN SELECT RAISE(ABORT, 'the log is append-only: no {verb}'); END"""
        for table in ("events", "about")
        for verb in ("update", "delete")
    ),
)


def guards_missing(db: sqlite3.Connection) -> bool:
    """Whether the tables or the triggers that keep the log append-only are not as they were made."""
    wanted = sorted(" ".join(statement.split()) for statement in _CREATE)
    found = db.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    return sorted(" ".join(str(sql).split()) for (sql,) in found) != wanted


# version -> the function that makes version + 1 of it, inside an open transaction
UPGRADES: dict[int, Callable[[sqlite3.Connection], None]] = {}


def version_of(db: sqlite3.Connection, path: Path) -> int:
    """The schema version, 0 for a file that holds nothing yet.

    FolderUnusable if it is no drive log, or a newer one."""
    # One moment for all three: another program may be making this log right now.
    alone = not db.in_transaction
    if alone:
        db.execute("BEGIN")
    try:
        version = int(db.execute("PRAGMA user_version").fetchone()[0])
        marked = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
        tables = int(db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
    finally:
        if alone and db.in_transaction:
            db.execute("ROLLBACK")
    if not marked:
        if version == 0 and tables == 0:
            return 0
        raise FolderUnusable(f"{path}: it is a database but not a drive log: nothing was changed")
    if version > SCHEMA_VERSION:
        raise FolderUnusable(
            f"{path}: written by a newer program (log version {version}, this program knows up to "
            f"{SCHEMA_VERSION}): update this program; nothing was changed"
        )
    return version


def prepare(db: sqlite3.Connection, path: Path, origin: str | None = None) -> None:
    """Make the tables of a new log, or upgrade an older one after a backup copy.

    `origin`: 64 hexadecimal digits that a new log starts its chain from; random unless it is a copy."""
    version = version_of(db, path)
    if version == SCHEMA_VERSION:
        return
    if version:
        _backup(db, path, version)
    db.execute("BEGIN IMMEDIATE")
    try:
        version = version_of(db, path)  # another program may have been quicker
        if version == 0:
            for statement in _CREATE:
                db.execute(statement)
            db.executemany(
                "INSERT INTO about VALUES (?, ?)",
                [("origin", origin or secrets.token_hex(32)), ("program", __version__)],
            )
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        else:
            for step in range(version, SCHEMA_VERSION):
                UPGRADES[step](db)
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _backup(db: sqlite3.Connection, path: Path, version: int) -> Path:
    """Copy the log beside itself as it was; an existing copy is never overwritten."""
    number = 0
    while True:
        copy = path.with_name(f"{path.name}.version{version}{f'-{number}' if number else ''}.backup")
        if not copy.exists():
            break
        number += 1
    target = sqlite3.connect(copy)
    try:
        db.backup(target)
    except BaseException:
        target.close()
        copy.unlink(missing_ok=True)  # half a copy would pass for a whole one
        raise
    target.close()
    return copy


def origin_of(db: sqlite3.Connection) -> bytes:
    """The random 32 bytes that the first event is chained to."""
    row = db.execute("SELECT value FROM about WHERE name = 'origin'").fetchone()
    try:
        return bytes.fromhex(row[0])
    except (TypeError, ValueError):
        raise sqlite3.DatabaseError("it is damaged: what its chain of hashes begins with is gone") from None
