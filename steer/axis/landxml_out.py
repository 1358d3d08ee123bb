"""The axis and as-built points as a LandXML 1.2 file (open standard, landxml.org), in metres."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

from steer import __version__
from steer.axis.axis import Axis
from steer.axis.plan import PlanElement
from steer.axis.profile import ProfileElement
from steer.errors import FolderUnusable, InputRefused

_NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"


@dataclass(frozen=True)
class SurveyedPoint:
    """A point as built. Coordinates in m; `description` is free text for a person."""

    name: str
    easting_m: float
    northing_m: float
    level_m: float
    description: str = ""


def write_landxml(
    path: str | os.PathLike[str],
    axis: Axis,
    as_built_points: Iterable[SurveyedPoint] = (),
    *,
    name: str = "axis",
    now: datetime | None = None,
) -> None:
    """Write the axis as Alignment `name` and the points as CgPoints; an existing file is replaced whole.

    Raises FolderUnusable when the file cannot be written, InputRefused when a coordinate is not finite.
    """
    moment = (now or datetime.now(UTC)).astimezone(UTC)
    root = ElementTree.Element(
        "LandXML",
        {
            "xmlns": _NAMESPACE,
            "version": "1.2",
            "date": moment.strftime("%Y-%m-%d"),
            "time": moment.strftime("%H:%M:%S"),
        },
    )
    units = ElementTree.SubElement(root, "Units")
    ElementTree.SubElement(
        units,
        "Metric",
        {
            "areaUnit": "squareMeter",
            "linearUnit": "meter",
            "volumeUnit": "cubicMeter",
            "temperatureUnit": "celsius",
            "pressureUnit": "milliBars",
            "angularUnit": "decimal degrees",
            "directionUnit": "decimal degrees",
        },
    )
    ElementTree.SubElement(root, "Application", {"name": "steer", "version": __version__})
    _write_points(root, as_built_points)
    group = ElementTree.SubElement(root, "Alignments")
    alignment = ElementTree.SubElement(
        group,
        "Alignment",
        {
            "name": name,
            "length": _number(axis.plan.length_m),
            "staStart": _number(axis.start_chainage_m),
            "state": "proposed",
        },
    )
    _write_plan(ElementTree.SubElement(alignment, "CoordGeom"), axis)
    profile = ElementTree.SubElement(alignment, "Profile")
    _write_profile(ElementTree.SubElement(profile, "ProfAlign", {"name": name}), axis)
    ElementTree.indent(root)
    _save(Path(path), ElementTree.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n")


def _write_points(root: ElementTree.Element, points: Iterable[SurveyedPoint]) -> None:
    points = list(points)
    if not points:
        return
    group = ElementTree.SubElement(root, "CgPoints", {"name": "as built"})
    for point in points:
        if not all(math.isfinite(v) for v in (point.easting_m, point.northing_m, point.level_m)):
            raise InputRefused(f"point {point.name!r}: its coordinates must be finite numbers")
        attributes = {"name": point.name, "state": "existing"}
        if point.description:
            attributes["desc"] = point.description
        element = ElementTree.SubElement(group, "CgPoint", attributes)
        element.text = " ".join(_number(v) for v in (point.northing_m, point.easting_m, point.level_m))


def _write_plan(parent: ElementTree.Element, axis: Axis) -> None:
    east, north, _ = axis.origin

    def put(element: ElementTree.Element, name: str, x: float, y: float) -> None:
        ElementTree.SubElement(element, name).text = f"{_number(north + y)} {_number(east + x)}"

    for piece in axis.plan.elements:
        x, y, bearing = piece.end()
        attributes = {"length": _number(piece.length_m)}
        k0, k1 = piece.curvature_start, piece.curvature_end
        rot = "cw" if k0 + k1 > 0.0 else "ccw"
        if k0 == k1 == 0.0:
            attributes["dir"] = _number(math.degrees(piece.bearing_rad) % 360.0)
            element = ElementTree.SubElement(parent, "Line", attributes)
            put(element, "Start", piece.east_m, piece.north_m)
        elif k0 == k1:
            attributes |= {"rot": rot, "radius": _number(abs(1.0 / k0)), "crvType": "arc"}
            element = ElementTree.SubElement(parent, "Curve", attributes)
            put(element, "Start", piece.east_m, piece.north_m)
            put(
                element,
                "Center",
                piece.east_m + math.cos(piece.bearing_rad) / k0,
                piece.north_m - math.sin(piece.bearing_rad) / k0,
            )
        else:
            attributes |= {
                "radiusStart": _radius(k0),
                "radiusEnd": _radius(k1),
                "rot": rot,
                "spiType": "clothoid",
                "constant": _number(math.sqrt(piece.length_m / abs(k1 - k0))),
            }
            element = ElementTree.SubElement(parent, "Spiral", attributes)
            put(element, "Start", piece.east_m, piece.north_m)
            put(element, "PI", *_crossing(piece, x, y, bearing))
        put(element, "End", x, y)


def _crossing(piece: PlanElement, x: float, y: float, bearing: float) -> tuple[float, float]:
    """Where the tangents at both ends of an element meet."""
    turn = bearing - piece.bearing_rad
    dx, dy = x - piece.east_m, y - piece.north_m
    back = (dx * math.cos(bearing) - dy * math.sin(bearing)) / -math.sin(turn) if math.sin(turn) else 0.0
    return piece.east_m + back * math.sin(piece.bearing_rad), piece.north_m + back * math.cos(
        piece.bearing_rad
    )


def _write_profile(parent: ElementTree.Element, axis: Axis) -> None:
    base = axis.origin[2]
    station = axis.start_chainage_m

    def put(kind: str, at: float, level: float, **sizes: float) -> None:
        element = ElementTree.SubElement(parent, kind, {k: _number(v) for k, v in sizes.items()})
        element.text = f"{_number(at)} {_number(base + level)}"

    elements = axis.profile.elements
    put("PVI", station, elements[0].level_m)
    for element, following in pairwise((*elements, None)):
        if element is None:
            break
        to_vertex = _vertex_after(element)
        if to_vertex is not None:
            level = element.level_m + element.grade_start * to_vertex
            if element.kind == "arc":
                radius = abs(element.radius_m)
                put("CircCurve", station + to_vertex, level, length=element.length_m, radius=radius)
            else:
                put("ParaCurve", station + to_vertex, level, length=element.length_m)
        station += element.length_m
        if following is None or (to_vertex is None and _vertex_after(following) is None):
            put("PVI", station, element.end_level_m())


def _vertex_after(element: ProfileElement) -> float | None:
    """Plan length from the start of a curve to its vertex; None on a straight grade."""
    if element.grade_start == element.grade_end:
        return None
    if element.kind == "parabola":
        return 0.5 * element.length_m
    rise = element.end_level_m() - element.level_m
    return (rise - element.grade_end * element.length_m) / (element.grade_start - element.grade_end)


def _radius(curvature: float) -> str:
    return _number(abs(1.0 / curvature)) if curvature else "INF"


def _number(value: float) -> str:
    """Nine decimals: a thousandth of a micrometre at seven-digit coordinates is what a float holds."""
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _save(path: Path, content: bytes) -> None:
    """Write beside it, then rename: a failure leaves the old file whole."""
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as out:
                out.write(content)
            os.chmod(temporary, 0o644)
            os.replace(temporary, path)
        except BaseException:
            os.unlink(temporary)
            raise
    except OSError as error:
        raise FolderUnusable(f"{path}: cannot be written: {error.strerror or error}") from None
