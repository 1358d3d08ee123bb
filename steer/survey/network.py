"""From observations and control to coordinates with their covariance: `reduce_network`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from steer.errors import InputRefused
from steer.survey import missing
from steer.survey.adjusting import MOST_STEPS, Problem, Solution, covariance, defects, linearised, solve
from steer.survey.equations import Rows, curvature_per_m
from steer.survey.frames import starts
from steer.survey.levels import LevelTies, first_levels, level_ties
from steer.survey.observations import ControlPoint, Observation
from steer.survey.sights import plan_view

USUAL_REFRACTION = 0.13
_WEAK_M = 10.0  # a coordinate with a larger sd (plus 1 % of the network's extent) is not determined in any
_WEAK_SHARE = 0.01  # useful sense
_LEAST_STEPS = 25  # for each of several starts; what fits is at rest after 5, rarely 15
_HINT_STEPS = 300
_FAR_OFF = 100.0  # sd that a sight misses the first coordinates by, to be named when nothing else works
_CLEARLY_BETTER = 15.0  # of the weighted square sum: odds of about e^7.5 between two places


@dataclass(frozen=True)
class Network:
    """One set of observations made ready: names, who has a level, and the control."""

    observations: tuple[Observation, ...]
    control: tuple[ControlPoint, ...]
    points: tuple[str, ...]
    ties: LevelTies
    refraction: float | None


@dataclass(frozen=True)
class Fit:
    """A network solved: `sets` in the order of the orientations, `blocks` (n, 3, 3) covariance in m²,
    `redundancy` (m + c,) of each sight and then each weighted control coordinate."""

    problem: Problem
    solution: Solution
    sets: tuple[tuple[str, str], ...]
    blocks: np.ndarray
    redundancy: np.ndarray

    @property
    def degrees_of_freedom(self) -> int:
        return len(self.solution.residual) - self.problem.unknowns

    @property
    def standardised(self) -> np.ndarray:
        """Residual over its own sd (m + c,); NaN where nothing controls the observation."""
        checked = self.redundancy > 1e-6
        return np.where(
            checked, self.solution.residual / np.sqrt(np.where(checked, self.redundancy, 1.0)), np.nan
        )


@dataclass
class Effort:
    """Steps that are left for adjustments that are only tried. What fits is at rest after few of them."""

    left: int

    @classmethod
    def for_hint(cls, sights: int) -> Effort:
        """What one question about a survey that does not fit may cost; a step costs more with more sights."""
        return cls(max(_HINT_STEPS // 3, min(_HINT_STEPS, _HINT_STEPS * 100 // max(sights, 1))))


class Contradiction(InputRefused):
    """Nothing is missing, but the sights contradict each other or the control beyond any adjustment."""


def prepared(
    observations: list[Observation], control: list[ControlPoint], refraction: float | None
) -> Network:
    """Names and level ties; raises InputRefused for what can be seen to be missing without solving."""
    if not observations:
        raise InputRefused("no observations: there is nothing to adjust")
    if not control:
        raise InputRefused("no control points: at least two known points are needed")
    points = dict.fromkeys(c.point for c in control)
    for o in observations:
        points.update({o.station: None, o.target: None})
    ties = level_ties(observations, control)
    bare = [o for o in observations if o.kind == "slope" and not ties.share(o.station, o.target)]
    if bare:
        raise InputRefused(missing.slopes_without_level(observations, bare))
    return Network(tuple(observations), tuple(control), tuple(points), ties, refraction)


def problem_of(
    network: Network, observations: list[Observation], freed: frozenset[tuple[int, int]] = frozenset()
) -> tuple[Problem, tuple[tuple[str, str], ...]]:
    """The least-squares problem of some of the network's observations; `freed` names (point, axis) of
    weighted control coordinates to leave out."""
    index = {p: i for i, p in enumerate(network.points)}
    sets = dict.fromkeys((o.station, o.set) for o in observations if o.kind == "direction")
    groups = {key: i for i, key in enumerate(sets)}
    free = np.ones((len(index), 3), dtype=bool)
    value, sd = np.full((len(index), 3), np.nan), np.full((len(index), 3), np.nan)
    for p, i in index.items():
        free[i, 2] = p in network.ties.absolute or network.ties.floating.get(p, p) != p
    for c in network.control:
        i = index[c.point]
        height = np.nan if c.level_m is None else c.level_m
        if c.sd_mm > 0.0:
            value[i] = c.easting_m, c.northing_m, height
            sd[i] = c.sd_mm * 1e-3
        else:
            free[i, :2] = False
        if c.level_m is None:
            sd[i, 2] = np.nan
        elif c.sd_mm == 0.0:
            free[i, 2] = False
    for i, axis in freed:
        sd[i, axis] = np.nan
    unknown = np.full((len(index), 3), -1)
    unknown[free] = np.arange(free.sum())
    problem = Problem(
        rows=Rows.of(observations, index, groups),
        unknown=unknown,
        known_value=value,
        known_sd=sd,
        coordinates=int(free.sum()),
        sets=len(groups),
        curvature=curvature_per_m(network.refraction),
    )
    return problem, tuple(sets)


def fitted(network: Network, effort: Effort | None = None) -> Fit:
    """Finds first coordinates and adjusts all observations; raises InputRefused when something is missing.

    Several starts share the steps of two. With an `effort` it is only tried: no rest is found once that is spent."""
    if effort is not None and effort.left <= 0:
        raise InputRefused("not tried any more")
    observations = list(network.observations)
    control = list(network.control)
    levels = {c.point: c.level_m for c in control if c.level_m is not None}
    view = plan_view(observations, list(network.points), levels)
    complete, fullest = starts(view, {c.point: complex(c.northing_m, c.easting_m) for c in control})
    if not complete:
        _refuse_coincident(observations, {p: (z.imag, z.real) for p, z in fullest.position.items()})
        raise InputRefused(missing.unplaced(observations, control, view, fullest))
    problem, sets = problem_of(network, observations)
    levels.update({p: 0.0 for p, datum in network.ties.floating.items() if p == datum})
    solved, begun = [], []
    share = max(_LEAST_STEPS, min(MOST_STEPS, 2 * MOST_STEPS // len(complete)))
    for placement in complete:
        plan = placement.position
        height = first_levels(observations, levels, plan, problem.curvature)
        position = np.array([[plan[p].imag, plan[p].real, height.get(p, 0.0)] for p in network.points])
        _refuse_coincident(observations, {p: (z.imag, z.real) for p, z in plan.items()})
        begun.append((position, first_orientations(problem, position)))
        if effort is None:
            solved.append(solve(problem, *begun[-1], share))
        else:
            solved.append(solve(problem, *begun[-1], max(0, min(_LEAST_STEPS, effort.left))))
            effort.left -= solved[-1].steps
    best = _only_one(network, solved)
    try:
        return checked(network, problem, best, sets)
    except InputRefused:
        # Was it the sights' arrangement, or did a gross error lead the adjustment astray?
        residual, design = linearised(problem, *begun[next(k for k, s in enumerate(solved) if s is best)])
        off = _far_off(network, residual) if not defects(design) else []
        if not off:
            raise
        raise Contradiction(off) from None


def first_orientations(problem: Problem, position: np.ndarray) -> np.ndarray:
    """Orientation of each set (g,) rad from these positions: the one that agrees best with all its sights, so
    that a direction to the wrong target does not turn the set."""
    rows = problem.rows
    i = np.nonzero(rows.kind == 0)[0]
    i = i[np.argsort(rows.group[i], kind="stable")]
    between = position[rows.target[i]] - position[rows.station[i]]
    turn = np.exp(1j * (np.arctan2(between[:, 0], between[:, 1]) - rows.value[i]))
    orientation = np.zeros(problem.sets)
    group = rows.group[i]
    for k in np.unique(group):
        of_set = turn[slice(*np.searchsorted(group, [k, k + 1]))]
        tried = of_set[:: max(1, len(of_set) // 20)]
        best = tried[np.abs(of_set[None, :] - tried[:, None]).sum(axis=1).argmin()]
        orientation[k] = np.angle(best)
    return orientation


def checked(network: Network, problem: Problem, solution: Solution, sets: tuple[tuple[str, str], ...]) -> Fit:
    """Covariance and redundancy of a solution; raises InputRefused when a coordinate is not determined."""
    lines = []
    loose = defects(solution.design)
    if loose:
        reach = np.abs(np.array(loose)).max(axis=0)
        for i, name in enumerate(network.points):
            axes = [a for a in range(3) if problem.unknown[i, a] >= 0 and reach[problem.unknown[i, a]] > 1e-3]
            if axes:
                lines.append(missing.undetermined(name, axes))
        raise InputRefused(
            missing.cut(lines) or ["the network is singular: a set of directions sights nothing known"]
        )
    blocks, redundancy = covariance(problem, solution)
    extent = np.ptp(solution.position[:, :2], axis=0).max()
    for i, name in enumerate(network.points):
        axes = [a for a in range(3) if not blocks[i, a, a] < (_WEAK_M + _WEAK_SHARE * extent) ** 2]
        if axes:
            lines.append(missing.undetermined(name, axes))
    if lines:
        raise InputRefused(missing.cut(lines))
    if not solution.converged:
        raise Contradiction(
            "the adjustment found no rest: the sights contradict each other grossly; look for swapped names, "
            "mixed units or a wrong control coordinate"
        )
    return Fit(problem, solution, sets, blocks, redundancy)


def _only_one(network: Network, solved: list[Solution]) -> Solution:
    """The best of several solutions, refused when another place fits as well."""
    solved = sorted(solved, key=lambda s: (not s.converged, s.square_sum))
    best = solved[0]
    for other in solved[1:]:
        if not other.converged or other.square_sum - best.square_sum > _CLEARLY_BETTER:
            continue
        lines = missing.two_places(*(_plan(network, s.position) for s in (best, other)))
        if lines:
            raise InputRefused(lines)
    return best


def _plan(network: Network, position: np.ndarray) -> dict[str, complex]:
    return {p: complex(position[i, 1], position[i, 0]) for i, p in enumerate(network.points)}


def _refuse_coincident(observations: list[Observation], plan: dict[str, tuple[float, float]]) -> None:
    lines = []
    for o in observations:
        if o.kind not in ("direction", "distance") or o.station not in plan or o.target not in plan:
            continue
        if math.dist(plan[o.station], plan[o.target]) < 1e-4:
            lines.append(
                f"row {o.row}: {o.station} and {o.target} lie in the same place, so a {o.kind} has no meaning"
            )
    if lines:
        raise InputRefused(missing.cut(lines))


def _far_off(network: Network, residual: np.ndarray) -> list[str]:
    """The sights that miss the first coordinates by most; those outvoted their blunders where they could."""
    order = np.argsort(-np.abs(residual[: len(network.observations)]))
    lines = []
    for i in order[:3]:
        o = network.observations[i]
        if abs(residual[i]) > _FAR_OFF:
            angular = o.kind in ("direction", "zenith")
            size = abs(residual[i]) * o.sd
            text = f"{np.degrees(size):.3f} degrees" if angular else f"{size:.3f} m"
            lines.append(
                f"row {o.row}: the {o.kind} from {o.station} to {o.target} is {text} off what the others "
                "say, and no adjustment holds with it: a wrong target, unit or figure?"
            )
    return lines
