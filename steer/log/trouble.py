"""What SQLite or the disk complains about, in words a person on site can act on."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from steer.errors import FolderUnusable

_BUSY = "another program has kept it locked for too long: close that program and try again"
_WHY = {
    sqlite3.SQLITE_FULL: "the disk is full: make space and try again; what was stored before is safe",
    sqlite3.SQLITE_READONLY: "it cannot be written: the file, its folder or the disk is read-only",
    sqlite3.SQLITE_PERM: "it cannot be written: permission denied",
    sqlite3.SQLITE_AUTH: "it cannot be used: permission denied",
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened: see that the folder exists and can be written",
    sqlite3.SQLITE_NOTADB: "it is not a drive log (not an SQLite database): nothing was changed",
    sqlite3.SQLITE_CORRUPT: "it is damaged: copy the whole folder before anything else; nothing was changed",
}


def explain(path: Path, error: sqlite3.Error) -> FolderUnusable:
    """The refusal (exit 3) for one SQLite error; the primary code is the low byte of the extended one."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    if primary == sqlite3.SQLITE_IOERR:
        why = f"the disk failed, is full or was removed ({error}); what was stored before is safe"
    else:
        why = _WHY.get(primary, f"it cannot be used: {error}") if primary is not None else str(error)
    if primary == sqlite3.SQLITE_CANTOPEN and path.exists() and not os.access(path, os.R_OK):
        why = "it cannot be read: no permission to read it"
    return FolderUnusable(f"{path}: {why}")


@contextmanager
def plain_words(path: Path) -> Iterator[None]:
    """Turn every SQLite and operating system error inside into FolderUnusable."""
    try:
        yield
    except sqlite3.Error as error:
        raise explain(path, error) from None
    except UnicodeDecodeError:  # SQLite's own message quotes what is damaged
        raise FolderUnusable(f"{path}: {_WHY[sqlite3.SQLITE_CORRUPT]}") from None
    except OSError as error:
        raise FolderUnusable(f"{path}: {error.strerror or error}") from None
