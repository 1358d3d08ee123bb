"""Which observations are wrong: Baarda's data snooping, one at a time.

The observation whose standardised residual is largest and beyond 3.29 (two-sided 0.1 %, normal) is taken out
and the rest adjusted again, until none is left (W. Baarda, A testing procedure for use in geodetic networks,
1968; the iteration as in Ghilani and Wolf, Adjustment Computations, both from memory). Observations with the
same |w| cannot be told apart (the two directions of one angle): they are suspect together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.errors import InputRefused
from steer.survey.adjusting import solve
from steer.survey.network import Fit, Network, checked, first_orientations, problem_of

CRITICAL = 3.2905  # standard normal, 0.1 % two-sided
_TIE = 1e-4
_LARGE = 2000  # observations; beyond, several far-apart suspects are taken out in one round
_MOST_ROUNDS = 25
_MOST_STEPS = 50  # from a fit that is at rest already


@dataclass(frozen=True)
class Suspects:
    """observations: indices into the network's observations, the most suspect first. control: (point index,
    axis) of weighted control coordinates. without: the fit that leaves all of them out, None when the rest
    does not hold together alone, or when there are none. finished False: stopped with more to find."""

    observations: tuple[int, ...]
    control: tuple[tuple[int, int], ...]
    without: Fit | None
    finished: bool


def suspects(network: Network, fit: Fit) -> Suspects:
    groups: list[list[int]] = []  # over the m sights and c control coordinates of the first fit
    first, without = fit, None
    keep = np.arange(len(fit.solution.residual))
    finished = False
    for _ in range(_MOST_ROUNDS if len(keep) <= _LARGE else 4):
        found = _worst(network, first, fit.standardised, keep)
        if not found:
            finished = True
            break
        groups += found
        gone = {i for group in groups for i in group}
        keep = np.array([i for i in range(len(first.solution.residual)) if i not in gone], dtype=int)
        refit = _without(network, first, gone)
        without = refit
        if refit is None:
            finished = True
            break
        fit = refit
    if without is not None and 1 < len(groups) <= 10 and len(first.solution.residual) <= _LARGE:
        groups, without = _cleared(network, first, groups, without)
    rows = len(network.observations)
    flat = [i for group in groups for i in group]
    point, axis = first.problem.weighted
    return Suspects(
        observations=tuple(i for i in flat if i < rows),
        control=tuple((int(point[i - rows]), int(axis[i - rows])) for i in flat if i >= rows),
        without=without,
        finished=finished,
    )


def _worst(network: Network, first: Fit, standardised: np.ndarray, keep: np.ndarray) -> list[list[int]]:
    """Groups of tied observations to take out now, as indices of the first fit."""
    size = np.nan_to_num(np.abs(standardised))
    groups: list[list[int]] = []
    touched: set[str] = set()
    for i in np.argsort(-size):
        if size[i] <= CRITICAL:
            break
        if any(keep[i] in group for group in groups):
            continue
        tied = keep[np.abs(size - size[i]) <= _TIE * size[i]]
        names = {name for k in tied for name in _points(network, first, int(k))}
        if groups and names & touched:
            continue
        touched |= names
        groups.append([int(k) for k in tied])
        if len(size) <= _LARGE:
            break
    return groups


def _points(network: Network, first: Fit, i: int) -> tuple[str, ...]:
    rows = len(network.observations)
    if i < rows:
        return network.observations[i].station, network.observations[i].target
    return (network.points[first.problem.weighted[0][i - rows]],)


def _without(network: Network, first: Fit, gone: set[int]) -> Fit | None:
    """Adjusted again without some observations, started from the first fit; None when singular then."""
    rows = len(network.observations)
    point, axis = first.problem.weighted
    freed = frozenset((int(point[i - rows]), int(axis[i - rows])) for i in gone if i >= rows)
    problem, sets = problem_of(
        network, [o for i, o in enumerate(network.observations) if i not in gone], freed
    )
    position = first.solution.position
    try:
        solution = solve(problem, position, first_orientations(problem, position), _MOST_STEPS)
        return checked(network, problem, solution, sets)
    except InputRefused:
        return None


def _cleared(
    network: Network, first: Fit, groups: list[list[int]], without: Fit
) -> tuple[list[list[int]], Fit]:
    """Gives back each earlier suspect that fits once the others are gone (it was blamed for a neighbour)."""
    for group in groups[:-1]:
        others = {i for g in groups if g is not group for i in g}
        refit = _without(network, first, others)
        if refit is None:
            continue
        keep = [i for i in range(len(first.solution.residual)) if i not in others]
        size = np.nan_to_num(np.abs(refit.standardised))
        if size.max(initial=0.0) <= CRITICAL and any(i in group for i in keep):
            groups, without = [g for g in groups if g is not group], refit
    return groups, without
