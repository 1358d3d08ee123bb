"""Paths that the log leaves possible, drawn with their probability: for what is no straight function of a path.

The smoothed path is the mean of what is possible and therefore rounder than the bore: the largest joint
angle along it is not the largest that must be reckoned with. Three things put that right, by the model of
the stack that weighs most over the drive:

Jumps. The motion model lets the crab wander; where the ground changes it jumps, and smoothing rounds the
kink. With r = P'⁻¹·(x_s − x') and N = P'⁻¹·(P' − P_s)·P'⁻¹ at a node (' predicted, s smoothed), r/√N is
standard normal when nothing jumped there, r/N the jump's size if something did and 1/N its variance (de Jong
and Penzer, Diagnosing shocks in time series, JASA 93, 1998; from memory). The largest beyond DOUBT is taken
in, as long as there is one; its effect on the whole path follows from the fold's own gains.

Steps. A check shot that disagrees moves face and reference together; the path steps there, the bore did not.
The steps are taken out, so that what is left is the bore's shape.

Draws. Backward simulation (Carter and Kohn, Biometrika 81, 1994; from memory):

    x_i = m_i + J_i·(x_{i+1} − m'_{i+1}) + e,   e ~ N(0, P_i − J_i·P'_{i+1}·J_iᵀ),   J = P·Φᵀ·P'⁻¹
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

import numpy as np

from steer.estimate.estimator import Estimator
from steer.estimate.motion import N_STATES, C, K, Y
from steer.estimate.nodes import CellReport, Node
from steer.estimate.opening import GROUND_CRAB, GROUND_TENDENCY
from steer.estimate.packed import Kept, Plain, put_away
from steer.estimate.shelf import Shelf
from steer.estimate.shots import ShotReport

DOUBT = 4.0  # standard deviations: 1 in 16,000 where nothing jumped
DOUBT_OF_BOTH = 19.4  # the same chance of chi-square with two degrees of freedom
LEAST = 2.0  # standard deviations of a plane that goes along with the other
MOST_JUMPS = 30
JUMP_SD = 6.0  # mm/m: how large a jump of the crab may be expected
SETTLED = 2  # nodes at the launch, whose direction is free anyway
AT_ONCE = 32  # steps
_SEED = 7  # the same log gives the same draws


@dataclass(frozen=True)
class Jump:
    """A jump of the crab: where, plane (0 line, 1 level), size and its sd (mm/m; + right, + up)."""

    chainage_m: float
    plane: int
    size_mm_per_m: float
    sd_mm_per_m: float


@dataclass(frozen=True)
class Possible:
    """`shift_mm` (n, 2) of line and level is what makes the smoothed path at ascending chainages (n,) the
    likeliest shape of the bore: jumps added, steps taken out. `draws_mm` (count, n, 2) are possible shapes
    about that one, as differences from it."""

    chainage_m: np.ndarray
    shift_mm: np.ndarray
    draws_mm: np.ndarray
    jumps: tuple[Jump, ...]


def possible_paths(estimator: Estimator, count: int = 200) -> Possible:
    """Draw paths from all that has been folded."""
    nodes = [node for node in estimator.nodes if node.stands_for is None]
    if not nodes:
        return Possible(np.zeros(0), np.zeros((0, 2)), np.zeros((count, 0, 2)), ())
    fold = _Fold(nodes, estimator.shelf)
    jumps, shift, spreads = _jumps(fold)
    shift -= fold.steps_of(fold.smoothed - fold.x, fold.smoothed - fold.x_before)
    draws = fold.draws(count, np.random.default_rng(_SEED))
    random = np.random.default_rng(_SEED + 1)
    for spread in spreads:
        by = random.standard_normal(count)[:, None, None]
        for part in _parts(draws.shape[1]):
            draws[:, part] += by * spread[part]
    keep = np.append(np.diff(fold.at) > 1e-6, True)
    if keep.all():
        return Possible(fold.at, shift, draws, jumps)
    return Possible(fold.at[keep], shift[keep], draws[:, keep], jumps)


Step = tuple[float, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


class _Fold:
    """The fold of one model, both planes: arrays over its steps (n, 2, …), and its smoothed mean. The matrices, 9 kB a
    step, lie on the shelf and are read again by parts: what is worked on at once does not grow with the drive."""

    def __init__(self, nodes: list[Node], shelf: Shelf) -> None:
        first = 2 * int(np.argmax(np.mean([node.weights for node in nodes], axis=0)))
        n = sum(1 + int(_opened(node).any()) for node in nodes)
        self.at = np.empty(n)
        self.stepped = np.empty((n, 2), bool)  # a shot that disagrees counts here
        self.x, self.x_before = (np.empty((n, 2, N_STATES)) for _ in range(2))
        self.phi_y: dict[int, np.ndarray] = {}  # (2, 12): how the offset follows, at steps that are `stepped`
        self.parts: list[_Part] = []
        steps = (step for node in nodes for step in _steps(node, slice(first, first + 2)))
        ahead = list(islice(steps, 1))
        for where in _parts(n):
            own = ahead + list(islice(steps, AT_ONCE))
            ahead = own[AT_ONCE:]
            for i, step in zip(range(where.start, where.stop), own, strict=False):
                self.at[i], self.x[i], self.x_before[i], self.stepped[i] = step[0], step[1], step[2], step[6]
                if step[6].any():
                    self.phi_y[i] = step[5][:, Y]
            self.parts.append(_Part.of(where, own, shelf))
        self._smooth()

    def _smooth(self) -> None:
        """The smoothed mean; and how to see a jump of the crab at each step, for both planes: `pulls`·(x_s − x') is r
        (n, 2, 12), `spread` N (n, 2)."""
        self.smoothed, self.pulls = self.x.copy(), np.empty_like(self.x)
        self.spread = np.empty(self.stepped.shape)
        later = np.empty((2, N_STATES, N_STATES))
        crab = np.zeros((2, N_STATES, 1))
        crab[:, C] = 1.0
        for part in reversed(self.parts):
            p, p_before, back = part.get("p", "p_before", "back")
            smoothed_p = p.copy()
            for k in range(len(p) - 1, -1, -1):
                i = part.where.start + k
                if k < len(back):
                    self.smoothed[i] += _times(back[k], self.smoothed[i + 1] - self.x_before[i + 1])
                    smoothed_p[k] += back[k] @ (later - p_before[k + 1]) @ _turned(back[k])
                later = smoothed_p[k]
            before = p_before[: len(p)]
            pulls = self.pulls[part.where] = _solve(before, np.broadcast_to(crab, (len(p), *crab.shape)))[
                ..., 0
            ]
            self.spread[part.where] = np.einsum("npi,npij,npj->np", pulls, before - smoothed_p, pulls)

    def effect(self, at: int, plane: int) -> tuple[np.ndarray, np.ndarray]:
        """What a jump of 1 mm/m at node `at` adds in that plane: to the smoothed mean and to the predicted
        one, (n, 12) each."""
        count = len(self.at)
        before, after = np.zeros((count, N_STATES)), np.zeros((count, N_STATES))
        before[at, C] = 1.0
        for part in self.parts[at // AT_ONCE :]:
            p, p_before, phi = (matrix[:, plane] for matrix in part.get("p", "p_before", "phi"))
            # P·P'⁻¹, by which a measurement keeps a change of the mean
            kept = _turned(_solve(p_before[: len(p)], p))
            for i in range(max(at, part.where.start), part.where.stop):
                if i > at:
                    before[i] = phi[i - part.where.start] @ after[i - 1]
                after[i] = kept[i - part.where.start] @ before[i]
        for part in reversed(self.parts):
            (back,) = part.get("back")
            for k in range(len(back) - 1, -1, -1):
                i = part.where.start + k
                after[i] += back[k, plane] @ (after[i + 1] - before[i + 1])
        return after, before

    def draws(self, count: int, random: np.random.Generator) -> np.ndarray:
        """(count, n, 2) draws of line and level about the smoothed mean, mm."""
        n = len(self.at)
        found = np.empty((count, n, 2))
        off = np.empty(0)
        for part in reversed(self.parts):
            p, p_before, back = part.get("p", "p_before", "back")
            if len(back) < len(p):  # the last step
                off = _root(p[-1]) @ random.standard_normal((2, N_STATES, count))
                found[:, -1] = off[:, Y].T
            some = len(back)
            root = _root(p[:some] - back @ p_before[1 : some + 1] @ _turned(back))
            for k in range(some - 1, -1, -1):
                i, later = part.where.start + k, off
                off = back[k] @ off + root[k] @ random.standard_normal(off.shape)
                found[:, i] = off[:, Y].T
                for plane in np.flatnonzero(self.stepped[i + 1]):
                    step = later[plane, Y] - self.phi_y[i + 1][plane] @ off[plane]
                    found[:, i + 1 :, plane] -= step[:, None]
        return found

    def steps_of(self, from_after: np.ndarray, from_before: np.ndarray) -> np.ndarray:
        """Steps of the smoothed path at shots that disagree, summed up along it (n, 2), mm, from how far it
        lies from the fold's mean after each measurement and before it (n, 2, 12)."""
        found = np.zeros((len(self.at), 2))
        for i, plane in zip(*np.nonzero(self.stepped), strict=True):
            if i > 0:
                found[i:, plane] += from_before[i, plane, Y] - self.phi_y[i][plane] @ from_after[i - 1, plane]
        return found


@dataclass(frozen=True)
class _Part:
    """Some steps in a row: P, P', Φ (m, 2, 12, 12), of P' and Φ that of the step after them as well, and J of every step
    but the very last."""

    where: slice
    _kept: dict[str, Kept]

    @classmethod
    def of(cls, where: slice, steps: list[Step], shelf: Shelf) -> _Part:
        """`steps`: they and the one after them, where there is one."""
        p, p_before, phi = (np.stack([step[k] for step in steps]) for k in (3, 4, 5))
        back = _turned(_solve(p_before[1:], phi[1:] @ p[:-1]))
        own = {"p": p[: where.stop - where.start], "p_before": p_before, "phi": phi, "back": back}
        return cls(where, put_away({name: Plain(matrices) for name, matrices in own.items()}, shelf))

    def get(self, *names: str) -> list[np.ndarray]:
        """What was put away."""
        return [self._kept[name].whole() for name in names]


def _opened(node: Node) -> np.ndarray:
    """In which planes (2,) the node opened the tendency after its measurement."""
    return node.report.ground if isinstance(node.report, CellReport) else np.zeros(2, bool)


def _steps(node: Node, both: slice) -> list[Step]:
    """Chainage, x, x', P, P', Φ of a node, and in which planes the path steps there. Where it opened the
    tendency after its measurement, that is a step of its own, so that P follows from P' by the measurement
    alone."""
    # copied one by one: a view would keep every plane of the node
    x, p, p_before, phi = (getattr(node, name)[both].copy() for name in ("x", "p", "p_before", "phi"))
    opened, first = _opened(node), p.copy()
    first[opened, C, C] -= GROUND_CRAB**2
    first[opened, K, K] -= GROUND_TENDENCY**2
    none = np.zeros(2, bool)
    shot = node.report
    stepped = shot.disagrees if isinstance(shot, ShotReport) and shot.counts else none
    found = [(node.s_m, x, node.x_before[both].copy(), first, p_before, phi, stepped)]
    if opened.any():
        found.append((node.s_m, x, x, p, p, np.broadcast_to(np.eye(x.shape[1]), p.shape), none))
    return found


def _jumps(fold: _Fold) -> tuple[tuple[Jump, ...], np.ndarray, list[np.ndarray]]:
    """The jumps; what they add to line and level (n, 2), mm; and each one's doubt as a path (n, 2)."""
    spread = np.where(fold.spread > 1e-9, fold.spread, np.inf)
    spread[:SETTLED] = np.inf
    gap = fold.smoothed - fold.x_before
    shift = np.zeros((len(fold.at), 2))
    jumps: list[Jump] = []
    doubts: list[np.ndarray] = []
    refused = np.zeros(spread.shape, bool)
    while len(jumps) < MOST_JUMPS:
        pull = np.einsum("npi,npi->np", fold.pulls, gap)
        square = np.where(refused, 0.0, pull * pull / spread)
        # one plane by itself, or both together: other ground pushes otherwise in both
        sure = np.maximum(square.max(axis=1) / DOUBT**2, square.sum(axis=1) / DOUBT_OF_BOTH)
        at = int(np.argmax(sure))
        if sure[at] < 1.0:
            break
        for plane in (0, 1):
            if square[at, plane] < LEAST**2:
                continue
            variance = 1.0 / (spread[at, plane] + 1.0 / JUMP_SD**2)
            jump = variance * pull[at, plane]
            after, before = fold.effect(at, plane)
            changed = gap[:, plane] + jump * (after - before)
            left = fold.pulls[at, plane] @ changed[at]
            refused[at, plane] = True
            if abs(left) > 0.5 * abs(pull[at, plane]):
                continue  # it does not explain what it was taken for
            gap[:, plane] = changed
            shift[:, plane] += jump * after[:, Y]
            doubt = np.zeros_like(shift)
            doubt[:, plane] = np.sqrt(variance) * after[:, Y]
            jumps.append(Jump(float(fold.at[at]), plane, float(jump), float(np.sqrt(variance))))
            doubts.append(doubt)
    return tuple(jumps), shift, doubts


def _parts(count: int) -> list[slice]:
    """Steps that are worked on at once."""
    return [slice(first, min(first + AT_ONCE, count)) for first in range(0, count, AT_ONCE)]


def _times(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    found: np.ndarray = np.einsum("...ij,...j->...i", matrix, vector)
    return found


def _turned(matrix: np.ndarray) -> np.ndarray:
    return np.swapaxes(matrix, -1, -2)


def _solve(p: np.ndarray, right: np.ndarray) -> np.ndarray:
    """P⁻¹·right with rows and columns scaled to 1, so that a state known exactly does no harm."""
    scale = np.sqrt(np.maximum(np.diagonal(p, axis1=-2, axis2=-1), 1e-18))
    unit = p / (scale[..., :, None] * scale[..., None, :]) + 1e-10 * np.eye(p.shape[-1])
    try:
        found: np.ndarray = np.linalg.solve(unit, right / scale[..., :, None]) / scale[..., :, None]
    except np.linalg.LinAlgError:
        return np.zeros_like(right)  # singular all the same: nothing is carried over
    return np.where(np.isfinite(found), found, 0.0)


def _root(p: np.ndarray) -> np.ndarray:
    """R with R·Rᵀ = p, for covariances that may be singular."""
    scale = np.sqrt(np.maximum(np.diagonal(p, axis1=-2, axis2=-1), 1e-18))
    unit = p / (scale[..., :, None] * scale[..., None, :])
    values, vectors = np.linalg.eigh(0.5 * (unit + _turned(unit)))
    found: np.ndarray = scale[..., :, None] * vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]
    return found
