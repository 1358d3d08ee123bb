"""The plan view of the observations, as the search for first coordinates reads it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median

from steer.survey.observations import Observation


@dataclass(frozen=True)
class Bundle:
    """The directions (rad) of one station and set, by target: a rigid star of unknown orientation."""

    station: str
    direction_rad: dict[str, float]


@dataclass(frozen=True)
class Sights:
    """length_m[a][b]: horizontal, both ways. at[p]: bundles taken at p. seeing[p]: bundles that sight p."""

    length_m: dict[str, dict[str, float]]
    at: dict[str, list[Bundle]]
    seeing: dict[str, list[Bundle]]

    def neighbours(self, point: str) -> set[str]:
        near = set(self.length_m[point])
        for bundle in self.at[point]:
            near.update(bundle.direction_rad)
        near.update(bundle.station for bundle in self.seeing[point])
        return near


def plan_view(observations: list[Observation], points: list[str], levels: Mapping[str, float]) -> Sights:
    """Horizontal lengths (from slope and zenith of the same row, or slope and known levels) and bundles."""
    zenith = {o.row: o.value for o in observations if o.kind == "zenith"}
    lengths: dict[tuple[str, str], list[float]] = {}
    directions: dict[tuple[str, str], dict[str, list[float]]] = {}
    for o in observations:
        if o.kind in ("slope", "distance"):
            length = o.value
            if o.kind == "slope" and o.row in zenith:
                length *= math.sin(zenith[o.row])
            elif o.kind == "slope" and o.station in levels and o.target in levels:
                rise = levels[o.target] + o.target_height_m - levels[o.station] - o.instrument_height_m
                length = math.sqrt(max(length**2 - rise**2, 0.01 * length**2))
            pair = (min(o.station, o.target), max(o.station, o.target))
            lengths.setdefault(pair, []).append(length)
        elif o.kind == "direction":
            directions.setdefault((o.station, o.set), {}).setdefault(o.target, []).append(o.value)

    view = Sights({p: {} for p in points}, {p: [] for p in points}, {p: [] for p in points})
    for (a, b), several in lengths.items():
        view.length_m[a][b] = view.length_m[b][a] = median(several)
    for (station, _), rays in directions.items():
        # The first of repeated directions will do for a start (a median would break at 0 = 360 degrees).
        bundle = Bundle(station, {target: several[0] for target, several in rays.items()})
        view.at[station].append(bundle)
        for target in rays:
            view.seeing[target].append(bundle)
    return view
