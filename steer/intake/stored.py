"""Bodies that come with a whole log from elsewhere: of the right shape, whatever drive.toml says today."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from steer.drivefile import FILE_NAME, DriveFile, load_drive
from steer.errors import FolderUnusable, InputRefused
from steer.intake import records
from steer.intake.fields import Field, NotAllowed, Number, Numbers
from steer.intake.problems import Problems
from steer.log.restore import import_drive
from steer.text import printable, shown

_ANY = Number(-1e12, 1e12)


def check_stored(kind: str, body: dict[str, Any], drive: DriveFile) -> None:
    """Raise InputRefused for a reading, shot, setting or end of stroke that this program would not have
    written. Numbers must be numbers, but not within today's bounds: drive.toml may have changed since."""
    problems = Problems()
    fields = {
        "reading": records.reading_members,
        "check_shot": records.stored_shot_fields,
        "reference_set": records.reference_fields,
        "stroke_end": records.stroke_end_fields,
    }.get(kind)
    if fields is None:
        return
    known = fields(drive)
    for name, value in body.items():
        if name not in known:
            problems.add(f"{shown(name)} is not known in a {kind}")
            continue
        field = _shape(known[name], value)
        try:
            field.from_json(value)
        except NotAllowed as problem:
            problems.value(name, value, str(problem))
    if "chainage_m" not in body and not (kind == "check_shot" and "easting_m" in body):
        problems.missing("chainage_m", _ANY.allowed)
    if kind == "check_shot" and not problems:
        records.finish_shot(body, None, problems)
    problems.refuse_if_any()


def check_new_shot(body: dict[str, Any], drive: DriveFile) -> None:
    """Raise InputRefused for a check shot made by this program that its own file reader would refuse."""
    problems = Problems()
    known = records.stored_shot_fields(drive)
    for name, value in body.items():
        try:
            known[name].from_json(value)
        except NotAllowed as problem:
            problems.value(name, value, str(problem))
    if not problems:
        records.finish_shot(body, drive, problems)
    problems.refuse_if_any()


def _shape(field: Field, value: object) -> Field:
    if isinstance(field, Number):
        return _ANY
    if isinstance(field, Numbers):
        return Numbers(_ANY, len(value) if isinstance(value, list) and 0 < len(value) <= 36 else field.count)
    return field


def drive_files(drive: DriveFile) -> list[str]:
    """The files that a drive has besides its log, by their names in its folder."""
    landxml = getattr(drive.axis_spec, "landxml", None)
    return [FILE_NAME, *([landxml] if landxml else [])]


def import_checked(source: Path, folder: Path) -> int:
    """Make `folder` from an export, drive file and bodies checked. Returns the number of events."""
    drives: list[DriveFile] = []

    def allowed(made: Path) -> list[str]:
        try:
            drives.append(load_drive(made))
        except FolderUnusable as error:
            problems = getattr(error, "problems", None) or [f"{FILE_NAME}: cannot be used"]
            raise InputRefused([f"{printable(source.name)}: {line}" for line in problems]) from None
        return drive_files(drives[0])

    return import_drive(source, folder, allowed, lambda kind, body: check_stored(kind, body, drives[0]))
