"""A drive from its export (the format is described in `export`), whole or not at all.

The file comes from anywhere: every line is bounded, every name stays inside the folder, every hash is
computed again, and the first thing that is wrong ends it.
"""

from __future__ import annotations

import base64
import binascii
import gzip
import io
import json
import os
import re
import shutil
import sqlite3
import tempfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from itertools import chain as one_after_the_other
from pathlib import Path, PurePosixPath
from typing import Any

from steer.errors import FolderUnusable, InputRefused
from steer.log import schema
from steer.log.event import canonical, chain, check_kind
from steer.log.export import FORMAT, VERSION
from steer.log.store import LOG_NAME
from steer.log.trouble import plain_words
from steer.text import printable, shown

_LONGEST_LINE = 1_500_000
_MOST_BYTES = 4_000_000_000  # of text; compressed it is a tenth of that
# A hash in every event keeps what we write from shrinking more than about tenfold; a bomb shrinks a thousandfold.
_MOST_SHRUNK, _SHRUNK_FROM_BYTES = 50, 8_000_000
_MOST_FILE_BYTES = 100_000_000
_MOST_FILES = 20
_HEX = re.compile(r"[0-9a-f]{64}")
_NAME = re.compile(r"[^\\/:\x00-\x1f]{1,200}")


def import_drive(
    source: Path,
    folder: Path,
    allowed: Callable[[Path], Iterable[str]],
    check_body: Callable[[str, dict[str, Any]], None],
) -> int:
    """Make `folder`, which must not exist or be empty, from an export; returns the number of events.

    `allowed` gets a folder with the drive's files and says which of them a drive has; `check_body` raises
    InputRefused for a body that no program of ours writes. Everything is made in a folder beside and moved
    into place at the end: whatever is wrong, nothing is left. Raises InputRefused naming the line.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FolderUnusable(f"{printable(folder)}: exists already and is not an empty folder")
    try:
        made = Path(tempfile.mkdtemp(prefix=".import-", dir=folder.absolute().parent))
    except OSError as error:
        raise FolderUnusable(f"{printable(folder)}: cannot be made: {error.strerror or error}") from None
    try:
        count = _Import(source, made, check_body).run(allowed)
        with plain_words(folder):
            made.chmod(0o755)
            os.replace(made, folder)  # takes the place of an empty folder too
        return count
    finally:
        shutil.rmtree(made, ignore_errors=True)


class _Import:
    def __init__(self, source: Path, made: Path, check_body: Callable[[str, dict[str, Any]], None]) -> None:
        self.name, self.source, self.made, self.check_body = printable(source.name), source, made, check_body
        self.line = 0
        self.files: dict[str, int] = {}

    def wrong(self, what: str) -> InputRefused:
        return InputRefused(f"{self.name}: line {self.line}: {what}")

    def run(self, allowed: Callable[[Path], Iterable[str]]) -> int:
        lines = self._objects()
        first = next(lines, None)
        if first is None or first.get("format") != FORMAT:
            raise self.wrong("is not the first line of a drive export")
        if first.get("version") != VERSION:
            raise self.wrong(
                f"version {shown(first.get('version'))} is not known: this program knows {VERSION}"
            )
        events, head, origin = first.get("events"), first.get("head"), first.get("origin")
        if isinstance(events, bool) or not isinstance(events, int) or events < 0:
            raise self.wrong(f"events: {shown(events)} is not allowed: must be a whole number")
        for key, value in (("head", head), ("origin", origin)):
            good = isinstance(value, str) and (_HEX.fullmatch(value) or (value == "" and events == 0))
            if not good:
                raise self.wrong(f"{key}: {shown(value)} is not allowed: must be 64 hexadecimal digits")
        event = next(lines, None)
        while event is not None and "file" in event:
            self._file(event)
            event = next(lines, None)
        wanted = set(allowed(self.made))
        if other := sorted(set(self.files) ^ wanted):
            raise InputRefused(f"{self.name}: file {shown(other[0])} is missing or not part of the drive")
        rest = lines if event is None else one_after_the_other([event], lines)
        count, found = self._events(rest, str(origin)) if origin else (sum(1 for _ in rest), "")
        if count != events or found != head:
            raise InputRefused(
                f"{self.name}: ends after {count} of {events} events, or is not as it was written"
            )
        return count

    def _objects(self) -> Iterator[dict[str, Any]]:
        total = 0
        try:
            with open(self.source, "rb") as raw, gzip.GzipFile(fileobj=raw) as packed:
                text = io.BufferedReader(packed)  # type: ignore[arg-type]
                while line := text.readline(_LONGEST_LINE + 1):
                    self.line += 1
                    total += len(line)
                    if len(line) > _LONGEST_LINE or total > _MOST_BYTES:
                        raise self.wrong("is longer than any line, or the file than any drive export, can be")
                    if total > max(_SHRUNK_FROM_BYTES, _MOST_SHRUNK * raw.tell()):
                        raise self.wrong("unpacks to far more than any drive export does, so it is none")
                    yield self._object(line)
        except (EOFError, zlib.error, gzip.BadGzipFile) as error:
            raise InputRefused(f"{self.name}: is not a whole drive export (gzip: {error})") from None
        except OSError as error:
            raise InputRefused(f"{self.name}: cannot be read: {error.strerror or error}") from None

    def _object(self, line: bytes) -> dict[str, Any]:
        try:
            found = json.loads(line)
        except (ValueError, RecursionError):
            raise self.wrong("is not a JSON object") from None
        if not isinstance(found, dict):
            raise self.wrong("is not a JSON object")
        return found

    def _file(self, found: dict[str, Any]) -> None:
        name, piece = found["file"], found.get("base64")
        path = PurePosixPath(name) if isinstance(name, str) and len(name) < 1000 else None
        parts = path.parts if path else ()
        safe = all(_NAME.fullmatch(part) and part.strip(". ") for part in parts)
        if not parts or not safe or str(path) != name or parts[0].lower().startswith((LOG_NAME, "feed.lock")):
            raise self.wrong(f"file {shown(name)} is not allowed: must be a name inside the drive's folder")
        try:
            content = base64.b64decode(str(piece), validate=True)
        except (ValueError, binascii.Error):
            raise self.wrong(f"base64 of file {shown(name)} cannot be read") from None
        size = self.files[name] = self.files.get(name, 0) + len(content)
        if size > _MOST_FILE_BYTES or len(self.files) > _MOST_FILES:
            raise self.wrong("there are more or larger files than a drive has")
        target = self.made / name
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            with open(target, "ab") as file:
                file.write(content)
        except (FileExistsError, NotADirectoryError, IsADirectoryError):
            raise self.wrong(f"file {shown(name)} is a folder elsewhere in the export") from None
        except OSError as error:
            raise FolderUnusable(f"{self.name}: cannot be unpacked: {error.strerror or error}") from None

    def _events(self, lines: Iterator[dict[str, Any]], origin: str) -> tuple[int, str]:
        path = self.made / LOG_NAME
        with plain_words(path):
            db = sqlite3.connect(path, isolation_level=None)
            try:
                schema.prepare(db, path, origin)
                db.execute("BEGIN IMMEDIATE")
                count, previous = 0, bytes.fromhex(origin)
                for found in lines:
                    row = self._row(found, count + 1, previous)
                    db.execute("INSERT INTO events VALUES (?, ?, ?, ?, ?, ?)", row)
                    count, previous = count + 1, row[5]
                db.execute("COMMIT")
                return count, previous.hex() if count else ""
            finally:
                db.close()

    def _row(
        self, found: dict[str, Any], sequence: int, previous: bytes
    ) -> tuple[int, str, str, str, str, bytes]:
        if set(found) != {"sequence", "arrived", "program", "kind", "body", "hash"}:
            raise self.wrong("is not an event: needs sequence, arrived, program, kind, body and hash")
        arrived, program, kind, body = (found[key] for key in ("arrived", "program", "kind", "body"))
        if not all(isinstance(text, str) and len(text) <= 64 and text.isascii() and text.isprintable()
                   for text in (arrived, program, kind)):  # fmt: skip
            raise self.wrong("arrived, program or kind is not allowed: must be short text")
        if not isinstance(body, dict):
            raise self.wrong(f"body: {shown(body)} is not allowed: must be an object")
        try:
            check_kind(kind)
            text = canonical(body)
            self.check_body(kind, body)
        except InputRefused as refused:
            raise self.wrong(str(refused)) from None
        digest = chain(previous, sequence, arrived, program, kind, text)
        if found["sequence"] != sequence or found["hash"] != digest.hex():
            raise self.wrong(f"event {sequence} is not as it was written: its sequence or hash does not fit")
        return sequence, arrived, program, kind, text, digest
