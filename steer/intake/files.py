"""From files into the log: all the files of one command are checked first, then stored in one transaction."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from steer.drivefile import DriveFile, load_drive
from steer.errors import InputRefused
from steer.intake import records
from steer.intake.mapfile import load_map
from steer.intake.problems import Problems
from steer.intake.stored import Border
from steer.intake.tables import Table, read_table
from steer.log import Log
from steer.text import printable

if TYPE_CHECKING:
    from steer.estimate.same_survey import Surveys

Finish = Callable[[dict[str, Any], DriveFile, Problems, int | None], dict[str, Any] | None]


@dataclass(frozen=True)
class Stored:
    """What became of one file: `stored` rows are new, `known` ones were in the log already."""

    name: str
    what: str
    stored: int
    known: int
    remarks: tuple[str, ...]

    def line(self) -> str:
        """The account, for a person."""
        what = self.what.removesuffix("s") if self.stored == 1 else self.what
        account = f"{self.stored} {what} stored (from {self.name}), 0 refused"
        if self.known:
            account += f", {self.known} already stored before"
        return "; ".join([account, *self.remarks])


def read_readings(
    path: str | os.PathLike[str], drive: DriveFile, map_path: str | os.PathLike[str] | None = None
) -> tuple[Table, list[dict[str, Any]]]:
    """The table of a file of readings and the bodies in it. Raises InputRefused with every problem."""
    columns = records.reading_columns(drive)
    read = partial(
        read_table,
        required=("chainage_m",),
        kind="reading",
        json_fields=records.reading_members(drive),
        hint=records.reading_hints(drive),
        json_hint=records.json_reading_hints(drive),
    )
    return _bodies(path, drive, columns, map_path, read, records.finish_reading)


def read_shots(
    path: str | os.PathLike[str], drive: DriveFile, map_path: str | os.PathLike[str] | None = None
) -> tuple[Table, list[dict[str, Any]]]:
    """The table of a file of check shots and the bodies in it. Raises InputRefused with every problem."""
    read = partial(read_table, required=("point",), kind="check_shot")
    lines: dict[str, int | None] = {}

    def finish(
        values: dict[str, Any], drive: DriveFile, problems: Problems, line: int | None
    ) -> dict[str, Any] | None:
        body = records.finish_shot(values, drive, problems, line)
        row = json.dumps(values, sort_keys=True)
        if row in lines:
            problems.add(
                f"is line {lines[row]} again, every value the same: a survey counts once; leave one out, or, "
                "of two surveys, give each its time",
                line,
            )
            return None
        lines[row] = line
        return body

    return _bodies(path, drive, records.shot_fields(drive), map_path, read, finish)


def _bodies(
    path: str | os.PathLike[str],
    drive: DriveFile,
    columns: Mapping[str, Any],
    map_path: str | os.PathLike[str] | None,
    read: Callable[..., Table],
    finish: Finish,
) -> tuple[Table, list[dict[str, Any]]]:
    mapped = load_map(map_path, columns) if map_path is not None else None
    problems = Problems(path)
    table = read(path, columns, mapped=mapped, problems=problems)
    bodies = []
    for row in table.rows:
        body = finish(row.values, drive, problems, row.line)
        if body is not None:
            bodies.append(body)
    if table.rows and problems:
        bad = problems.bad_rows
        problems.summary(f"{bad} row{'s are' if bad > 1 else ' is'} wrong, so nothing of the file is stored")
    problems.refuse_if_any()
    return table, bodies


def store_readings(
    folder: str | os.PathLike[str],
    paths: Sequence[str | os.PathLike[str]],
    map_path: str | os.PathLike[str] | None = None,
) -> list[Stored]:
    """Add the readings of all the files, or of none (InputRefused names everything that is wrong)."""
    return _store(folder, paths, "readings", "reading", partial(read_readings, map_path=map_path))


def store_shots(
    folder: str | os.PathLike[str],
    paths: Sequence[str | os.PathLike[str]],
    map_path: str | os.PathLike[str] | None = None,
) -> list[Stored]:
    """Add the check shots of all the files, or of none. Each `asks`: while it disagrees with the estimate
    it waits for a person's word, since nobody has looked at it yet."""

    def read(path: str | os.PathLike[str], drive: DriveFile) -> tuple[Table, list[dict[str, Any]]]:
        table, bodies = read_shots(path, drive, map_path)
        return table, [{**body, "asks": True} for body in bodies]

    return _store(folder, paths, "check shots", "check_shot", read)


def _store(
    folder: str | os.PathLike[str],
    paths: Sequence[str | os.PathLike[str]],
    what: str,
    kind: str,
    read: Callable[..., tuple[Table, list[dict[str, Any]]]],
) -> list[Stored]:
    drive = load_drive(folder)
    problems: list[str] = []
    tables = []
    for path in paths:
        try:
            tables.append(read(path, drive))
        except InputRefused as refused:
            problems += refused.problems
    if problems:
        raise InputRefused(problems)
    accounts: list[Stored] = []

    def decide() -> list[tuple[str, dict[str, Any]]]:
        # Inside the transaction: nobody else can store the same file between the look and the write.
        accounts.clear()
        files = log.files()
        for event in files:
            border.check(event)
        known = [(event.body["sha256"], event.body["bytes"], event.body["rows"]) for event in files]
        surveys = known_surveys(log, border) if kind == "check_shot" else None
        last = log.last_sequence()
        items: list[tuple[str, dict[str, Any]]] = []
        for table, bodies in tables:
            before = _known_rows(table, known)
            new = bodies[before:]
            remarks = list(table.remarks)
            if not new:
                remarks.insert(0, "nothing new: this content was read before")
            else:
                if before:
                    remarks.insert(0, "the file has grown since it was read")
                size = len(table.content)
                known.append((table.sha256, size, len(bodies)))
                items.append(("file", file_event(table, kind, bodies, len(new))))
                again = 0
                for body in new:
                    number = last + len(items) + 1
                    repeats = None if surveys is None else surveys.repeated(number, body)
                    again += repeats is not None
                    items.append((kind, body if repeats is None else {**body, "repeats": repeats}))
                if again:
                    remarks.append(
                        f"{again} of them look{'s' if again == 1 else ''} like a survey that is in the log "
                        "already: asked about, and not counted until somebody answers"
                    )
            accounts.append(Stored(printable(table.name), what, len(new), before, tuple(remarks)))
        return items

    with Log.open(folder, write=True) as log:
        border = Border(drive, log.path)
        log.append_decided(decide)
    return accounts


def known_surveys(log: Log, border: Border) -> Surveys:
    """The check shots of the log. Raises FolderUnusable for one that is not as it was written."""
    from steer.estimate.same_survey import Surveys
    from steer.estimate.words import TAKEN_BACK, WORDS

    events = log.of_kinds("check_shot", *WORDS, TAKEN_BACK)
    for event in events:
        border.check(event)
    return Surveys(border.drive, events)


def file_event(
    table: Table, kind: str, bodies: Sequence[dict[str, Any]], new: int | None = None
) -> dict[str, Any]:
    """The body of the "file" event that says where rows came from; `new` of them (None: all) were not known."""
    return {
        "name": table.name, "sha256": table.sha256, "bytes": len(table.content), "kind": kind,
        "rows": len(bodies), "new_rows": len(bodies) if new is None else new,
    }  # fmt: skip


def _known_rows(table: Table, known: Sequence[tuple[str, int, int]]) -> int:
    """How many of the first rows are in the log: all when the content is known, and when a known content is
    how this file begins (a logger's file that has grown since), the rows of that."""
    most = 0
    for sha256, size, rows in known:
        begins = size <= len(table.content) and hashlib.sha256(table.content[:size]).hexdigest() == sha256
        if begins and size == len(table.content):
            return rows
        # A part that ended inside a line had its last row cut off, and that row is in the log as it was.
        if begins and (table.content[size - 1 : size] == b"\n" or table.content[size : size + 1] in b"\r\n"):
            most = max(most, rows)
        elif begins:
            raise InputRefused(
                f"{printable(table.name)}: was read before while its last line was being written: that row "
                "is in the log as it stood then; give the rows after it in a file of their own"
            )
    return most
