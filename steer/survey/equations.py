"""The observation equations: what each sight should read, and its derivatives, all rows at once.

Directions are bearings (clockwise from north) less the set's orientation. Over the horizontal distance d
and the height difference h = (H_target + target height) - (H_station + instrument height):

    slope  = sqrt(d² + h²)            zenith = atan2(d, h - (1 - K)·d²/(2·R))

where the last term is earth curvature less refraction (the usual spherical formula of trigonometric
levelling; R = 6371 km). `none` for K leaves the term out. Distances are in the grid, at the survey's level.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.survey.observations import Observation

EARTH_RADIUS_M = 6_371_000.0
KINDS = ("direction", "zenith", "slope", "distance")
_NEAREST_M = 1e-6  # a vertical sight has d = 0, where the derivatives of d have no direction


def curvature_per_m(refraction: float | None) -> float:
    """(1 - K)/(2·R) in 1/m, or 0 when curvature and refraction are left out."""
    return 0.0 if refraction is None else (1.0 - refraction) / (2.0 * EARTH_RADIUS_M)


@dataclass(frozen=True)
class Rows:
    """m observations as arrays (m,): kind index into KINDS, point indices, value (rad, m), sd, and the
    set each direction belongs to (-1 for the others). `raise_m` is target height less instrument height."""

    kind: np.ndarray
    station: np.ndarray
    target: np.ndarray
    value: np.ndarray
    sd: np.ndarray
    group: np.ndarray
    raise_m: np.ndarray

    @staticmethod
    def of(
        observations: list[Observation], points: dict[str, int], groups: dict[tuple[str, str], int]
    ) -> Rows:
        return Rows(
            kind=np.array([KINDS.index(o.kind) for o in observations], dtype=int),
            station=np.array([points[o.station] for o in observations], dtype=int),
            target=np.array([points[o.target] for o in observations], dtype=int),
            value=np.array([o.value for o in observations], dtype=float),
            sd=np.array([o.sd for o in observations], dtype=float),
            group=np.array(
                [groups[o.station, o.set] if o.kind == "direction" else -1 for o in observations], dtype=int
            ),
            raise_m=np.array([o.target_height_m - o.instrument_height_m for o in observations], dtype=float),
        )


def wrapped(angle: np.ndarray) -> np.ndarray:
    """The same angle in [-pi, pi)."""
    return (angle + np.pi) % (2.0 * np.pi) - np.pi


def misclosure_and_partials(
    rows: Rows, position: np.ndarray, orientation: np.ndarray, curvature: float
) -> tuple[np.ndarray, np.ndarray]:
    """Computed minus observed (m,), and the derivatives (m, 7) of the computed value.

    position: (n, 3) easting, northing, level in m; orientation: (g,) rad. The seven derivatives are by
    station E, N, H, target E, N, H and orientation. Units: rad or m, per m or per rad."""
    between = position[rows.target] - position[rows.station]
    de, dn = between[:, 0], between[:, 1]
    h = between[:, 2] + rows.raise_m
    d = np.maximum(np.hypot(de, dn), _NEAREST_M)
    unit_e, unit_n = de / d, dn / d

    computed = np.empty(len(d))
    by_e, by_n, by_h = np.zeros(len(d)), np.zeros(len(d)), np.zeros(len(d))  # at the target
    by_orientation = np.zeros(len(d))

    i = rows.kind == 0
    computed[i] = np.arctan2(de[i], dn[i]) - orientation[rows.group[i]]
    by_e[i], by_n[i] = unit_n[i] / d[i], -unit_e[i] / d[i]
    by_orientation[i] = -1.0

    i = rows.kind == 1
    seen = h[i] - curvature * d[i] ** 2
    square = d[i] ** 2 + seen**2
    computed[i] = np.arctan2(d[i], seen)
    by_d = (seen + 2.0 * curvature * d[i] ** 2) / square
    by_e[i], by_n[i], by_h[i] = by_d * unit_e[i], by_d * unit_n[i], -d[i] / square

    i = rows.kind == 2
    slope = np.hypot(d[i], h[i])
    computed[i] = slope
    by_e[i], by_n[i], by_h[i] = de[i] / slope, dn[i] / slope, h[i] / slope

    i = rows.kind == 3
    computed[i] = d[i]
    by_e[i], by_n[i] = unit_e[i], unit_n[i]

    misclosure = computed - rows.value
    angular = rows.kind <= 1
    misclosure[angular] = wrapped(misclosure[angular])
    partials = np.column_stack([-by_e, -by_n, -by_h, by_e, by_n, by_h, by_orientation])
    return misclosure, partials
