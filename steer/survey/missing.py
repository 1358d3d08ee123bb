"""Says in words what a network lacks: which point, which coordinate, what sight would help."""

from __future__ import annotations

from collections import deque

from steer.survey.observations import ControlPoint, Observation
from steer.survey.placing import Placement
from steer.survey.sights import Sights

_MOST_LINES = 12


def unplaced(
    observations: list[Observation], control: list[ControlPoint], sights: Sights, fullest: Placement
) -> list[str]:
    """Why the points that no start reached have no easting and northing, one line each."""
    lines = []
    known = {c.point for c in control}
    missing = [p for p in sights.at if p not in fullest.position]
    for group in _together(sights, missing):
        names = _listed(group)
        reached = _component(sights, group[0]) & known
        seen = {o.kind for o in observations if {o.station, o.target} & set(group)}
        if not reached and seen == {"zenith"}:
            lines.append(
                f"{names}: only zenith angles sight {_it(group)}, which give a height and no place; needed: a "
                "distance or a direction as well"
            )
        elif not reached:
            lines.append(f"{names}: no sight ties {_it(group)} to a control point")
        elif len(reached) == 1:
            lines.append(
                f"{names}: easting and northing cannot be found: only one control point ({reached.pop()}) "
                f"ties {_it(group)}, so the direction of north is missing; sight a second control point"
            )
        else:
            lines += [_thin(p, observations, fullest) for p in group]
    return cut(lines)


def _thin(point: str, observations: list[Observation], fullest: Placement) -> str:
    sights = [o for o in observations if point in (o.station, o.target) and o.kind != "zenith"]
    lengths = {frozenset((o.station, o.target)) for o in sights if o.kind != "direction"}
    to_it = sum(o.kind == "direction" and o.target == point for o in sights)
    from_it = sum(o.kind == "direction" and o.station == point for o in sights)
    rows = sorted({o.row for o in observations if point in (o.station, o.target)})
    where = (
        f"row{'s' if len(rows) > 1 else ''} {', '.join(map(str, rows[:8]))}{' …' if len(rows) > 8 else ''}"
    )
    if point in fullest.undecided or (len(lengths) == 2 and not to_it and not from_it):
        return (
            f"{point}: easting and northing are not unique: its sights ({where}) fit two places; one more "
            "distance or direction must tell them apart"
        )
    circle = ""
    if from_it >= 3:
        circle = "; three known points on one circle through it do not fix it by directions alone"
    return (
        f"{point}: easting and northing cannot be found from {_count(len(lengths), 'distance')}, "
        f"{_count(to_it, 'direction')} to it and {_count(from_it, 'direction')} from it ({where}); needed: "
        "a distance and a direction from a point that is known and oriented (its set also sights a known "
        f"point), or two such directions, or directions from it to three known points{circle}"
    )


def two_places(first: dict[str, complex], second: dict[str, complex]) -> list[str]:
    lines = []
    for point, place in first.items():
        other = second[point]
        if abs(other - place) > 0.1:
            lines.append(
                f"{point}: two places fit the sights equally well: easting {place.imag:.3f}, northing "
                f"{place.real:.3f} and easting {other.imag:.3f}, northing {other.real:.3f}; one more "
                "distance or direction must tell them apart"
            )
    return cut(lines)


def undetermined(point: str, axes: list[int]) -> str:
    """A coordinate that the sights leave free although first values were found."""
    names = " and ".join(("easting", "northing", "level")[a] for a in axes)
    verb = "is" if len(axes) == 1 else "are"
    return f"{point}: {names} {verb} not determined by the sights; another distance or direction is missing"


def slopes_without_level(observations: list[Observation], free: list[Observation]) -> list[str]:
    return cut(
        [
            f"row {o.row}: slope_m from {o.station} to {o.target} has no zenith angle, and the height "
            "difference is not known otherwise: give zenith_deg (or _gon, _dms) or the horizontal distance_m"
            for o in free
        ]
    )


def _together(sights: Sights, missing: list[str]) -> list[list[str]]:
    left, groups = dict.fromkeys(missing), []
    while left:
        group, queue = [], deque([next(iter(left))])
        left.pop(queue[0])
        while queue:
            point = queue.popleft()
            group.append(point)
            for other in sorted(sights.neighbours(point)):
                if other in left:
                    left.pop(other)
                    queue.append(other)
        groups.append(group)
    return groups


def _component(sights: Sights, point: str) -> set[str]:
    reached, queue = {point}, deque([point])
    while queue:
        for other in sights.neighbours(queue.popleft()):
            if other not in reached:
                reached.add(other)
                queue.append(other)
    return reached


def _listed(points: list[str]) -> str:
    return ", ".join(points[:8]) + (f" and {len(points) - 8} more" if len(points) > 8 else "")


def _it(points: list[str]) -> str:
    return "it" if len(points) == 1 else "them"


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def cut(lines: list[str]) -> list[str]:
    """At most a dozen lines, and how many more there were."""
    if len(lines) <= _MOST_LINES:
        return lines
    return [*lines[:_MOST_LINES], f"and {len(lines) - _MOST_LINES} more like these"]
