"""Where a point can lie by one measurement: on a line or on a circle; and where two of them meet.

Plan positions are complex numbers northing + i·easting, so that a bearing (clockwise from north) is the
argument of a difference and turning by a bearing b is a product with exp(i·b).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

_PARALLEL = 1e-9


@dataclass(frozen=True)
class Line:
    """All places seen from `start` under one bearing (or, lengthened backward, its reverse)."""

    start: complex
    along: complex  # unit

    def tangent(self, at: complex) -> complex:
        return self.along


@dataclass(frozen=True)
class Circle:
    centre: complex
    radius: float

    def tangent(self, at: complex) -> complex:
        return 1j * (at - self.centre) / max(self.radius, 1e-12)


Locus = Line | Circle


def ray(start: complex, bearing_rad: float) -> Line:
    return Line(start, cmath.exp(1j * bearing_rad))


def subtended(first: complex, second: complex, angle_rad: float) -> Locus:
    """All places from which `second` stands `angle_rad` clockwise of `first` (inscribed angle theorem)."""
    turn = cmath.exp(2j * angle_rad)
    if abs(1.0 - turn) < 1e-6:
        chord = second - first
        return Line(first, chord / max(abs(chord), 1e-12))
    centre = (second - first * turn) / (1.0 - turn)
    return Circle(centre, abs(first - centre))


def crossings(a: Locus, b: Locus) -> list[tuple[complex, float]]:
    """The places that a and b share, none to two, each with |sin| of the angle at which they cross.

    Circles that miss each other by a little (measurement errors) give their nearest place, sine 0."""
    if isinstance(a, Line) and isinstance(b, Line):
        places = _line_line(a, b)
    elif isinstance(a, Line) and isinstance(b, Circle):
        places = _line_circle(a, b)
    elif isinstance(a, Circle) and isinstance(b, Line):
        places = _line_circle(b, a)
    elif isinstance(a, Circle) and isinstance(b, Circle):
        places = _circle_circle(a, b)
    else:
        places = []
    return [(p, abs((a.tangent(p).conjugate() * b.tangent(p)).imag)) for p in places]


def _line_line(a: Line, b: Line) -> list[complex]:
    sine = (a.along.conjugate() * b.along).imag
    if abs(sine) < _PARALLEL:
        return []
    along = ((b.start - a.start).conjugate() * b.along).imag / sine
    return [a.start + along * a.along]


def _line_circle(line: Line, circle: Circle) -> list[complex]:
    foot = line.start + ((circle.centre - line.start) * line.along.conjugate()).real * line.along
    half = circle.radius**2 - abs(foot - circle.centre) ** 2
    if half <= 0.0:
        return [foot] if half > -0.1 * circle.radius**2 else []
    reach = math.sqrt(half) * line.along
    return [foot - reach, foot + reach]


def _circle_circle(a: Circle, b: Circle) -> list[complex]:
    between = b.centre - a.centre
    apart = abs(between)
    if apart < 1e-9:
        return []
    unit = between / apart
    along = (a.radius**2 - b.radius**2 + apart**2) / (2.0 * apart)
    square = a.radius**2 - along**2
    if square <= 0.0:
        return [a.centre + along * unit] if square > -0.1 * max(a.radius, b.radius) ** 2 else []
    side = 1j * math.sqrt(square) * unit
    return [a.centre + along * unit + side, a.centre + along * unit - side]
