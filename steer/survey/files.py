"""The two files of a survey: observations and control, by the columns of the contract."""

from __future__ import annotations

import math
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from steer.errors import InputRefused
from steer.intake.fields import Field, NotAllowed, Number
from steer.intake.problems import Problems, nearest
from steer.intake.tables import Row, Table, read_table
from steer.survey.observations import (
    ARC_SECOND,
    DEFAULT_SD_DIRECTION_SEC,
    DEFAULT_SD_DISTANCE_MM,
    DEFAULT_SD_DISTANCE_PPM,
    DEFAULT_SD_ZENITH_SEC,
    ControlPoint,
    Kind,
    Observation,
    distance_sd_m,
)
from steer.text import shown

_DMS = re.compile(r"(-?)([0-9]{1,3})-([0-5]?[0-9])-([0-5]?[0-9](?:\.[0-9]{0,9})?)")
_GON = math.pi / 200.0
_MOST_TWICE = 5


@dataclass(frozen=True)
class _Name(Field):
    allowed = "a name of 1 to 40 printable characters"

    def from_json(self, value: object) -> str:
        if not isinstance(value, str) or not 0 < len(value.strip()) <= 40 or not value.strip().isprintable():
            raise NotAllowed(self.allowed)
        return value.strip()


@dataclass(frozen=True)
class _Dms(Field):
    """Degrees, minutes and seconds as 45-12-34 or 45-12-34.5; the value is in degrees."""

    over: float
    below: float

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return (
            f"degrees-minutes-seconds such as 45-12-34.5, over {self.over:g} and below {self.below:g} degrees"
        )

    def from_json(self, value: object) -> float:
        match = _DMS.fullmatch(value) if isinstance(value, str) else None
        if not match:
            raise NotAllowed(self.allowed)
        sign, degrees, minutes, seconds = match.groups()
        angle = int(degrees) + int(minutes) / 60.0 + float(seconds) / 3600.0
        angle = -angle if sign else angle
        if not self.over < angle < self.below:
            raise NotAllowed(self.allowed)
        return angle


@dataclass(frozen=True)
class _Angle(Number):
    """Decimal degrees or gon strictly inside bounds."""

    below: float = math.inf
    other: str = ""

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"a number over {self.over:g} and below {self.below:g} {self.unit}{self.other}"

    def inside(self, value: float) -> float:
        if not (math.isfinite(value) and self.over < value < self.below):
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class _ControlSd(Number):
    """mm; 0 holds the point fixed."""

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"0 or empty (held fixed), or {super().allowed}"

    def inside(self, value: float) -> float:
        return value if value == 0.0 else super().inside(value)


# An sd far below what any instrument does would outweigh all else, and the rest would be called undetermined.
_LEAST_SD_MM = 0.001
_LEAST_SD_SEC = 0.001
# A full circle itself (360, 400) is a reading too: directions reach a little beyond it.
_COORDINATE = Number(at_least=-1e8, at_most=1e8, unit="m")
_HEIGHT = Number(at_least=-100.0, at_most=100.0, unit="m")
_LENGTH = Number(at_least=0.001, at_most=100_000.0, unit="m")
_SECONDS = Number(at_least=_LEAST_SD_SEC, at_most=36_000.0, unit="arc-seconds")
_IN_GON = "; gon and degrees-minutes-seconds have columns of their own"

OBSERVATION_FIELDS: dict[str, Field] = {
    "station": _Name(),
    "set": _Name(),
    "target": _Name(),
    "direction_deg": _Angle(over=-360.0, below=360.0 + 1e-9, unit="degrees", other=_IN_GON),
    "direction_gon": _Angle(over=-400.0, below=400.0 + 1e-9, unit="gon"),
    "direction_dms": _Dms(over=-360.0, below=360.0 + 1e-9),
    "zenith_deg": _Angle(
        over=0.0,
        below=180.0,
        unit="degrees (0 is up, 90 level; face right: 360 less the reading)",
        other=_IN_GON,
    ),
    "zenith_gon": _Angle(
        over=0.0, below=200.0, unit="gon (0 is up, 100 level; face right: 400 less the reading)"
    ),
    "zenith_dms": _Dms(over=0.0, below=180.0),
    "slope_m": _LENGTH,
    "distance_m": _LENGTH,
    "instrument_height_m": _HEIGHT,
    "target_height_m": _HEIGHT,
    "sd_direction_sec": _SECONDS,
    "sd_zenith_sec": _SECONDS,
    "sd_distance_mm": Number(at_least=0.0, at_most=100_000.0, unit="mm"),
    "sd_distance_ppm": Number(at_least=0.0, at_most=10_000.0, unit="mm/km"),
}
CONTROL_FIELDS: dict[str, Field] = {
    "point": _Name(),
    "easting_m": _COORDINATE,
    "northing_m": _COORDINATE,
    "level_m": Number(at_least=-12_000.0, at_most=12_000.0, unit="m"),
    "sd_mm": _ControlSd(at_least=_LEAST_SD_MM, at_most=1_000_000.0, unit="mm"),
}
_TO_RAD = {"deg": math.pi / 180.0, "gon": _GON, "dms": math.pi / 180.0}


@dataclass(frozen=True)
class Survey:
    """Both files read; `remarks` say how they were understood where that could surprise."""

    observations: list[Observation]
    control: list[ControlPoint]
    remarks: list[str]


def holds_sights(path: str) -> bool:
    """Whether a file's first line names stations and targets. False for one that cannot be read, or that is no
    ordinary file: a pipe would be waited for."""
    try:
        named = Path(os.path.expanduser(path))
        if not named.is_file():
            return False
        with named.open("rb") as file:
            head = file.readline(4096).decode("utf-8-sig", "replace")
    except OSError:
        return False
    names = {name.strip().strip('"').lower() for name in re.split(r"[,;\t]", head)}
    return {"station", "target"} <= names


def read_survey(observations: str | os.PathLike[str], control: str | os.PathLike[str]) -> Survey:
    """Reads both files; raises InputRefused with the problems of both."""
    said: list[str] = []
    remarks: list[str] = []
    sights: list[Observation] = []
    points: list[ControlPoint] = []
    try:
        table, sights = _observations(observations)
        remarks += table.remarks + _remarks(table)
    except InputRefused as problem:
        said += problem.problems
    try:
        points = read_control(control)
    except InputRefused as problem:
        said += problem.problems
    if said:
        if _changed_over(observations, control):
            raise InputRefused(
                f"{os.fspath(observations)} holds control points and {os.fspath(control)} holds sights: give them "
                "the other way round"
            )
        raise InputRefused(said)
    return Survey(sights, points, remarks)


def _changed_over(observations: str | os.PathLike[str], control: str | os.PathLike[str]) -> bool:
    try:
        read_control(observations)
        read_observations(control)
    except InputRefused:
        return False
    return True


def read_observations(path: str | os.PathLike[str]) -> list[Observation]:
    """Every observed value of an observations file, one record each. Raises InputRefused."""
    return _observations(path)[1]


def read_control(path: str | os.PathLike[str]) -> list[ControlPoint]:
    """The control points of a file. Raises InputRefused, also for a name that stands twice."""
    problems = Problems(path)
    table = read_table(path, CONTROL_FIELDS, required=("point", "easting_m", "northing_m"), problems=problems)
    first: dict[str, int] = {}
    points = []
    for row in table.rows:
        v = row.values
        if v["point"] in first:
            problems.add(f"point {shown(v['point'])} stands already in line {first[v['point']]}", row.line)
            continue
        first[v["point"]] = row.line
        points.append(
            ControlPoint(v["point"], v["easting_m"], v["northing_m"], v.get("level_m"), v.get("sd_mm", 0.0))
        )
    problems.refuse_if_any()
    return points


def near_misses(observations: list[Observation], control: list[ControlPoint]) -> list[str]:
    """Hints when no sight uses a control point by its exact name: spaces, capitals, a slip of the pen."""
    sighted = {name for o in observations for name in (o.station, o.target)}
    hints = []
    for c in control:
        if c.point not in sighted:
            near = nearest(c.point, {s for s in sighted if s.lower() == c.point.lower()} or sighted)
            hints.append(f"control point {c.point} is in no sight{near}")
    return hints[:8]


def _observations(path: str | os.PathLike[str]) -> tuple[Table, list[Observation]]:
    problems = Problems(path)
    table = read_table(path, OBSERVATION_FIELDS, required=("station", "target"), problems=problems)
    observations = [o for row in table.rows for o in _of_row(row, problems)]
    problems.refuse_if_any()
    return table, observations


def _of_row(row: Row, problems: Problems) -> list[Observation]:
    v = row.values
    before = problems.count
    if v["station"] == v["target"]:
        problems.add(f"target {shown(v['target'])} is the station itself", row.line)
    direction = _angle(row, "direction", problems)
    zenith = _angle(row, "zenith", problems)
    if "slope_m" in v and "distance_m" in v:
        problems.add(
            "slope_m and distance_m are both given: one measurement would count twice; leave one empty",
            row.line,
        )
    observed: list[tuple[Kind, float, float]] = []
    if direction is not None:
        observed.append(
            ("direction", direction, v.get("sd_direction_sec", DEFAULT_SD_DIRECTION_SEC) * ARC_SECOND)
        )
    if zenith is not None:
        observed.append(("zenith", zenith, v.get("sd_zenith_sec", DEFAULT_SD_ZENITH_SEC) * ARC_SECOND))
    kinds: tuple[tuple[str, Kind], ...] = (("slope_m", "slope"), ("distance_m", "distance"))
    for column, kind in kinds:
        if column in v:
            sd = _sd_of_distance(v, v[column])
            if sd * 1e3 < _LEAST_SD_MM * (1.0 - 1e-9):
                problems.add(
                    f"sd_distance_mm and sd_distance_ppm make an sd of {sd * 1e3:g} mm: must be at least "
                    f"{_LEAST_SD_MM:g} mm",
                    row.line,
                )
            observed.append((kind, v[column], sd))
    if not observed and problems.count == before:
        problems.add("observes nothing: give a direction, a zenith angle, slope_m or distance_m", row.line)
    if problems.count > before:
        return []
    heights = v.get("instrument_height_m", 0.0), v.get("target_height_m", 0.0)
    return [
        Observation(row.line, v["station"], v["target"], kind, value, sd, v.get("set", ""), *heights)
        for kind, value, sd in observed
    ]


def _angle(row: Row, name: str, problems: Problems) -> float | None:
    """rad, from whichever of the three columns is filled."""
    filled = [unit for unit in _TO_RAD if f"{name}_{unit}" in row.values]
    if len(filled) > 1:
        problems.add(
            f"{' and '.join(f'{name}_{u}' for u in filled)} are both given: leave one empty", row.line
        )
    if not filled:
        return None
    return float(row.values[f"{name}_{filled[0]}"] * _TO_RAD[filled[0]])


def _sd_of_distance(v: dict[str, Any], length_m: float) -> float:
    if "sd_distance_mm" not in v and "sd_distance_ppm" not in v:
        return distance_sd_m(length_m, DEFAULT_SD_DISTANCE_MM, DEFAULT_SD_DISTANCE_PPM)
    return distance_sd_m(length_m, v.get("sd_distance_mm", 0.0), v.get("sd_distance_ppm", 0.0))


def _remarks(table: Table) -> list[str]:
    """Rows that stand twice, and which values were taken by default, once for the whole file."""
    remarks = _twice(table)
    rows = [r.values for r in table.rows]
    upward = [v for v in rows if any(k.startswith("zenith") for k in v)]
    for column, what in (("instrument_height_m", "instrument"), ("target_height_m", "target")):
        bare = sum(column not in v for v in upward)
        if bare:
            remarks.append(f"{bare} of {len(upward)} zenith sights give no {what} height: taken as 0 m")
    defaults = (
        ("direction", "sd_direction_sec", f"{DEFAULT_SD_DIRECTION_SEC:g} arc-seconds"),
        ("zenith", "sd_zenith_sec", f"{DEFAULT_SD_ZENITH_SEC:g} arc-seconds"),
    )
    for name, column, default in defaults:
        bare = sum(any(k.startswith(f"{name}_") for k in v) and column not in v for v in rows)
        if bare:
            remarks.append(f"{bare} {name}s without {column}: taken as {default}")
    bare = sum(
        ("slope_m" in v or "distance_m" in v) and not ("sd_distance_mm" in v or "sd_distance_ppm" in v)
        for v in rows
    )
    if bare:
        remarks.append(
            f"{bare} distances without sd: taken as {DEFAULT_SD_DISTANCE_MM:g} mm and "
            f"{DEFAULT_SD_DISTANCE_PPM:g} ppm"
        )
    return remarks


def _twice(table: Table) -> list[str]:
    """Rows that are another one again, figure by figure: they count twice, as a second reading would."""
    first: dict[tuple[tuple[str, Any], ...], int] = {}
    remarks = []
    for row in table.rows:
        values = tuple(sorted(row.values.items()))
        if values in first:
            remarks.append(
                f"row {row.line} is row {first[values]} again, figure by figure, and counts as a second reading: "
                "take it out if it is a copy"
            )
        first.setdefault(values, row.line)
    more = len(remarks) - _MOST_TWICE
    return (
        [*remarks[:_MOST_TWICE], f"and {more} more rows that are another one again"] if more > 0 else remarks
    )
