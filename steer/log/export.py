"""A whole drive as one open file; `restore` makes the drive from it, equal to the last bit.

The file is JSON Lines (RFC 8259), compressed by gzip (RFC 1952), UTF-8:
  first line   {"format": "drive export", "version": 1, "origin": …, "events": N, "head": …, "program": …}
  files        {"file": "drive.toml", "base64": …}, one line for each 300 kB or part of it, in order
  events       {"sequence": 1, "arrived": …, "program": …, "kind": …, "body": {…}, "hash": …}
`origin`, `hash` and `head` (the last event's hash) are hexadecimal. An event's hash is the sha256 of the
predecessor's 32 bytes (the first event's: `origin`) and `sequence \\n arrived \\n program \\n kind \\n body`,
body as JSON with sorted keys, no spaces and only ASCII. The same drive gives the same file, byte for byte.
"""

from __future__ import annotations

import base64
import gzip
import json
import os
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from steer import __version__
from steer.errors import FolderUnusable, InputRefused
from steer.log.event import chain
from steer.log.store import Log
from steer.text import printable

FORMAT, VERSION = "drive export", 1
_PIECE = 300_000  # bytes of a file in one line


def export_drive(folder: Path, names: Iterable[str], target: Path) -> int:
    """Write the drive's files `names` (inside `folder`) and its log to `target`; returns how many events.

    The log may be written to meanwhile. An existing `target` is not overwritten. InputRefused names what is
    wrong with the name `target`; FolderUnusable a full disk, or a log whose chain is broken.
    """
    if target.exists():
        raise InputRefused(f"{printable(target)}: exists already: give another name")
    if not target.parent.is_dir():
        raise InputRefused(
            f"{printable(target)}: cannot be written: there is no folder {printable(target.parent)}"
        )
    with Log.open(folder) as log:
        last = log.last_sequence()
        head = _head(log, last)
        lines = _lines(folder, names, log, last, head)
        part = None
        try:
            handle, part = tempfile.mkstemp(prefix=".export-", dir=target.parent)
            with os.fdopen(handle, "wb") as raw:
                with gzip.GzipFile(filename="", mode="wb", fileobj=raw, mtime=0) as packed:
                    for line in lines:
                        packed.write(line.encode() + b"\n")
                raw.flush()
                os.fsync(raw.fileno())
            os.chmod(part, 0o644)
            os.replace(part, target)
            part = None
        except OSError as error:
            raise FolderUnusable(
                f"{printable(target)}: cannot be written: {error.strerror or error}"
            ) from None
        finally:
            if part:
                os.unlink(part)
    return last


def _head(log: Log, last: int) -> str:
    row = next(log.raw(last - 1, last), None) if last else None
    return bytes(row[5]).hex() if row else ""


def _lines(folder: Path, names: Iterable[str], log: Log, last: int, head: str) -> Iterator[str]:
    origin = log.origin()
    first = {"format": FORMAT, "version": VERSION, "program": __version__, "events": last, "head": head}
    yield json.dumps({**first, "origin": origin.hex() if origin else ""})
    for name in names:
        content = (folder / name).read_bytes()
        for at in range(0, max(len(content), 1), _PIECE):
            piece = base64.b64encode(content[at : at + _PIECE]).decode()
            yield json.dumps({"file": name, "base64": piece})
    previous = origin or b""
    for sequence, arrived, program, kind, body, stored in log.raw(upto=last):
        previous = chain(previous, sequence, arrived, program, kind, body)
        if previous != stored:
            raise FolderUnusable(
                f"{log.path}: event {sequence} is not as it was written, so the log is not carried on "
                "(`steer verify` says more; the folder itself can be copied)"
            )
        about = {"sequence": sequence, "arrived": arrived, "program": program, "kind": kind}
        yield json.dumps(about)[:-1] + f', "body": {body}, "hash": "{stored.hex()}"}}'
