"""Output files: whole or not at all. Written beside the place first, then renamed over it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from steer.errors import FolderUnusable, InputRefused
from steer.text import printable

_A_DRIVES_OWN = ("drive.toml", "drive.db")  # and what SQLite puts beside it, drive.db-wal and so on


def write_whole(path: Path, write: Callable[[Path], None], new: bool = False) -> None:
    """Call `write` with a temporary file beside `path`, then rename it there; an existing file is replaced
    whole, or with `new` refused. Raises InputRefused for a name that cannot be meant, FolderUnusable when the
    disk is full or read-only; the old file is untouched then."""
    check_writable(path)
    if new and path.exists():
        raise InputRefused(f"{_shown(path)}: there is a file of that name already; give another name")
    path = path.resolve()  # through a link, to the file that it means
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".steer-", suffix=path.suffix)
        os.close(handle)
        temporary = Path(name)
        write(temporary)
        with open(temporary, "rb") as done:
            os.fsync(done.fileno())
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(temporary, 0o666 & ~umask)
        if new:  # takes the name at once, or fails when somebody else has taken it meanwhile
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        os.replace(temporary, path)
    except Exception as error:
        trouble = _of_the_disk(error)
        if trouble is None:
            raise
        reason = trouble.strerror or trouble
        raise FolderUnusable(f"{_shown(path)}: cannot be written: {reason}") from None
    finally:
        if temporary is not None and temporary.exists():
            temporary.unlink()


def _of_the_disk(error: BaseException | None) -> OSError | None:
    """The disk's own error; a library that fails to close its file after that hides it behind another."""
    while error is not None and not isinstance(error, OSError):
        error = error.__context__
    return error


def check_writable(path: Path, source: Path | None = None) -> None:
    """Raises InputRefused for a name that no file can have there, FolderUnusable where nothing can be written.

    `source` is the LandXML file of the axis, which like any drive's own files is never written over.
    """
    meant = path.resolve()
    if meant.name.startswith(_A_DRIVES_OWN) or (source is not None and meant == source.resolve()):
        raise InputRefused(f"{_shown(path)}: cannot be written: a drive is made of it; give another name")
    if path.exists() and not path.is_dir() and (not path.is_file() or path.is_relative_to("/dev")):
        raise InputRefused(f"{_shown(path)}: cannot be written: it is not a file")
    if path.is_dir():
        raise InputRefused(f"{_shown(path)}: cannot be written: it is a folder")
    if not path.parent.is_dir():
        raise InputRefused(f"{_shown(path)}: cannot be written: there is no folder {_shown(path.parent)}")
    if not os.access(path.parent, os.W_OK):
        where = f"{_shown(path)}: cannot be written"
        raise FolderUnusable(f"{where}: no permission in {_shown(path.parent)}, or a read-only disk")


def _shown(path: Path) -> str:
    return printable(str(path), 200)
