"""The profile out of a LandXML ProfAlign: vertices joined by grades, each rounded by its curve.

A curve is rebuilt from its vertex and the grades beside it. CircCurve lengths mean the arc in some files
and the plan length in others, and radii are signed in some: the size of the radius is used, its side
comes from the grades. Unsymmetrical parabolas are two parabolas that meet under the vertex.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from steer.axis.landxml_plan import NUMBER, number_in
from steer.axis.profile import ProfileElement
from steer.axis.spec import MOST_KINK_MM_PER_M
from steer.text import printable, shown

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_OVERLAP_M = 0.001
_TOO_SHORT_M = 0.010  # a profile may end this far short of the plan; rounded chainages do
_KINDS = ("PVI", "ParaCurve", "UnsymParaCurve", "CircCurve")


@dataclass(frozen=True)
class _Vertex:
    place: str
    kind: str
    station_m: float
    level_m: float
    sizes: tuple[float, ...]  # length(s) of a parabola, radius and stated length of a circle; m


@dataclass(frozen=True)
class _Curve:
    """Elements of one curve from its beginning; empty for a plain vertex."""

    begin_m: float
    end_m: float
    elements: tuple[ProfileElement, ...]


def read_profile(
    profiles: list[Element], alignment: str, unit_m: float, problems: list[str], notes: list[str]
) -> tuple[float, tuple[ProfileElement, ...]] | None:
    """Station of the profile's start (m), and its elements with levels as in the file (m)."""
    found = [e for p in profiles for e in p if _name(e) == "ProfAlign"]
    if len(found) > 1:
        named = [e for e in found if e.get("name") == alignment]
        if len(named) != 1:
            listed = ", ".join(shown(e.get("name", "")) for e in found)
            problems.append(
                f"has {len(found)} design profiles ({listed}); leave one, or name one as the alignment"
            )
            return None
        found = named
        notes.append(f"of several design profiles the one named {shown(alignment)} was used")
    if not found:
        problems.append("has no ProfAlign: the axis needs levels")
        return None
    count = len(problems)
    vertices = _vertices(found[0], unit_m, problems)
    if len(problems) > count:
        return None
    if len(vertices) < 2 or vertices[0].kind != "PVI" or vertices[-1].kind != "PVI":
        problems.append("ProfAlign: must begin and end with a PVI")
        return None
    for a, b in pairwise(vertices):
        if not b.station_m > a.station_m:
            problems.append(
                f"{b.place}: station {b.station_m:.4f} m must be beyond the one before, {a.station_m:.4f} m"
            )
        elif abs(b.level_m - a.level_m) > b.station_m - a.station_m:
            problems.append(f"{b.place}: the grade before it is over 1000 mm/m")
    if len(problems) > count:
        return None
    return vertices[0].station_m, _elements(vertices, problems, notes)


def span_profile(
    profile: tuple[float, tuple[ProfileElement, ...]],
    start_m: float,
    length_m: float,
    problems: list[str],
    notes: list[str],
) -> tuple[ProfileElement, ...]:
    """The stretch of the profile over the plan: longer ones are trimmed (noted), shorter ones refused."""
    first, elements = profile
    last = first + sum(e.length_m for e in elements)
    end_m = start_m + length_m
    said = (
        f"the profile runs from {first:.3f} to {last:.3f} m, the plan from {start_m:.3f} to {end_m:.3f} m: "
    )
    if first > start_m + _TOO_SHORT_M or last < end_m - _TOO_SHORT_M:
        problems.append(said + "the profile must cover the plan")
        return ()
    if first < start_m - _TOO_SHORT_M or last > end_m + _TOO_SHORT_M:
        notes.append(said + "the profile was trimmed to the plan")
    kept: list[ProfileElement] = []
    begin = first
    for i, element in enumerate(elements):
        finish = begin + element.length_m
        # The first and the last element run on straight over what is missing within the allowance.
        a = start_m if i == 0 else max(begin, start_m)
        b = end_m if i == len(elements) - 1 else min(finish, end_m)
        if b - a > 1e-9:
            kept.append(_part(element, a - begin, b - begin))
        begin = finish
    chainage = start_m
    for before, after in pairwise(kept):
        chainage += before.length_m
        kink = (after.grade_start - before.grade_end) * 1e3
        if abs(kink) > MOST_KINK_MM_PER_M:
            problems.append(
                f"ProfAlign: the grade jumps by {kink:+.3f} mm/m at chainage {chainage:.3f} m; "
                f"at most {MOST_KINK_MM_PER_M} mm/m is allowed"
            )
    return tuple(kept)


def _name(element: Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _vertices(align: Element, unit_m: float, problems: list[str]) -> list[_Vertex]:
    vertices = []
    for number, element in enumerate((e for e in align if isinstance(e.tag, str)), start=1):
        kind = _name(element)
        place = f"ProfAlign {number}, {kind}"
        if kind == "Feature":
            continue
        if kind not in _KINDS:
            problems.append(f"{printable(place, 60)}: must be one of {', '.join(_KINDS)}")
            continue
        numbers = [number_in(t) for t in (element.text or "").split()]
        if len(numbers) != 2 or numbers[0] is None or numbers[1] is None:
            said = shown((element.text or "").strip())
            problems.append(f"{place}: {said} must be station, level, each {NUMBER}")
            continue
        keys = {"PVI": (), "ParaCurve": ("length",), "UnsymParaCurve": ("lengthIn", "lengthOut")}.get(
            kind, ("radius",)
        )
        sizes = []
        for key in keys:
            size = number_in(element.get(key))
            if size is None or (size < 0.0 and key != "radius"):
                said = "missing" if element.get(key) is None else f"= {shown(element.get(key))}"
                sign = "" if key == "radius" else ", not below 0"
                problems.append(f"{place}: {key} {said}: must be {NUMBER}{sign}")
            else:
                sizes.append(abs(size) * unit_m)
        if kind == "CircCurve":
            stated = number_in(element.get("length"))
            sizes.append(math.nan if stated is None else abs(stated) * unit_m)
        vertices.append(_Vertex(place, kind, numbers[0] * unit_m, numbers[1] * unit_m, tuple(sizes)))
    return vertices


def _elements(vertices: list[_Vertex], problems: list[str], notes: list[str]) -> tuple[ProfileElement, ...]:
    grades = [(b.level_m - a.level_m) / (b.station_m - a.station_m) for a, b in pairwise(vertices)]
    curves = [_curve(vertex, grades[i], grades[i + 1], notes) for i, vertex in enumerate(vertices[1:-1])]
    done: list[ProfileElement] = []
    cursor = vertices[0].station_m
    for vertex, grade, curve in zip(vertices[1:-1], grades, curves, strict=False):
        if curve.begin_m < cursor - _OVERLAP_M:
            problems.append(
                f"{vertex.place}: its curve begins at {curve.begin_m:.3f} m, before the end of "
                f"the one before it, {cursor:.3f} m"
            )
        if curve.begin_m - cursor > 1e-6:
            level = vertex.level_m + (cursor - vertex.station_m) * grade
            done.append(ProfileElement("grade", curve.begin_m - cursor, level, grade, grade))
            cursor = curve.begin_m
        begin = curve.begin_m
        for element in curve.elements:
            finish = begin + element.length_m
            if finish > cursor:
                done.append(_part(element, cursor - begin, element.length_m))  # begin is cursor, to rounding
                cursor = finish
            begin = finish
    last = vertices[-1]
    if last.station_m < cursor - _OVERLAP_M:
        problems.append(f"{last.place}: lies before the end of the curve before it, {cursor:.3f} m")
    elif last.station_m - cursor > 1e-6:
        level = last.level_m + (cursor - last.station_m) * grades[-1]
        done.append(ProfileElement("grade", last.station_m - cursor, level, grades[-1], grades[-1]))
    return tuple(done)


def _part(element: ProfileElement, a: float, b: float) -> ProfileElement:
    """The stretch from a to b metres of an element, which may reach a little beyond its ends."""
    z, g0, _ = element.at(a)
    _, g1, _ = element.at(b)
    return ProfileElement(element.kind, b - a, z, g0, g1)


def _curve(vertex: _Vertex, g0: float, g1: float, notes: list[str]) -> _Curve:
    at, level = vertex.station_m, vertex.level_m
    if vertex.kind == "CircCurve" and g0 != g1:
        radius, stated = vertex.sizes
        a0, a1 = math.atan(g0), math.atan(g1)
        tangent = radius * math.tan(0.5 * abs(a1 - a0))
        before, after = tangent * math.cos(a0), tangent * math.cos(a1)
        arc = radius * abs(a1 - a0)
        if abs(stated - arc) > 0.05 and abs(stated - before - after) > 0.05:
            notes.append(
                f"{vertex.place}: length says {stated:.3f} m, its radius and grades make "
                f"{before + after:.3f} m: "
                "the radius was used"
            )
        if tangent > 0.0:
            begin = level - g0 * before
            return _Curve(at - before, at + after, (ProfileElement("arc", before + after, begin, g0, g1),))
    elif vertex.kind == "ParaCurve" and vertex.sizes[0] > 0.0:
        length = vertex.sizes[0]
        begin = level - 0.5 * g0 * length
        return _Curve(
            at - 0.5 * length, at + 0.5 * length, (ProfileElement("parabola", length, begin, g0, g1),)
        )
    elif vertex.kind == "UnsymParaCurve" and min(vertex.sizes) > 0.0:
        l0, l1 = vertex.sizes
        middle = (g0 * l0 + g1 * l1) / (l0 + l1)
        first = ProfileElement("parabola", l0, level - g0 * l0, g0, middle)
        second = ProfileElement("parabola", l1, first.end_level_m(), middle, g1)
        return _Curve(at - l0, at + l1, (first, second))
    return _Curve(at, at, ())
