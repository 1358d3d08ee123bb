"""An axis out of a LandXML 1.2 file (open standard, landxml.org).

The file is parsed without document types and entities. Elements are matched by their local name, since
real files carry other namespaces. LandXML writes points as northing, easting, level.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from steer.axis.axis import Axis, AxisError
from steer.axis.landxml_plan import NUMBER, PlanReader, number_in
from steer.axis.landxml_profile import read_profile, span_profile
from steer.axis.plan import Plan
from steer.axis.profile import Profile
from steer.text import shown

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_LARGEST_BYTES = 64 * 1024 * 1024
_MOST_TAGS = 1_000_000  # a tree of them takes some hundred MB; alignments alone have thousands
_MOST_ATTRIBUTES = 5_000_000  # in all
_MOST_OF_ONE = (
    1_000  # attributes of one element: a parser takes seconds for a million; exporters write dozens
)
_MOST_PROBLEMS = 50
_LONGEST_M = 100_000.0
_METRES = {
    "millimeter": 0.001,
    "centimeter": 0.01,
    "meter": 1.0,
    "kilometer": 1000.0,
    "inch": 0.0254,
    "foot": 0.3048,
    "USSurveyFoot": 1200.0 / 3937.0,
    "mile": 1609.344,
}
_ELEVATION = {
    "meter": ("meter",),
    "kilometer": ("kilometer",),
    "feet": ("foot", "USSurveyFoot"),
    "miles": ("mile",),
}
_ANGLES = ("radians", "grads", "decimal degrees", "decimal dd.mm.ss")


def local_name(element: Element) -> str:
    """The tag without its namespace ("" for comments and processing instructions)."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def axis_from_landxml(path: str | os.PathLike[str], alignment_name: str | None = None) -> Axis:
    """The alignment of that name (may be left out when the file has one only).

    Coordinates come out in metres whatever the file's unit, chainage too. `notes` of the axis say what
    was trimmed or ignored. Raises AxisError with every problem found, each naming file and place.
    """
    path = Path(path)
    root = _parse(path)
    alignment = _choose(path.name, root, alignment_name)
    problems: list[str] = []
    unit, direction = _units(root, problems)
    name = alignment.get("name", "")
    place = f"{path.name}: Alignment {shown(name)}"
    if problems:
        raise AxisError([f"{path.name}: {p}" for p in problems])
    start = _start_station(alignment, problems) * unit
    notes: list[str] = []
    reader = PlanReader(_points(root), unit, direction, start)
    elements = reader.read(_children(alignment, "CoordGeom"), problems, notes)
    profile = read_profile(_children(alignment, "Profile"), name, unit, problems, notes)
    if problems or not elements or profile is None:
        raise _refusal(place, problems)
    plan = Plan(elements)
    if plan.length_m > _LONGEST_M:
        raise AxisError(f"{place}: is {plan.length_m:.0f} m long, at most {_LONGEST_M:.0f} m can be driven")
    slopes = span_profile(profile, start, plan.length_m, problems, notes)
    if problems or not slopes:
        raise _refusal(place, problems)
    return Axis(
        plan,
        Profile(slopes),
        chainage_m=start,
        easting_m=reader.origin[0],
        northing_m=reader.origin[1],
        level_m=0.0,
        notes=tuple(f"{place}: {n}" for n in notes),
    )


def _refusal(place: str, problems: list[str]) -> AxisError:
    more = [f"and {len(problems) - _MOST_PROBLEMS} more"] if len(problems) > _MOST_PROBLEMS else []
    return AxisError([f"{place}: {p}" for p in problems[:_MOST_PROBLEMS] + more])


def _attributes(content: bytes) -> tuple[int, int]:
    """At most so many attributes, in all and of one element: an attribute has an equals sign, and so may text."""
    in_all = content.count(b"=")
    if in_all <= _MOST_OF_ONE:
        return in_all, in_all
    tags = (part for part in content.split(b"<") if not part.startswith(b"!"))  # comments have rulers of them
    return in_all, max((tag.count(b"=") for tag in tags), default=0)


def _parse(path: Path) -> Element:
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        if not path.exists():
            raise AxisError(f"{path.name}: no such file in {path.parent}")
        if not path.is_file():
            what = "a folder" if path.is_dir() else "not an ordinary file"
            raise AxisError(f"{path.name}: is {what}, must be a LandXML file")
        size = path.stat().st_size
        if size > _LARGEST_BYTES:
            raise AxisError(
                f"{path.name}: {size} bytes, at most {_LARGEST_BYTES} are read; export the alignments only"
            )
        content = path.read_bytes()
        if (tags := content.count(b"<")) > _MOST_TAGS:
            raise AxisError(
                f"{path.name}: {tags} tags, at most {_MOST_TAGS} are read; export the alignments only"
            )
        in_all, of_one = _attributes(content)
        if in_all > _MOST_ATTRIBUTES or of_one > _MOST_OF_ONE:
            raise AxisError(
                f"{path.name}: {in_all} attributes, {of_one} of them of one element; at most {_MOST_ATTRIBUTES} are read, "
                f"and {_MOST_OF_ONE} of one element; export the alignments only"
            )
        root: Element | None = fromstring(content, forbid_dtd=True)
    except DefusedXmlException:
        raise AxisError(
            f"{path.name}: holds a document type or entities; LandXML needs none and none are read"
        ) from None
    except (
        ParseError,
        LookupError,
        ValueError,
    ) as error:  # LookupError, ValueError: an encoding nobody knows
        raise AxisError(f"{path.name}: not valid XML: {error}") from None
    except OSError as error:
        raise AxisError(f"{path.name}: cannot be read: {error.strerror or error}") from None
    if root is None or local_name(root) != "LandXML":
        found = shown(local_name(root)) if root is not None else "nothing"
        raise AxisError(f"{path.name}: its root element is {found}, must be LandXML")
    return root


def _children(parent: Element, name: str) -> list[Element]:
    return [child for child in parent if local_name(child) == name]


def _choose(file: str, root: Element, wanted: str | None) -> Element:
    found = [e for group in _children(root, "Alignments") for e in _children(group, "Alignment")]
    names = [e.get("name", "") for e in found]
    listed = ", ".join(shown(n) for n in names[:40]) + (" …" if len(names) > 40 else "")
    if not found:
        raise AxisError(f"{file}: holds no Alignment")
    if wanted is None:
        if len(found) > 1:
            raise AxisError(f"{file}: holds {len(found)} alignments; alignment = must be one of {listed}")
        return found[0]
    matching = [e for e, n in zip(found, names, strict=True) if n == wanted]
    if not matching:
        raise AxisError(f"{file}: alignment = {shown(wanted)}: must be one of {listed}")
    if len(matching) > 1:
        raise AxisError(f"{file}: alignment = {shown(wanted)}: {len(matching)} alignments have this name")
    return matching[0]


def _units(root: Element, problems: list[str]) -> tuple[float, str]:
    """Metres in one file unit, and the unit of directions."""
    groups = [
        g for units in _children(root, "Units") for g in units if local_name(g) in ("Metric", "Imperial")
    ]
    if len(groups) != 1:
        problems.append(
            "Units: must hold one Metric or Imperial element; without it no length can be trusted"
        )
        return 1.0, ""
    group = groups[0]
    linear = group.get("linearUnit")
    if linear not in _METRES:
        said = "missing" if linear is None else f"= {shown(linear)}"
        problems.append(f"Units linearUnit {said}: must be one of {', '.join(_METRES)}")
        return 1.0, ""
    elevation = group.get("elevationUnit")
    if elevation is not None and linear not in _ELEVATION.get(elevation, ()):
        problems.append(f"Units elevationUnit = {shown(elevation)}: must be the unit of length, {linear}")
    direction = group.get("directionUnit", "radians")  # the schema's default
    if direction not in _ANGLES:
        problems.append(f"Units directionUnit = {shown(direction)}: must be one of {', '.join(_ANGLES)}")
    return _METRES[linear], direction


def _start_station(alignment: Element, problems: list[str]) -> float:
    equations = _children(alignment, "StaEquation")
    if equations:
        at = ", ".join(e.get("staInternal") or e.get("staAhead") or "?" for e in equations[:5])
        problems.append(
            f"StaEquation at {at}: chainage equations are not supported; chainage must run on without a jump"
        )
    text = alignment.get("staStart", "0")
    station = number_in(text)
    if station is None:
        problems.append(f"staStart = {shown(text)}: must be {NUMBER}")
        return 0.0
    return station


def _points(root: Element) -> dict[str, str]:
    """Texts of the CgPoints by name, for elements that refer to them."""
    found: dict[str, str] = {}
    for group in root.iter():
        if local_name(group) == "CgPoints":
            for point in _children(group, "CgPoint"):
                if point.get("name") is not None:
                    found[point.get("name", "")] = point.text or ""
    return found
