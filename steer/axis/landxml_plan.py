"""Plan elements out of a LandXML CoordGeom, each placed by its own coordinates.

Coordinates rule: stated lengths and directions of real files can be far off, so a line is what its ends
say, an arc what its ends and centre say, a clothoid what its length and radii say, turned to run through its
ends.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from steer.axis.plan import PlanElement
from steer.axis.spec import MOST_KINK_MM_PER_M
from steer.text import printable, shown

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MOST_GAP_M = 0.001
_LARGEST = 1e11  # in the file's unit
NUMBER = f"a number of at most {_LARGEST:.0f} either way"
_LEAST_RADIUS_M = 1.0
_SHORTEST_M = 1e-6
_ODD_DIRECTION_RAD = 1e-3

Point = tuple[float, float]


class PlanReader:
    """Reads the elements of one alignment; `origin` is the easting and northing of its start in m."""

    def __init__(self, points: dict[str, str], unit_m: float, direction_unit: str, start_m: float) -> None:
        self._points = points
        self._unit = unit_m
        self._direction_unit = direction_unit
        self._chainage = start_m
        self._problems: list[str] = []
        self._notes: list[str] = []
        self._said_direction = False
        self.origin: Point = (math.nan, math.nan)

    def read(
        self, geometries: list[Element], problems: list[str], notes: list[str]
    ) -> tuple[PlanElement, ...]:
        """The elements in place; what is wrong is added to problems, what is odd to notes."""
        self._problems, self._notes = problems, notes
        if len(geometries) != 1:
            problems.append(f"has {len(geometries)} CoordGeom elements, must have one")
            return ()
        placed: list[tuple[str, PlanElement, Point]] = []
        for number, element in enumerate((e for e in geometries[0] if isinstance(e.tag, str)), start=1):
            kind = printable(element.tag.rpartition("}")[2], 40)
            if kind == "Feature":
                continue
            place = f"CoordGeom {number}, {kind}"
            if kind not in ("Line", "Curve", "Spiral"):
                problems.append(f"{place}: only Line, Curve and Spiral can be driven")
                continue
            start, end = self._point(place, element, "Start"), self._point(place, element, "End")
            if start is None or end is None:
                continue
            made = getattr(self, f"_{kind.lower()}")(place, element, start, end)
            if made is not None:
                placed.append((place, made, end))
        if not placed and not problems:
            problems.append("CoordGeom: holds no element")
        if problems:
            return ()
        return self._joined(placed)

    def _joined(self, placed: list[tuple[str, PlanElement, Point]]) -> tuple[PlanElement, ...]:
        """Check that every element begins where and how the last one ended, and unwrap the bearings."""
        chainage = self._chainage
        done: list[PlanElement] = []
        for place, element, _ in placed:
            bearing = element.bearing_rad % (2.0 * math.pi)
            if done:
                east, north, before = done[-1].end()
                gap = math.hypot(element.east_m - east, element.north_m - north)
                kink = math.remainder(bearing - before, 2.0 * math.pi)
                bearing = before + kink
                where = f"at chainage {chainage:.3f} m"
                if gap > MOST_GAP_M:
                    self._problems.append(
                        f"{place}: starts {gap * 1e3:.1f} mm from the end of the element before it {where}; "
                        f"at most {MOST_GAP_M * 1e3:g} mm is allowed"
                    )
                side = "right" if kink > 0.0 else "left"
                if abs(kink) * 1e3 > MOST_KINK_MM_PER_M:
                    self._problems.append(
                        f"{place}: kink of {abs(kink) * 1e3:.3f} mm/m to the {side} {where}; "
                        f"at most {MOST_KINK_MM_PER_M} mm/m is allowed"
                    )
            done.append(
                PlanElement(
                    element.kind,
                    element.length_m,
                    element.east_m,
                    element.north_m,
                    bearing,
                    element.curvature_start,
                    element.curvature_end,
                )
            )
            chainage += element.length_m
        return tuple(done)

    def _line(self, place: str, element: Element, start: Point, end: Point) -> PlanElement | None:
        length = math.dist(start, end)
        if length < _SHORTEST_M:
            self._problems.append(f"{place}: Start and End are the same point")
            return None
        bearing = _bearing(start, end)
        text = element.get("dir")
        said = _direction(text, self._direction_unit) if text is not None else None
        if said is not None and not self._said_direction:
            off = math.remainder(said - bearing, 2.0 * math.pi)
            if abs(off) > _ODD_DIRECTION_RAD:
                self._said_direction = True
                self._notes.append(
                    f"{place}: dir says {math.degrees(said) % 360:.4f} degrees, its ends say "
                    f"{math.degrees(bearing) % 360:.4f}: the ends were used; check that points are "
                    "northing, easting and that directions run clockwise from north"
                )
        return PlanElement("line", length, *start, bearing, 0.0, 0.0)

    def _curve(self, place: str, element: Element, start: Point, end: Point) -> PlanElement | None:
        side = self._side(place, element)
        center = self._point(place, element, "Center")
        if side is None or center is None:
            return None
        r0, r1 = math.dist(center, start), math.dist(center, end)
        radius = 0.5 * (r0 + r1)
        stated = self._number(place, element, "radius", required=False)
        if radius < _LEAST_RADIUS_M or math.dist(start, end) < _SHORTEST_M:
            self._problems.append(f"{place}: Start and End must differ and lie 1 m or more from Center")
            return None
        if abs(r0 - r1) > 2 * MOST_GAP_M or (
            stated is not None and abs(abs(stated) * self._unit - radius) > 2 * MOST_GAP_M
        ):
            also = "" if stated is None else f", radius says {abs(stated) * self._unit:.4f} m"
            self._problems.append(
                f"{place}: Start lies {r0:.4f} m and End {r1:.4f} m from Center{also}; "
                "they must agree to 2 mm"
            )
            return None
        outward = _bearing(center, start)
        turn = (side * (_bearing(center, end) - outward)) % (2.0 * math.pi)
        length = self._number(place, element, "length", required=False)
        if length is not None and abs(length) * self._unit < radius * math.pi < radius * turn:
            self._problems.append(
                f"{place}: rot = {shown(element.get('rot'))} contradicts its Center on the other side"
            )
            return None
        return PlanElement(
            "arc",
            radius * turn,
            *start,
            outward + side * 0.5 * math.pi,
            side / radius,
            side / radius,
        )

    def _spiral(self, place: str, element: Element, start: Point, end: Point) -> PlanElement | None:
        kind = element.get("spiType")
        if kind != "clothoid":
            said = "missing" if kind is None else f"= {shown(kind)}"
            self._problems.append(f"{place}: spiType {said}: only clothoid can be driven")
            return None
        side = self._side(place, element)
        length = self._number(place, element, "length")
        radii = [self._radius(place, element, key) for key in ("radiusStart", "radiusEnd")]
        if side is None or length is None or radii[0] is None or radii[1] is None:
            return None
        length *= self._unit
        if not length > _SHORTEST_M:
            self._problems.append(f"{place}: length = {shown(element.get('length'))}: must be over 0")
            return None
        k0, k1 = side / radii[0] + 0.0, side / radii[1] + 0.0
        if 0.5 * abs(k0 + k1) * length > 2.0 * math.pi:
            self._problems.append(f"{place}: turns by more than a full circle")
            return None
        flat = PlanElement("spiral", length, 0.0, 0.0, 0.0, k0, k1)
        east, north, _ = flat.end()
        chord, given = math.hypot(east, north), math.dist(start, end)
        if abs(chord - given) > MOST_GAP_M:
            self._problems.append(
                f"{place}: its length and radii make a chord of {chord:.4f} m, its Start and End lie "
                f"{given:.4f} m apart; they must agree to {MOST_GAP_M * 1e3:g} mm"
            )
            return None
        return PlanElement("spiral", length, *start, _bearing(start, end) - math.atan2(east, north), k0, k1)

    def _side(self, place: str, element: Element) -> float | None:
        rot = element.get("rot")
        if rot in ("cw", "ccw"):
            return 1.0 if rot == "cw" else -1.0
        said = "missing" if rot is None else f"= {shown(rot)}"
        self._problems.append(f'{place}: rot {said}: must be "cw" or "ccw"')
        return None

    def _radius(self, place: str, element: Element, key: str) -> float | None:
        text = element.get(key, "").strip()
        if text.upper() == "INF":
            return math.inf
        radius = self._number(place, element, key)
        if radius is None:
            return None
        if abs(radius) * self._unit < _LEAST_RADIUS_M:
            self._problems.append(f"{place}: {key} = {shown(text)}: must be 1 m or more, or INF")
            return None
        return abs(radius) * self._unit

    def _number(self, place: str, element: Element, key: str, required: bool = True) -> float | None:
        text = element.get(key)
        if text is None and not required:
            return None
        number = number_in(text)
        if number is None:
            said = "missing" if text is None else f"= {shown(text)}"
            self._problems.append(f"{place}: {key} {said}: must be {NUMBER}")
        return number

    def _point(self, place: str, element: Element, name: str) -> Point | None:
        """Easting and northing in m from the origin; the first point read becomes the origin."""
        found = [e for e in element if isinstance(e.tag, str) and e.tag.rpartition("}")[2] == name]
        if not found:
            self._problems.append(f"{place}: {name} missing")
            return None
        reference = found[0].get("pntRef")
        text = found[0].text or ""
        if reference is not None and not text.strip():
            if reference not in self._points:
                self._problems.append(
                    f"{place}: {name} refers to a point {shown(reference)} that is not there"
                )
                return None
            text = self._points[reference]
        numbers = [number_in(t) for t in text.split()]
        if len(numbers) not in (2, 3) or numbers[0] is None or numbers[1] is None:
            self._problems.append(
                f"{place}: {name} = {shown(text.strip())}: must be northing and easting, each {NUMBER}"
            )
            return None
        easting, northing = numbers[1] * self._unit, numbers[0] * self._unit
        if math.isnan(self.origin[0]):
            self.origin = (easting, northing)
        return easting - self.origin[0], northing - self.origin[1]


def _bearing(a: Point, b: Point) -> float:
    return math.atan2(b[0] - a[0], b[1] - a[1])


def number_in(text: str | None) -> float | None:
    """The number a text holds; None for anything that is none or that no place on earth could need."""
    try:
        number = float(text) if text is not None else math.nan
    except ValueError:
        return None
    return number if abs(number) <= _LARGEST else None


def _direction(text: str, unit: str) -> float | None:
    """A direction in rad clockwise from north."""
    number = number_in(text)
    if number is None:
        return None
    if unit == "grads":
        return number * math.pi / 200.0
    if unit == "decimal degrees":
        return math.radians(number)
    if unit == "decimal dd.mm.ss":  # 45.30155 is 45°30′15.5″
        whole = math.trunc(number)
        minutes = abs(number - whole) * 100.0
        minute = math.floor(minutes + 1e-9)
        degrees = abs(whole) + minute / 60.0 + (minutes - minute) * 100.0 / 3600.0
        return math.radians(math.copysign(degrees, number))
    return number
