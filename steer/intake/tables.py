"""The one reader of tables from outside: CSV with a header, or JSON Lines.

Taken: UTF-8 with or without a byte order mark, any line ends, columns apart by comma, semicolon or tab,
decimal commas where columns are not apart by comma and the file leaves no doubt. Everything else is refused
by name, never guessed. Limits keep any file within bounded memory and time.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from steer.errors import InputRefused
from steer.intake.csvrows import csv_rows
from steer.intake.fields import Field
from steer.intake.jsonrows import json_rows
from steer.intake.problems import Problems
from steer.intake.reading import Mapped, Row, Wanted
from steer.text import printable

LARGEST_BYTES = 64_000_000
_SOMETHING = re.compile(r"\S")
_JSON = re.compile(r"\s*[{\[]")


@dataclass(frozen=True)
class Table:
    """A file that was read: its name, content and hash, its rows, and remarks on how it was understood."""

    name: str
    content: bytes
    sha256: str
    rows: list[Row]
    remarks: list[str]


def read_table(
    path: str | os.PathLike[str],
    fields: Mapping[str, Field],
    *,
    required: Collection[str] = (),
    kind: str | None = None,
    json_fields: Mapping[str, Field] | None = None,
    hint: Mapping[str, str] | None = None,
    json_hint: Mapping[str, str] | None = None,
    mapped: Mapping[str, Mapped] | None = None,
    problems: Problems | None = None,
) -> Table:
    """Read a CSV or JSON Lines file whose columns are `fields`.

    `required` must be there in every row. `kind`: what a row's "kind" has to be if it has one.
    `json_fields`: the members of a JSON line where they differ from the columns. `hint`, `json_hint`: what to
    say of a certain unknown column or member. `mapped`: fields that stand under another name; what no field
    names is then left out, and said in the remarks. With `problems` given they are added there and bad rows
    are left out; without, InputRefused is raised with all of them.
    """
    found = Problems(path) if problems is None else problems
    content = read_bytes(path)
    rows: list[Row] = []
    remarks: list[str] = []
    text = _decode(content, found)
    if text is not None:
        is_json = _JSON.match(text) is not None
        if is_json and json_fields is not None and not mapped:
            fields = json_fields
        hints = (json_hint if is_json else hint) or {}
        wanted = Wanted(fields, required, kind, mapped, hints, found, remarks)
        rows = json_rows(text, wanted) if is_json else csv_rows(text, wanted)
    if problems is None:
        found.refuse_if_any()
    return Table(Path(path).name, content, hashlib.sha256(content).hexdigest(), rows, remarks)


def read_bytes(path: str | os.PathLike[str], largest: int = LARGEST_BYTES) -> bytes:
    """The content of an ordinary file of bounded size. Raises InputRefused."""
    name = printable(os.fspath(path))
    if not name:
        raise InputRefused('"" names no file: give the name of a file of text')
    try:
        status = os.stat(path)
        if not stat.S_ISREG(status.st_mode):
            what = "a folder" if stat.S_ISDIR(status.st_mode) else "not an ordinary file"
            raise InputRefused(f"{name}: is {what}: give a file of text")
        with open(path, "rb") as file:
            content = file.read(largest + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or error
        raise InputRefused(f"{name}: cannot be read: {reason}") from None
    if len(content) > largest:
        raise InputRefused(f"{name}: is larger than {largest // 1_000_000} MB: split it")
    return content


def _decode(content: bytes, problems: Problems) -> str | None:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        problems.add("is UTF-16 text: save it as UTF-8")
        return None
    if (at := content.find(b"\0")) >= 0:
        problems.add("holds a NUL byte: is it a file of text?", content.count(b"\n", 0, at) + 1)
        return None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problems.add(f"byte 0x{content[error.start]:02x} is not UTF-8 text: save it as UTF-8", line)
        return None
    if not _SOMETHING.search(text):
        problems.add("is empty: needs a header and rows, or a JSON object a line")
        return None
    return text
