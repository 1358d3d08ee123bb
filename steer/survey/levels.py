"""Which points have a level, and first values for it: levels travel along zenith sights."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from steer.survey.observations import ControlPoint, Observation


@dataclass(frozen=True)
class LevelTies:
    """absolute: points whose level follows from control. floating: points tied to each other by zenith sights
    but to no known level, by the point held at 0 for them; their level is not reported, their height
    differences still reduce the slopes between them. All others have no level at all."""

    absolute: frozenset[str]
    floating: dict[str, str]

    def share(self, a: str, b: str) -> bool:
        if a in self.absolute and b in self.absolute:
            return True
        return a in self.floating and self.floating[a] == self.floating.get(b)


def level_ties(observations: list[Observation], control: list[ControlPoint]) -> LevelTies:
    near = _zenith_neighbours(observations)
    absolute = {c.point for c in control if c.level_m is not None}
    absolute |= _reached(near, absolute)
    floating: dict[str, str] = {}
    for point in near:
        if point not in absolute and point not in floating:
            floating.update(dict.fromkeys(_reached(near, {point}), point))
    return LevelTies(frozenset(absolute), floating)


def first_levels(
    observations: list[Observation], known: dict[str, float], plan: dict[str, complex], curvature: float
) -> dict[str, float]:
    """Levels (m) carried from the known ones along zenith sights, over plan distances already found."""
    sights: dict[str, list[tuple[str, float]]] = {}
    for o in observations:
        if o.kind != "zenith":
            continue
        d = abs(plan[o.target] - plan[o.station])
        rise = d / math.tan(o.value) + curvature * d**2 + o.instrument_height_m - o.target_height_m
        sights.setdefault(o.station, []).append((o.target, rise))
        sights.setdefault(o.target, []).append((o.station, -rise))
    level = dict(known)
    queue = deque(known)
    while queue:
        point = queue.popleft()
        for other, rise in sights.get(point, ()):
            if other not in level:
                level[other] = level[point] + rise
                queue.append(other)
    return level


def _zenith_neighbours(observations: list[Observation]) -> dict[str, set[str]]:
    near: dict[str, set[str]] = {}
    for o in observations:
        if o.kind == "zenith":
            near.setdefault(o.station, set()).add(o.target)
            near.setdefault(o.target, set()).add(o.station)
    return near


def _reached(near: dict[str, set[str]], starts: set[str]) -> set[str]:
    reached, queue = set(starts), deque(starts)
    while queue:
        for other in near.get(queue.popleft(), ()):
            if other not in reached:
                reached.add(other)
                queue.append(other)
    return reached
