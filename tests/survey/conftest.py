"""Invented networks with a known truth, of the shapes met in practice, for the survey tests."""

from __future__ import annotations

import math

import numpy as np
import pytest

from steer.survey import ControlPoint, Observation
from steer.survey.observations import ARC_SECOND

SECONDS, MILLIMETRES = 3.0, 2.0
EARTH_M = 6_371_000.0


class Made:
    """Collects sights between true places (E, N, H), with normal errors of the stated sd times `noise`."""

    def __init__(self, places: dict[str, tuple[float, float, float]], seed: int, noise: float = 1.0, k=None):
        self.places, self.noise, self.k = places, noise, k
        self.random = np.random.default_rng(seed)
        self.observations: list[Observation] = []
        self.zero: dict[tuple[str, str], float] = {}
        self.row = 1

    def see(self, station, target, what="dzs", set_="1", i=0.0, t=0.0):
        """One row: d direction, z zenith, s slope, h horizontal distance."""
        self.row += 1
        e, n, h = (b - a for a, b in zip(self.places[station], self.places[target], strict=True))
        h += t - i
        d = math.hypot(e, n)
        c = 0.0 if self.k is None else (1.0 - self.k) * d * d / (2.0 * EARTH_M)
        zero = self.zero.setdefault((station, set_), self.random.uniform(0.0, 2.0 * math.pi))
        true = {
            "d": ("direction", math.atan2(e, n) - zero, SECONDS * ARC_SECOND),
            "z": ("zenith", math.atan2(d, h - c), SECONDS * ARC_SECOND),
            "s": ("slope", math.hypot(d, h), MILLIMETRES * 1e-3),
            "h": ("distance", d, MILLIMETRES * 1e-3),
        }
        for letter in what:
            kind, value, sd = true[letter]
            value += self.noise * sd * self.random.standard_normal()
            if kind == "direction":
                value %= 2.0 * math.pi
            self.observations.append(Observation(self.row, station, target, kind, value, sd, set_, i, t))

    def control(self, *names: str, sd_mm: float = 0.0, levels: bool = True) -> list[ControlPoint]:
        return [
            ControlPoint(
                p, self.places[p][0], self.places[p][1], self.places[p][2] if levels else None, sd_mm
            )
            for p in names
        ]


def _round_the_site(random, count, size=200.0):
    return {
        f"P{k}": (
            5000.0 + random.uniform(-size, size),
            2000.0 + random.uniform(-size, size),
            random.uniform(-8, 8),
        )
        for k in range(count)
    }


def traverse(seed, noise=1.0, legs=6, closed=False, what="dzs"):
    """A tunnel traverse from A and B at the shaft; closed: it ends on E and F."""
    random = np.random.default_rng(seed)
    places = {"B": (4900.0, 2010.0, 12.0), "A": (5000.0, 2000.0, 12.3)}
    for k in range(1, legs + 1):
        places[f"T{k}"] = (5000.0 + 60.0 * k, 2000.0 + random.uniform(-6, 6), 12.0 + random.uniform(-1, 1))
    names = list(places)
    made = Made(places, seed, noise, 0.13)
    for k in range(1, len(names) - 1):
        made.see(names[k], names[k - 1], what, i=1.5, t=1.3)
        made.see(names[k], names[k + 1], what, i=1.5, t=1.4)
    known = ["A", "B"]
    if closed:
        made.see(names[-1], names[-2], what)
        known = ["A", names[-1]]
        made.observations = [o for o in made.observations if "B" not in (o.station, o.target)]
        places.pop("B")
    return made, made.control(*known)


def free_stations(seed, noise=1.0, stations=5):
    """Free stations that see brackets on the wall; only the first three brackets are known."""
    random = np.random.default_rng(seed)
    places = {}
    for k in range(stations * 2 + 4):
        side = 1.1 if k % 2 else -1.1
        places[f"W{k}"] = (5000.0 + 25.0 * k, 2000.0 + side + random.uniform(-0.3, 0.3), 12.0 + 0.1 * k)
    for k in range(stations):
        places[f"S{k}"] = (5040.0 + 50.0 * k, 2000.0, 12.0 + 0.2 * k)
    made = Made(places, seed, noise, 0.13)
    for k in range(stations):
        for j in range(2 * k, 2 * k + 6):
            if f"W{j}" in places:
                made.see(f"S{k}", f"W{j}", "dzs", i=0.0, t=0.0)
    return made, made.control("W0", "W1", "W2", "W3")


def resection(seed, noise=1.0):
    random = np.random.default_rng(seed)
    places = _round_the_site(random, 5)
    places["X"] = (5000.0 + random.uniform(-50, 50), 2000.0 + random.uniform(-50, 50), 1.0)
    made = Made(places, seed, noise, None)
    for k in range(5):
        made.see("X", f"P{k}", "dz")
    return made, made.control(*[f"P{k}" for k in range(5)])


def intersection(seed, noise=1.0):
    """Directions to a mark from three known points, each oriented on another."""
    places = {
        "A": (0.0, 0.0, 0.0),
        "B": (300.0, 20.0, 1.0),
        "C": (150.0, -200.0, 2.0),
        "X": (140.0, 250.0, 3.0),
    }
    made = Made(places, seed, noise, None)
    for station, back in (("A", "B"), ("B", "C"), ("C", "A")):
        made.see(station, back, "d")
        made.see(station, "X", "d")
    return made, made.control("A", "B", "C", levels=False)


def trilateration(seed, noise=1.0):
    random = np.random.default_rng(seed)
    places = _round_the_site(random, 8)
    names = list(places)
    made = Made(places, seed, noise, None)
    for a in range(8):
        for b in range(a + 1, 8):
            made.see(names[a], names[b], "h")
    return made, made.control("P0", "P1", "P2", levels=False)


def two_unknown_stations(seed, noise=1.0):
    """Two unknown stations see each other and the same two known points, directions only (Hansen)."""
    places = {
        "A": (0.0, 0.0, 0.0),
        "B": (500.0, 30.0, 0.0),
        "X": (120.0, -260.0, 0.0),
        "Y": (430.0, -210.0, 0.0),
    }
    made = Made(places, seed, noise, None)
    for station, other in (("X", "Y"), ("Y", "X")):
        for target in ("A", "B", other):
            made.see(station, target, "d")
    return made, made.control("A", "B", levels=False)


def mixed(seed, noise=1.0, sd_mm=0.0):
    """A site network: some points seen with everything, some by distance only, some by direction only."""
    random = np.random.default_rng(seed)
    places = _round_the_site(random, 9)
    names = list(places)
    made = Made(places, seed, noise, 0.13)
    for a in range(9):
        for b in range(9):
            if a != b and random.random() < 0.7:
                what = str(random.choice(["dzs", "dz", "d", "h", "dzh"]))
                made.see(names[a], names[b], what, str(random.integers(1, 3)), i=1.5, t=1.3)
    return made, made.control("P0", "P1", "P2", sd_mm=sd_mm)


SHAPES = {
    "traverse": traverse,
    "closed traverse": lambda seed, noise=1.0: traverse(seed, noise, closed=True),
    "free stations": free_stations,
    "resection": resection,
    "intersection": intersection,
    "trilateration": trilateration,
    "two unknown stations": two_unknown_stations,
    "mixed": mixed,
    "mixed, weighted control": lambda seed, noise=1.0: mixed(seed, noise, sd_mm=3.0),
}


@pytest.fixture(params=list(SHAPES))
def shape(request):
    """A maker (seed, noise) -> (Made, control) for each shape in turn."""
    return SHAPES[request.param]


@pytest.fixture
def shapes():
    return SHAPES
