"""Bodies of events that are in a log already, or come with a whole log from elsewhere.

What is checked is what the rest of the program relies on, so that no log, however it was made, upsets it.
Bounds are those of the intake, but for what hangs on drive.toml, which may have changed since: chainages may
lie `FURTHEST_M` beyond the axis of today. Kinds and members that this version does not know are let be:
a newer one may have written them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from steer.drivefile import FILE_NAME, DriveFile, load_drive
from steer.errors import FolderUnusable, InputRefused
from steer.intake import records
from steer.intake.fields import Codes, Field, Flag, Hash, NotAllowed, Number, Numbers, Text, Time, Whole
from steer.intake.problems import Problems
from steer.log import Event, Log
from steer.log.restore import import_drive
from steer.text import printable, shown

FURTHEST_M = 1000.0
MOST_CORRECTED_M = 1000.0  # by which a chainage counter can be wrong
_INPUTS = ("reading", "check_shot", "reference_set", "stroke_end")
_ANY_CHAINAGE = Number(-1e6, 1e6, unit="m")
_MOST_CYLINDERS = 36


def counter_fields() -> dict[str, Field]:
    """The members of a correction of the chainage counter."""
    return {
        "add_m": Number(-MOST_CORRECTED_M, MOST_CORRECTED_M, unit="m"),
        "from_sequence": Whole(1),
        "note": Text(),
    }


def _known(kind: str, drive: DriveFile) -> tuple[Mapping[str, Field], tuple[str, ...]] | None:
    """The members of a kind of event and which of them must be there; None for a kind that nobody reads."""
    inputs = {
        "reading": records.reading_members,
        "check_shot": records.stored_shot_fields,
        "reference_set": records.reference_fields,
        "stroke_end": records.stroke_end_fields,
    }
    if kind in inputs:
        return inputs[kind](drive), () if kind == "check_shot" else ("chainage_m",)
    count = records.cylinder_count(drive)
    cylinders = Numbers(records.CYLINDER, count, f", since drive.toml has {count} cylinders", gaps=False)
    articulation = Number(-1000, 1000, unit="mm/m")
    told: dict[str, Field] = {
        "stroke": Whole(), "chainage_m": _ANY_CHAINAGE, "right_mm_per_m": articulation,
        "up_mm_per_m": articulation, "cylinder_mm": cylinders,
    }  # fmt: skip
    others: dict[str, tuple[dict[str, Field], tuple[str, ...]]] = {
        "advised": ({**told, "hold": Flag(), "notices": Codes()}, tuple(told)),
        "accepted": (told, tuple(told)),
        "overridden": ({**told, "beyond": Codes()}, tuple(told)),
        "undone": ({"event": Whole(1)}, ("event",)),
        **dict.fromkeys(("shot_accepted", "shot_rejected", "withdrawn"), ({"shot": Whole(1)}, ("shot",))),
        "restored": ({"shot": Whole(1), "event": Whole(1)}, ("shot",)),
        "chainage_set": (counter_fields(), ("add_m",)),
        "note": ({"chainage_m": _ANY_CHAINAGE, "text": Text()}, ()),
        "file": (
            {"name": Text(), "sha256": Hash(), "bytes": Whole(), "kind": Text(), "rows": Whole(), "new_rows": Whole()},
            ("name", "sha256", "bytes", "rows"),
        ),
        "drive_file": ({"sha256": Hash(), "text": Text(1_000_000), "axis_sha256": Hash()}, ("sha256",)),
        "practice": ({"preset": Text(), "seed": Whole(), "proposal": Text()}, ("preset", "seed", "proposal")),
        "practice_stroke": ({"stroke": Whole(), "cylinder_mm": cylinders}, ("stroke", "cylinder_mm")),
    }  # fmt: skip
    return others.get(kind)


def _check(kind: str, body: Mapping[str, Any], drive: DriveFile, today: bool) -> None:
    """Raise InputRefused with all that is wrong with a body. `today`: it is to be used with this drive file."""
    found = _known(kind, drive)
    if found is None:
        return
    known, required = found
    problems = Problems()
    for name, value in body.items():
        if name not in known:
            if kind in _INPUTS and not today:
                problems.add(f"{shown(name)} is not known in a {kind}")
        elif value is not None:
            try:
                read = _shape(name, known[name], value, drive, today).from_json(value)
                if isinstance(known[name], Time) and read != value:
                    raise NotAllowed("a time in UTC, as the intake stores it")
            except NotAllowed as problem:
                problems.value(name, value, str(problem))
    for name in required:
        if body.get(name) is None:
            problems.missing(name, known[name].allowed)
    if kind == "check_shot" and not problems:
        values = {name: value for name, value in body.items() if value is not None}
        if "point" not in values:
            problems.missing("point", known["point"].allowed)
        records.finish_shot(values, None, problems)
        if today and not problems and "chainage_m" not in values:
            _foot(values, drive, problems)
    problems.refuse_if_any()


def _foot(values: dict[str, Any], drive: DriveFile, problems: Problems) -> None:
    """A surveyed point without a chainage must have one on the axis."""
    at = drive.axis.locate(*(float(values[n]) for n in ("easting_m", "northing_m", "level_m")))
    allowed = _chainage(drive.axis.start_chainage_m, drive.axis.end_chainage_m)
    try:
        allowed.inside(float(at.chainage_m) if at.ok else math.nan)
    except NotAllowed:
        problems.add("easting_m, northing_m, level_m: the point is nowhere near the drive's axis")


def _shape(name: str, field: Field, value: object, drive: DriveFile, today: bool) -> Field:
    """The field without what hangs on drive.toml."""
    if name == "chainage_m":
        return _chainage(drive.axis.start_chainage_m, drive.axis.end_chainage_m) if today else _ANY_CHAINAGE
    if isinstance(field, Numbers) and not today and isinstance(value, list):
        return Numbers(field.each, min(max(len(value), 1), _MOST_CYLINDERS), gaps=field.gaps)
    return field


@lru_cache(maxsize=8)
def _chainage(start: float, end: float) -> Number:
    return Number(start - FURTHEST_M, end + FURTHEST_M, unit="m (the drive's axis, and far beyond)")


class Border:
    """Lets an event of a log in, or says which is not fit to be used with this drive file, and why."""

    def __init__(self, drive: DriveFile, path: Path) -> None:
        self.drive, self.path = drive, path
        bounds = records.reading_members(drive)
        self._numbers = {n: (f.at_least, f.at_most) for n, f in bounds.items() if isinstance(f, Number)}
        self._count = records.cylinder_count(drive)

    def check(self, event: Event) -> None:
        """Raise FolderUnusable naming the event."""
        if event.kind == "reading" and self._plain(event.body):
            return
        try:
            _check(event.kind, event.body, self.drive, today=True)
        except InputRefused as refused:
            raise FolderUnusable(
                f"{self.path}: event {event.sequence} ({event.kind}) cannot be used with this drive.toml: "
                f"{'; '.join(refused.problems)}"
            ) from None

    def events(self, log: Log) -> Iterator[Event]:
        """Every event of a log, checked."""
        for event in log.events():
            self.check(event)
            yield event

    def new(self, kind: str, body: dict[str, Any]) -> None:
        """Raise InputRefused for a body that could not be used once it is in the log."""
        if kind != "reading" or not self._plain(body):
            _check(kind, body, self.drive, today=True)

    def _plain(self, body: dict[str, Any]) -> bool:
        """Whether a reading is beyond doubt; a log holds hundreds of thousands of them. NaN fails too."""
        numbers = self._numbers
        for name, value in body.items():
            if name in numbers:
                if type(value) is not float:
                    return False
                low, high = numbers[name]
                if not low <= value <= high:
                    return False
            elif name == "cylinder_mm":
                if type(value) is not list or len(value) != self._count:
                    return False
                for v in value:
                    if v is not None and not (type(v) is float and -10_000 <= v <= 10_000):
                        return False
            elif name == "time":
                if type(value) is not str or not value.endswith("Z"):
                    return False
                try:
                    datetime.fromisoformat(value)
                except ValueError:
                    return False
            elif name != "note" or type(value) is not str:
                return False
        return "chainage_m" in body


def check_stored(kind: str, body: dict[str, Any], drive: DriveFile) -> None:
    """Raise InputRefused for a body that this program would not have written, whatever drive.toml says."""
    _check(kind, body, drive, today=False)


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
