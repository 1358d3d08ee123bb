"""The axis seen from above: lines, arcs and clothoids, placed one after the other.

Every element is a curve whose curvature changes linearly with length: k(u) = k0 + k'·u, zero for
a line, constant for an arc. Bearing is b(u) = b0 + k0·u + k'·u²/2, clockwise from grid north,
and the position is the integral of (sin b, cos b). Lines and arcs have it in closed form; for a
clothoid it is the Fresnel integral, taken here by Gauss-Legendre quadrature over stretches that
turn by no more than 0.5 rad, where eight points leave less than 1e-14 of the length.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_NODES, _WEIGHTS = (_NODES + 1.0) / 2.0, _WEIGHTS / 2.0  # on [0, 1]
_PAIRS = tuple(zip(_NODES.tolist(), _WEIGHTS.tolist(), strict=True))
_MOST_TURN_RAD = 0.5


@dataclass(frozen=True, slots=True)
class PlanElement:
    """One element in place. Curvatures in 1/m, + turning right; bearing in rad clockwise from north.

    Coordinates are metres from the axis's own origin, so that seven-digit site coordinates lose nothing.
    """

    kind: str  # "line", "arc", "spiral"
    length_m: float
    east_m: float
    north_m: float
    bearing_rad: float
    curvature_start: float
    curvature_end: float

    def end(self) -> tuple[float, float, float]:
        """East, north and bearing at its end."""
        pieces = _pieces(self, 0.0)
        east, north, bearing, _ = _along(pieces[-1], self.length_m - pieces[-1].start_m)
        return east, north, bearing


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch of an element short enough for one evaluation."""

    start_m: float  # from the start of the axis
    east_m: float
    north_m: float
    bearing_rad: float
    curvature: float
    slope: float  # change of curvature, 1/m²


def _along(piece: _Piece, u: float) -> tuple[float, float, float, float]:
    """East, north, bearing and curvature u metres into a piece."""
    k, slope, b = piece.curvature, piece.slope, piece.bearing_rad
    if slope == 0.0:
        half = 0.5 * k * u
        chord = u * (math.sin(half) / half) if abs(half) > 1e-9 else u
        direction = b + half
        return (
            piece.east_m + chord * math.sin(direction),
            piece.north_m + chord * math.cos(direction),
            direction + half,
            k,
        )
    east = north = 0.0
    for node, weight in _PAIRS:
        v = u * node
        angle = b + v * (k + 0.5 * slope * v)
        east += weight * math.sin(angle)
        north += weight * math.cos(angle)
    return piece.east_m + u * east, piece.north_m + u * north, b + u * (k + 0.5 * slope * u), k + slope * u


def _pieces(element: PlanElement, start_m: float) -> list[_Piece]:
    slope = (element.curvature_end - element.curvature_start) / element.length_m
    count = 1
    if slope != 0.0:
        # The steepest curvature bounds the turn, also when the curvature changes sign on the way.
        most = max(abs(element.curvature_start), abs(element.curvature_end)) * element.length_m
        count = max(1, math.ceil(most / _MOST_TURN_RAD))
    step = element.length_m / count
    k = element.curvature_start
    pieces = [_Piece(start_m, element.east_m, element.north_m, element.bearing_rad, k, slope)]
    for i in range(1, count):
        east, north, bearing, k = _along(pieces[-1], step)
        pieces.append(_Piece(start_m + i * step, east, north, bearing, k, slope))
    return pieces


def chain(
    start_bearing_rad: float, shapes: Sequence[tuple[str, float, float, float]]
) -> tuple[PlanElement, ...]:
    """Place (kind, length_m, curvature_start, curvature_end) tangentially one after the other from (0, 0)."""
    east = north = 0.0
    bearing = start_bearing_rad
    placed = []
    for kind, length_m, k0, k1 in shapes:
        element = PlanElement(kind, length_m, east, north, bearing, k0, k1)
        placed.append(element)
        east, north, bearing = element.end()
    return tuple(placed)


class Plan:
    """Evaluates placed elements over the length from the start of the axis."""

    def __init__(self, elements: Sequence[PlanElement]) -> None:
        self.elements = tuple(elements)
        joints = [0.0]
        pieces: list[_Piece] = []
        for element in self.elements:
            pieces.extend(_pieces(element, joints[-1]))
            joints.append(joints[-1] + element.length_m)
        self.joints_m = tuple(joints)
        self.length_m = joints[-1]
        self._pieces = pieces
        self._starts = [p.start_m for p in pieces]
        fields = ("start_m", "east_m", "north_m", "bearing_rad", "curvature", "slope")
        self._table = np.array([[getattr(p, f) for f in fields] for p in pieces]).T

    def at(self, length_m: float) -> tuple[float, float, float, float]:
        """East, north, bearing, curvature at 0 ≤ length_m ≤ the plan's length."""
        piece = self._pieces[max(bisect_right(self._starts, length_m) - 1, 0)]
        return _along(piece, length_m - piece.start_m)

    def at_many(self, length_m: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """The same for an array (n,)."""
        starts = self._table[0]
        index = np.maximum(np.searchsorted(starts, length_m, side="right") - 1, 0)
        start, east, north, bearing, k, slope = self._table[:, index]
        u = length_m - start
        half = 0.5 * k * u
        straight = np.abs(half) <= 1e-9
        chord = u * np.where(straight, 1.0, np.sin(half) / np.where(straight, 1.0, half))
        east, north = east + chord * np.sin(bearing + half), north + chord * np.cos(bearing + half)
        bent = np.flatnonzero(slope)
        if bent.size:
            v = u[bent, None] * _NODES
            angle = bearing[bent, None] + v * (k[bent, None] + 0.5 * slope[bent, None] * v)
            east[bent] = self._table[1, index[bent]] + u[bent] * (np.sin(angle) @ _WEIGHTS)
            north[bent] = self._table[2, index[bent]] + u[bent] * (np.cos(angle) @ _WEIGHTS)
        return east, north, bearing + u * (k + 0.5 * slope * u), k + slope * u
