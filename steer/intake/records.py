"""Readings, check shots, reference settings and ends of stroke: what each may hold.

A body holds only what was measured. Bounds are wide: they keep out what cannot be meant (a chainage off the
drive, metres in a column of millimetres); whether a value is a good one is for the estimate to say.
The body of a reading has `cylinder_mm`, one entry a cylinder, None where it was not measured.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from steer.drivefile import DriveFile
from steer.errors import InputRefused
from steer.intake.fields import Covariance, Field, Flag, NotAllowed, Number, Numbers, Text, Time, Whole, Word
from steer.intake.jsonrows import parse_object
from steer.intake.problems import Problems, nearest
from steer.intake.reading import LONGEST_LINE
from steer.text import shown

BEYOND_ENDS_M = 10.0  # chainage may lie this far before the start and after the end of the axis
ALONG_M = 3.0  # between where a surveyed point lies and where its chainage says
_OFFSET_MM = Number(-10_000, 10_000, unit="mm")
_DIRECTION = Number(-500, 500, unit="mm/m")
CYLINDER = Number(-10_000, 10_000, unit="mm")
# Below what any survey reaches (common practice, no source), and where an sd of a few mm given in metres stands.
_SD = Number(at_least=0.01, at_most=10_000, unit="mm (not m)")
_STORED_SD = Number(over=0, at_most=10_000, unit="mm")
_COORDINATE = Number(-1e8, 1e8, unit="m")
_POINTS = ("face", "target", "tail", "pipe")
_SPOT = ("spot_right_mm", "spot_up_mm")
_TARGET = ("target_line_mm", "target_level_mm")
_PLANE = ("line_mm", "level_mm")
_PLACE = ("easting_m", "northing_m", "level_m")


def _ends(drive: DriveFile) -> tuple[float, float]:
    return drive.axis.start_chainage_m, drive.axis.end_chainage_m


def _chainage(start: float, end: float) -> Number:
    unit = f"m (the drive's axis and {BEYOND_ENDS_M:g} m beyond either end)"
    return Number(round(start - BEYOND_ENDS_M, 3), round(end + BEYOND_ENDS_M, 3), unit=unit)


def cylinder_count(drive: DriveFile) -> int:
    """How many steering cylinders the machine has."""
    return len(drive.machine.cylinders.positions_deg)


# -- readings --------------------------------------------------------------------------------------


def _reading(ends: tuple[float, float], cylinders: Mapping[str, Field]) -> dict[str, Field]:
    return {
        "time": Time(),
        "chainage_m": _chainage(*ends),
        "spot_right_mm": _OFFSET_MM,
        "spot_up_mm": _OFFSET_MM,
        "target_line_mm": _OFFSET_MM,
        "target_level_mm": _OFFSET_MM,
        "yaw_mm_per_m": _DIRECTION,
        "pitch_mm_per_m": _DIRECTION,
        "roll_deg": Number(-180, 180, unit="degrees"),
        **cylinders,
        # Sensors at rest show a little less than nothing.
        "jacking_force_kn": Number(-10_000, 1_000_000, unit="kN"),
        "face_pressure_kpa": Number(-10_000, 100_000, unit="kPa"),
        "torque_knm": Number(-100_000, 100_000, unit="kNm"),
        "advance_mm_per_min": Number(-10_000, 10_000, unit="mm/min"),
        "lubricant_l": Number(-1_000, 100_000_000, unit="l"),
        "note": Text(),
    }


def reading_columns(drive: DriveFile) -> dict[str, Field]:
    """The columns of a CSV file of readings: cylinder_1_mm … cylinder_N_mm stand apart."""
    return _reading(_ends(drive), {f"cylinder_{k + 1}_mm": CYLINDER for k in range(cylinder_count(drive))})


def reading_members(drive: DriveFile) -> dict[str, Field]:
    """The members of a JSON reading: cylinder_mm is an array."""
    return _reading_members(_ends(drive), cylinder_count(drive))


@lru_cache(maxsize=8)
def _reading_members(ends: tuple[float, float], count: int) -> dict[str, Field]:
    why = f", since this drive's machine has {count} cylinders"
    return _reading(ends, {"cylinder_mm": Numbers(CYLINDER, count, why)})


def reading_hints(drive: DriveFile) -> dict[str, str]:
    """What to say of columns for cylinders that the machine does not have, and of the other notation."""
    count = cylinder_count(drive)
    more = {
        f"cylinder_{k}_mm": f"is not known: this drive's machine has {count} cylinders (drive.toml)"
        for k in (0, *range(count + 1, 100))
    }
    return {**more, "cylinder_mm": f"is not known: in CSV write cylinder_1_mm to cylinder_{count}_mm"}


def json_reading_hints(drive: DriveFile) -> dict[str, str]:
    """The same for JSON."""
    return _json_reading_hints(cylinder_count(drive))


@lru_cache(maxsize=8)
def _json_reading_hints(count: int) -> dict[str, str]:
    said = f"is not known: in JSON write cylinder_mm, an array of {count} numbers"
    return {f"cylinder_{k}_mm": said for k in range(100)}


def finish_reading(
    values: dict[str, Any], drive: DriveFile, problems: Problems, line: int | None = None
) -> dict[str, Any] | None:
    """The body of a reading from its checked values, or None when they cannot stand together."""
    both = [n for n in (*_SPOT, *_TARGET) if n in values]
    if any(n in _SPOT for n in both) and any(n in _TARGET for n in both):
        problems.add(f"{' and '.join(both)}: give the spot or the target's own offset, not both", line)
        return None
    body = values  # not a copy: a file has up to 200,000 of them
    count = cylinder_count(drive)
    apart = [body.pop(f"cylinder_{k + 1}_mm", None) for k in range(count)]
    cylinders = body.pop("cylinder_mm", apart)
    if any(extension is not None for extension in cylinders):
        body["cylinder_mm"] = cylinders
    return body


# -- check shots -----------------------------------------------------------------------------------


def shot_fields(drive: DriveFile) -> dict[str, Field]:
    """Columns of a CSV file and members of a JSON line alike."""
    return _shot_fields(_ends(drive))


@lru_cache(maxsize=8)
def _shot_fields(ends: tuple[float, float]) -> dict[str, Field]:
    return {
        "time": Time(),
        "chainage_m": _chainage(*ends),
        "point": Word(_POINTS),
        "line_mm": _OFFSET_MM,
        "level_mm": _OFFSET_MM,
        "easting_m": _COORDINATE,
        "northing_m": _COORDINATE,
        "level_m": Number(-20_000, 20_000, unit="m"),
        "sd_mm": _SD,
        "sd_line_mm": _SD,
        "sd_level_mm": _SD,
        # a prism elsewhere on the machine, and the roll if it was measured with the shot
        "prism_behind_face_m": Number(0, 200, unit="m"),
        "prism_right_mm": _OFFSET_MM,
        "prism_up_mm": _OFFSET_MM,
        "roll_deg": Number(-180, 180, unit="degrees"),
        "note": Text(),
    }


def stored_shot_fields(drive: DriveFile) -> dict[str, Field]:
    """What a check shot in the log may hold besides: whether it asks for a person's word when it disagrees
    (a file's does), the number of the shot that it seems to repeat, and line and level's covariance out of an
    adjusted survey. Logs of before hold smaller sd."""
    more = {"asks": Flag(), "repeats": Whole(1), "covariance_mm2": Covariance("mm²")}
    sd = dict.fromkeys(("sd_mm", "sd_line_mm", "sd_level_mm"), _STORED_SD)
    return {**shot_fields(drive), **sd, **more}


def finish_shot(
    values: dict[str, Any], drive: DriveFile | None, problems: Problems, line: int | None = None
) -> dict[str, Any] | None:
    """The body of a check shot, or None when the values do not make one. Without a drive, coordinates may
    lie anywhere."""
    before = problems.count
    offsets = [n for n in _PLANE if n in values]
    place = [n for n in _PLACE if n in values]
    if offsets and place:
        problems.add(
            f"{' and '.join(offsets + place)}: give line_mm and level_mm, or easting_m, northing_m "
            "and level_m, not both",
            line,
        )
    elif not offsets and not place:
        problems.add("holds no survey: give line_mm and level_mm, or easting_m, northing_m and level_m", line)
    elif place and len(place) < 3:
        gone = " and ".join(n for n in _PLACE if n not in values)
        problems.add(f"{gone}: missing: coordinates are easting_m, northing_m and level_m together", line)
    if "chainage_m" not in values and not (values.get("point") == "pipe" and place):
        problems.missing("chainage_m", "a number; only a pipe's point with coordinates can do without", line)
    planes = [n for n in ("sd_line_mm", "sd_level_mm") if place or n.removeprefix("sd_") in offsets]
    if "sd_mm" in values:
        if mixed := [n for n in ("sd_line_mm", "sd_level_mm") if n in values]:
            problems.add(f"sd_mm and {' and '.join(mixed)}: give the one or the others", line)
    elif "covariance_mm2" not in values and (gone := " and ".join(n for n in planes if n not in values)):
        problems.missing(f"sd_mm (or {gone})", f"{_SD.allowed}, the survey's own standard deviation", line)
    if values.get("point") == "pipe" and "prism_behind_face_m" in values:
        problems.add("prism_behind_face_m: is for a prism on the machine; a pipe has its own chainage", line)
    if problems.count == before and len(place) == 3 and drive is not None:
        _near_the_axis(values, drive, problems, line)
    return values if problems.count == before else None


def _near_the_axis(values: dict[str, Any], drive: DriveFile, problems: Problems, line: int | None) -> None:
    """Coordinates metres off the axis are a slip (easting and northing changed over, another grid)."""
    easting, northing, level = (float(values[n]) for n in _PLACE)
    off = _off_m(drive, easting, northing, level)
    if off is None:
        _at_its_chainage(values, drive, problems, line)
        return
    where = f"easting_m, northing_m, level_m: {easting:.3f}, {northing:.3f}, {level:.3f} is "
    where += "not near the drive's axis" if off == math.inf else f"{off:.0f} m off the drive's axis"
    allowed = f"at most {_OFFSET_MM.at_most / 1000:g} m are allowed"
    if _off_m(drive, northing, easting, level) is None:
        said = "with easting and northing the other way round it lies by the axis: they are changed over"
    else:
        said = "another grid, or another point?"
    problems.add(f"{where}: {allowed}; {said}", line)


def _at_its_chainage(values: dict[str, Any], drive: DriveFile, problems: Problems, line: int | None) -> None:
    """A point that lies metres from where its chainage says belongs to another chainage, or is another point."""
    if "chainage_m" not in values or "point" not in values:
        return
    point = values["point"]
    behind = {"target": drive.target.behind_face_m, "tail": drive.machine.length_m}.get(point, 0.0)
    behind = values.get("prism_behind_face_m", behind)
    foot = float(drive.axis.locate(*(float(values[n]) for n in _PLACE)).chainage_m)
    expected = values["chainage_m"] - behind
    if abs(foot - expected) > ALONG_M:
        problems.add(
            f"chainage_m: {values['chainage_m']:g} is not allowed: the point lies at {foot:.2f} m, and a {point} "
            f"then lies at {expected:.2f} m; at most {ALONG_M:g} m between them are allowed",
            line,
        )


def _off_m(drive: DriveFile, easting: float, northing: float, level: float) -> float | None:
    """How far off the axis beyond what is allowed, m; inf where no foot is found; None when near."""
    at = drive.axis.locate(easting, northing, level)
    if not at.ok:
        return math.inf
    start, end = drive.axis.start_chainage_m, drive.axis.end_chainage_m
    off_mm = max(abs(float(at.line_mm)), abs(float(at.level_mm)))
    beyond = max(start - float(at.chainage_m), float(at.chainage_m) - end)
    # behind the start stand machine and launch shaft
    if off_mm > _OFFSET_MM.at_most or beyond > BEYOND_ENDS_M + drive.machine.length_m:
        return max(off_mm / 1000, beyond)
    return None


# -- reference settings and ends of stroke ---------------------------------------------------------


def reference_fields(drive: DriveFile) -> dict[str, Field]:
    """The members of a setting of the reference."""
    return {
        "time": Time(),
        "chainage_m": _chainage(*_ends(drive)),
        "right_mm": _OFFSET_MM,
        "up_mm": _OFFSET_MM,
        "right_mm_per_m": _DIRECTION,
        "up_mm_per_m": _DIRECTION,
        "note": Text(),
    }


def stroke_end_fields(drive: DriveFile) -> dict[str, Field]:
    """The members of an end of stroke."""
    return {"time": Time(), "chainage_m": _chainage(*_ends(drive)), "note": Text()}


# -- one object of the feed ------------------------------------------------------------------------


def _members(
    found: Mapping[str, Any],
    kind: str,
    fields: Mapping[str, Field],
    required: tuple[str, ...],
    problems: Problems,
    hints: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name, value in found.items():
        if name == "kind":
            if value != kind:
                problems.value("kind", value, f'"{kind}"')
        elif name not in fields:
            problems.add(f"{shown(name)} {(hints or {}).get(name) or f'is not known{nearest(name, fields)}'}")
        elif value is not None:
            try:
                values[name] = fields[name].from_json(value)
            except NotAllowed as problem:
                problems.value(name, value, str(problem))
    for name in required:
        if found.get(name) is None:
            problems.missing(name, fields[name].allowed)
    return values


def object_from_line(line: str) -> dict[str, Any]:
    """One line of the feed as one JSON object, nothing checked but the JSON. Raises InputRefused."""
    if len(line) > LONGEST_LINE:
        raise InputRefused(f"the line is {len(line)} characters long: at most {LONGEST_LINE} are allowed")
    try:
        return parse_object(line)
    except NotAllowed as problem:
        raise InputRefused(f"the line {problem}") from None


def reading_from_json(found: Mapping[str, Any], drive: DriveFile) -> dict[str, Any]:
    """The body of one reading. Raises InputRefused with every problem; so do the other three."""
    problems = Problems()
    members = reading_members(drive)
    values = _members(found, "reading", members, ("chainage_m",), problems, json_reading_hints(drive))
    body = finish_reading(values, drive, problems)
    problems.refuse_if_any()
    return body or {}


def check_shot_from_json(found: Mapping[str, Any], drive: DriveFile) -> dict[str, Any]:
    """The body of one check shot."""
    problems = Problems()
    values = _members(found, "check_shot", shot_fields(drive), ("point",), problems)
    problems.refuse_if_any()
    body = finish_shot(values, drive, problems)
    problems.refuse_if_any()
    return body or {}


def reference_set_from_json(found: Mapping[str, Any], drive: DriveFile) -> dict[str, Any]:
    """The body of one setting of the reference, from this chainage on. A beam needs its direction too."""
    problems = Problems()
    required: tuple[str, ...] = ("chainage_m", "right_mm", "up_mm")
    if drive.reference.kind == "beam":
        required += ("right_mm_per_m", "up_mm_per_m")
    body = _members(found, "reference_set", reference_fields(drive), required, problems)
    problems.refuse_if_any()
    return body


def stroke_end_from_json(found: Mapping[str, Any], drive: DriveFile) -> dict[str, Any]:
    """The body of one end of a stroke."""
    problems = Problems()
    body = _members(found, "stroke_end", stroke_end_fields(drive), ("chainage_m",), problems)
    problems.refuse_if_any()
    return body
