"""First coordinates: places one point after another from those already placed.

A sight from a placed station, a length to a placed point and an angle between two placed points each put
the new point on a line or a circle (see `loci`). Every crossing of two of them is a candidate; the one
that breaks the fewest of all the point's measurements wins, so that a blunder is outvoted where it can be.
Polar, intersection, resection, free station, trilateration and any mixture are the same step.
"""

from __future__ import annotations

import cmath
import math
from collections import deque
from dataclasses import dataclass, field
from itertools import combinations

from steer.survey.loci import Circle, Locus, crossings, ray, subtended
from steer.survey.sights import Bundle, Sights

_TOLERANCE_M = 0.05  # a misfit of this size (plus 0.2 mm/m of length) counts as half broken
_TOLERANCE_PER_M = 2e-4
_MOST_LOCI = 8  # more add time, not certainty
_MOST_CHECKS = 12
_AMBIGUOUS = 0.4  # two places whose broken measurements differ by less are equally good
_CROSSING = (0.25, 0.03, 0.001)  # |sin| of the crossing angle: good ones first, then what is left


@dataclass
class Placement:
    """Plan positions found so far in one frame; `undecided` holds the points with two equal candidates."""

    position: dict[str, complex]
    undecided: dict[str, tuple[complex, complex]] = field(default_factory=dict)
    with_lengths: bool = True  # False: the frame has a scale of its own

    def copy(self) -> Placement:
        return Placement(dict(self.position), {}, self.with_lengths)


def orientation(bundle: Bundle, station: complex, position: dict[str, complex]) -> float | None:
    """Bearing of the bundle's zero direction, or None; the one that agrees best with all sights."""
    found = []
    for target, direction in bundle.direction_rad.items():
        if target in position and abs(position[target] - station) > 1e-6:
            found.append(cmath.exp(1j * (cmath.phase(position[target] - station) - direction)))
            if len(found) == _MOST_CHECKS:
                break
    if not found:
        return None
    return cmath.phase(min(found, key=lambda a: sum(abs(a - b) for b in found)))


def grow(sights: Sights, placement: Placement, only: set[str] | None = None) -> None:
    """Places every point that follows from those placed, in place; `only` limits which may be placed."""
    allowed = (lambda p: True) if only is None else only.__contains__
    for least in _CROSSING:
        starts = sorted({q for p in placement.position for q in sights.neighbours(p)})
        queue = deque(p for p in starts if p not in placement.position and allowed(p))
        waiting = set(queue)
        told: set[int] = set()
        while queue:
            point = queue.popleft()
            waiting.discard(point)
            place = _place(sights, placement, point, least)
            if place is None:
                continue
            placement.position[point] = place
            placement.undecided.pop(point, None)
            again = sights.neighbours(point)
            for bundle in sights.seeing[point]:
                # The set is oriented from now on: news for its other targets, told once (a set can be large).
                if id(bundle) not in told and bundle.station in placement.position:
                    told.add(id(bundle))
                    again.update(bundle.direction_rad)
            for q in sorted(again):
                if q not in placement.position and q not in waiting and allowed(q):
                    queue.append(q)
                    waiting.add(q)


def _place(sights: Sights, placement: Placement, point: str, least: float) -> complex | None:
    position = placement.position
    rays: list[tuple[complex, float]] = []
    for bundle in sights.seeing[point]:
        station = position.get(bundle.station)
        if station is None or len(rays) >= _MOST_CHECKS:
            continue
        zero = orientation(bundle, station, position)
        if zero is not None:
            rays.append((station, zero + bundle.direction_rad[point]))
    lengths = []
    if placement.with_lengths:
        lengths = [(position[q], s) for q, s in sights.length_m[point].items() if q in position][
            :_MOST_CHECKS
        ]
    stars = []
    for bundle in sights.at[point]:
        seen = [(position[q], a) for q, a in bundle.direction_rad.items() if q in position][:_MOST_CHECKS]
        if len(seen) >= 2:
            stars.append(seen)
    if len(rays) + len(lengths) + sum(len(s) - 1 for s in stars) < 2:
        return None

    loci: list[Locus] = [ray(start, bearing) for start, bearing in rays[:4]]
    loci += [Circle(centre, radius) for centre, radius in lengths[:4]]
    for seen in stars:
        pairs = combinations(_spread(seen, 4), 2)
        loci += [subtended(p, q, b - a) for (p, a), (q, b) in pairs if abs(p - q) > 1e-6]
    candidates = []
    for a, b in combinations(loci[: _MOST_LOCI + 4], 2):
        for place, sine in crossings(a, b):
            if sine >= least:
                candidates.append((_broken(place, rays, lengths, stars), place))
    if not candidates:
        return None
    candidates.sort(key=lambda c: c[0])
    best_broken, best = candidates[0]
    near = [abs(best - p) for p, _ in rays + lengths] + [abs(best - p) for s in stars for p, _ in s]
    apart = max(0.02 * min(near), 1.0)
    for broken, place in candidates[1:]:
        if broken - best_broken >= _AMBIGUOUS:
            break
        if abs(place - best) > apart:
            placement.undecided[point] = (best, place)
            return None
    return best


def _spread(seen: list[tuple[complex, float]], most: int) -> list[tuple[complex, float]]:
    """At most `most` of the sights, spread round the horizon (angles between neighbours say little)."""
    ordered = sorted(seen, key=lambda s: s[1])
    if len(ordered) <= most:
        return ordered
    return [ordered[i * len(ordered) // most] for i in range(most)]


def _misfit(error_m: float, length_m: float) -> float:
    """0 for a perfect fit, 0.5 at the tolerance, 1 when broken beyond doubt."""
    return error_m / (error_m + _TOLERANCE_M + _TOLERANCE_PER_M * length_m)


def _broken(
    place: complex,
    rays: list[tuple[complex, float]],
    lengths: list[tuple[complex, float]],
    stars: list[list[tuple[complex, float]]],
) -> float:
    """How many of the point's measurements this place breaks, counted softly."""
    total = 0.0
    for start, bearing in rays:
        away = place - start
        length = abs(away)
        total += _misfit(abs(away - length * cmath.exp(1j * bearing)), length)
    for centre, radius in lengths:
        total += _misfit(abs(abs(place - centre) - radius), radius)
    for seen in stars:
        near = min(abs(p - place) for p, _ in seen)
        if near < 1e-3:  # two angles over the same point always meet in it
            return math.inf
        zeros = [cmath.exp(1j * (cmath.phase(p - place) - a)) for p, a in seen]
        zero = zeros[0]
        if len(zeros) > 2:  # neither of two is nearer to the other
            zero = min(zeros, key=lambda z: sum(abs(z - other) for other in zeros))
        total += sum(
            _misfit(abs(z - zero) * abs(p - place), abs(p - place))
            for z, (p, _) in zip(zeros, seen, strict=True)
        )
    return total
