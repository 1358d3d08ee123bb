"""The axis as a drive file gives it: `[axis]` with start, horizontal and vertical elements."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

from steer.axis.axis import Axis, AxisError
from steer.axis.plan import Plan, chain
from steer.axis.profile import Profile, chain_profile

MOST_KINK_MM_PER_M = 0.05
SAME_LENGTH_M = 0.001
_MOST_GRADE_MM_PER_M = 1000.0

_START = ("chainage_m", "easting_m", "northing_m", "level_m", "bearing_deg")
_HORIZONTAL = {
    "line": ("length_m",),
    "spiral": ("length_m", "radius_start_m", "radius_end_m", "turn"),
    "arc": ("length_m", "radius_m", "turn"),
}
_VERTICAL = {
    "grade": ("length_m", "grade_mm_per_m"),
    "parabola": ("length_m", "grade_start_mm_per_m", "grade_end_mm_per_m"),
    "arc": ("length_m", "grade_start_mm_per_m", "grade_end_mm_per_m"),
}


def axis_from_spec(
    start: Mapping[str, object],
    horizontal: Sequence[Mapping[str, object]],
    vertical: Sequence[Mapping[str, object]],
) -> Axis:
    """Build the axis from the keys of `[axis]` in drive.toml.

    horizontal: `line`, `arc`, `spiral` (clothoid; a radius may be "inf"), placed tangentially.
    vertical: `grade`, `parabola`, and `arc` (a circular curve between two grades over a plan length;
    its radius follows). Both span the same plan length to 1 mm; grades meet to 0.05 mm/m.
    Raises AxisError with every problem found.
    """
    problems: list[str] = []
    begin = _start(start, problems)
    shapes = _elements("horizontal", horizontal, _HORIZONTAL, problems)
    slopes = _elements("vertical", vertical, _VERTICAL, problems)
    plan_shapes = [_plan_shape(f"axis.horizontal[{i}]", e, problems) for i, e in shapes]
    profile_shapes = [_profile_shape(e) for _, e in slopes]
    if not problems:
        problems += kinks_in_grade(begin["chainage_m"], profile_shapes)
        length, span = sum(s[1] for s in plan_shapes), sum(s[1] for s in profile_shapes)
        if abs(length - span) > SAME_LENGTH_M:
            problems.append(
                f"axis.vertical: spans {span:.4f} m but axis.horizontal spans {length:.4f} m; "
                "both must span the same plan length (to 1 mm)"
            )
    if problems:
        raise AxisError(problems)
    return Axis(
        Plan(chain(math.radians(begin["bearing_deg"]), plan_shapes)),
        Profile(chain_profile(profile_shapes)),
        chainage_m=begin["chainage_m"],
        easting_m=begin["easting_m"],
        northing_m=begin["northing_m"],
        level_m=begin["level_m"],
    )


def kinks_in_grade(start_chainage_m: float, shapes: Sequence[tuple[str, float, float, float]]) -> list[str]:
    """A line for every joint where the grade jumps by more than 0.05 mm/m, with chainage and size."""
    found = []
    chainage = start_chainage_m
    for i, (before, after) in enumerate(pairwise(shapes)):
        chainage += before[1]
        kink = (after[2] - before[3]) * 1e3
        if abs(kink) > MOST_KINK_MM_PER_M + 1e-9:
            found.append(
                f"axis.vertical[{i + 1}]: the grade jumps by {kink:+.3f} mm/m at chainage {chainage:.3f} m "
                f"({before[3] * 1e3:.3f} to {after[2] * 1e3:.3f} mm/m); at most {MOST_KINK_MM_PER_M} mm/m is "
                "allowed, put a parabola between the grades"
            )
    return found


def _start(start: object, problems: list[str]) -> dict[str, float]:
    values: dict[str, float] = {}
    if not isinstance(start, Mapping):
        problems.append(f"axis.start = {start!r}: must be a table with {', '.join(_START)}")
        return values
    _unknown("axis.start", start, _START, problems)
    for key in _START:
        values[key] = _number(f"axis.start.{key}", start, key, problems)
    return values


def _elements(
    name: str, given: object, kinds: Mapping[str, tuple[str, ...]], problems: list[str]
) -> list[tuple[int, dict[str, object]]]:
    """The elements with their keys and numbers checked; radii and turn still as given."""
    if not isinstance(given, Sequence) or isinstance(given, str) or not given:
        problems.append(f"axis.{name} = {given!r}: must be a list of at least one element")
        return []
    checked = []
    for i, element in enumerate(given):
        place = f"axis.{name}[{i}]"
        if not isinstance(element, Mapping):
            problems.append(f"{place} = {element!r}: must be a table with kind and length_m")
            continue
        kind = element.get("kind")
        if not isinstance(kind, str) or kind not in kinds:
            said = "missing" if "kind" not in element else f"= {kind!r}"
            problems.append(f"{place}.kind {said}: must be one of {', '.join(kinds)}")
            continue
        keys = kinds[kind]
        _unknown(place, element, ("kind", *keys), problems)
        values: dict[str, object] = {"kind": kind}
        for key in keys:
            if key == "turn":
                turn = element.get(key)
                if turn not in ("right", "left"):
                    said = "missing" if key not in element else f"= {turn!r}"
                    problems.append(f'{place}.turn {said}: must be "right" or "left"')
                values[key] = turn
            else:
                values[key] = _number(f"{place}.{key}", element, key, problems)
        checked.append((i, values))
    return checked


def _number(place: str, table: Mapping[str, object], key: str, problems: list[str]) -> float:
    """The number under key, checked for its kind by its name; NaN when it is refused."""
    if key not in table:
        problems.append(f"{place} missing: must be given, a number")
        return math.nan
    value = table[key]
    radius = key.startswith("radius")
    may_be_infinite = key in ("radius_start_m", "radius_end_m")
    if may_be_infinite and value == "inf":
        return math.inf
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        more = ' or "inf"' if may_be_infinite else ""
        problems.append(f"{place} = {value!r}: must be a number{more}")
        return math.nan
    number = float(value)
    if radius or key == "length_m":
        if not number > 0.0 or (math.isinf(number) and not may_be_infinite):
            why = " (give the side by turn)" if radius and number < 0.0 else ""
            problems.append(f"{place} = {value!r}: must be a number over 0{why}")
            return math.nan
    elif not math.isfinite(number):
        problems.append(f"{place} = {value!r}: must be a finite number")
        return math.nan
    elif key.startswith("grade") and abs(number) > _MOST_GRADE_MM_PER_M:
        problems.append(f"{place} = {value!r}: must lie between -1000 and 1000 mm/m")
        return math.nan
    return number


def _unknown(place: str, table: Mapping[str, object], keys: Sequence[str], problems: list[str]) -> None:
    for key in table:
        if key not in keys:
            near = difflib.get_close_matches(str(key), keys, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            problems.append(f"{place}.{key}: unknown key, allowed are {', '.join(keys)}{hint}")


def _plan_shape(
    place: str, element: Mapping[str, object], problems: list[str]
) -> tuple[str, float, float, float]:
    kind, length = str(element["kind"]), float(element["length_m"])  # type: ignore[arg-type]
    side = -1.0 if element.get("turn") == "left" else 1.0
    if kind == "line":
        radii = (math.inf, math.inf)
    elif kind == "arc":
        radii = (float(element["radius_m"]),) * 2  # type: ignore[arg-type]
    else:
        radii = (float(element["radius_start_m"]), float(element["radius_end_m"]))  # type: ignore[arg-type]
    k0, k1 = side / radii[0] + 0.0, side / radii[1] + 0.0  # + 0.0: no negative zero
    turn = 0.5 * abs(k0 + k1) * length
    if turn > 2.0 * math.pi:
        problems.append(
            f"{place}.length_m = {length!r}: turns by {math.degrees(turn):.0f} degrees; "
            "at most a full circle is allowed"
        )
    return kind, length, k0, k1


def _profile_shape(element: Mapping[str, object]) -> tuple[str, float, float, float]:
    kind, length = str(element["kind"]), float(element["length_m"])  # type: ignore[arg-type]
    if kind == "grade":
        g0 = g1 = float(element["grade_mm_per_m"]) / 1e3  # type: ignore[arg-type]
    else:
        g0 = float(element["grade_start_mm_per_m"]) / 1e3  # type: ignore[arg-type]
        g1 = float(element["grade_end_mm_per_m"]) / 1e3  # type: ignore[arg-type]
    return kind, length, g0, g1
