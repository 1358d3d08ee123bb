"""What the fold leaves at one chainage: the state of the stack, and what a cell did to it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from functools import cached_property

import numpy as np

from steer.estimate import small
from steer.estimate.geometry import Reference
from steer.estimate.packed import InMemory, Kept, Plain, Transitions, Triangles, Unpacked, put_away
from steer.estimate.past import Past
from steer.estimate.scatter import Scatter
from steer.estimate.shelf import Shelf

MODEL_TEMPER = 0.5  # readings are less independent than the filter takes them for
WRONG = 4  # ways of answering wrongly that are watched: see `evidence`
ROUNDING = 1e-6  # of a covariance, in its units and as a share


@dataclass(frozen=True)
class Setting:
    """The surveyor has set the reference anew at this chainage: its errors are drawn afresh."""

    s_m: float
    sequence: int
    reference: Reference


@dataclass
class Node:
    """State of the stack at one chainage, after its measurement, and how it came there. Once it is packed, what
    was predicted is of the planes of the models alone: b is then 2·models."""

    s_m: float
    x: np.ndarray  # (b, 12)
    p: np.ndarray  # (b, 12, 12)
    x_before: np.ndarray  # predicted
    p_before: np.ndarray
    phi: np.ndarray  # from the node before
    articulation: np.ndarray  # (2,) at the node
    bearing_rad: float
    grade: float
    score: np.ndarray  # (models,) log-likelihood, fading
    trend: np.ndarray = field(default_factory=lambda: np.zeros((2, 4)))  # fading sum of standardised
    # innovations per channel, and its variance if they were independent
    against: np.ndarray = field(
        default_factory=lambda: np.zeros((WRONG, 2))
    )  # evidence for each wrong answer,
    # per plane: log-likelihood ratio summed from its last low
    mirror: np.ndarray = field(default_factory=lambda: np.zeros((WRONG, 2)))  # articulation when that began
    report: object = None
    roll_deg: float = 0.0
    roll_doubt: float = 0.0  # variance (rad²) of a roll that is not read: RO carries it
    steered_m: float = -np.inf  # chainage of the last change of articulation that counts
    past: Past = field(default_factory=lambda: Past.none(0.0))  # articulation held behind
    torn: np.ndarray = field(default_factory=lambda: np.zeros((WRONG, 2)))  # evidence as in `against` where
    # waiting for an answer explains as well: what is steered by
    scatter: Scatter = field(default_factory=Scatter.none)  # of the readings
    stands_for: Node | None = None  # of a shot that does not count: the node that it leaves as it was
    packed: dict[str, Kept] = field(default_factory=dict, init=False, repr=False)

    # a node is made once and asked at many strokes
    @cached_property
    def weights(self) -> np.ndarray:
        """Weights (models,) of the models, summing to 1."""
        w = np.exp(MODEL_TEMPER * (self.score - self.score.max()))
        found: np.ndarray = w / w.sum()
        return found

    def blend(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean (2, 12) and covariance (2, 12, 12) of the mixture, per plane."""
        return blend(self.x, self.p, self.weights) if self.packed else self._blended

    @cached_property
    def _blended(self) -> tuple[np.ndarray, np.ndarray]:
        return blend(self.x, self.p, self.weights)

    @property
    def sound(self) -> bool:
        """Whether this can be a state: all finite, no variance below 0, no correlation beyond 1 (to rounding)."""
        numbers = (
            self.x,
            self.p,
            self.score,
            self.trend,
            self.against,
            self.torn,
            self.mirror,
            self.articulation,
        )
        # one that is not finite leaves no finite sum
        if not math.isfinite(sum([float(v.sum()) for v in numbers], self.bearing_rad + self.grade)):
            return False
        own = np.diagonal(self.p, axis1=1, axis2=2)
        with np.errstate(over="ignore"):  # a product beyond what a float holds is no covariance either
            most = own[:, :, None] * own[:, None, :]
            square = self.p * self.p
        return bool((own >= -ROUNDING).all() and (square <= most * (1.0 + ROUNDING) + ROUNDING).all())

    def pack(self, shelf: Shelf) -> None:
        """Put the matrices away from now on, each number once, for a node far behind the face; see `packed`."""
        if self.packed:
            return
        if self.stands_for is not None:
            self.packed = self.stands_for.packed
        else:
            of_models = slice(2 * len(self.score))
            p, p_before = Triangles.of(self.p), Triangles.of(self.p_before[of_models])
            if p is not None and p_before is not None:
                kept: dict[str, InMemory] = {"p": p, "p_before": p_before}
                kept |= {"x": Plain(self.x), "x_before": Plain(self.x_before[of_models])}
                kept["phi"] = Transitions.of(self.phi[of_models])
                self.packed = put_away(kept, shelf)
        for name in (*self.packed, "_blended"):
            self.__dict__.pop(name, None)

    def put_away(self, shelf: Shelf) -> None:
        """Put the small fields away as well, and those of what a cell did, but for what is asked of every node."""
        _ = self.weights
        if isinstance(self.report, CellReport):
            _ = self.report.refused, self.report.jumped
            small.put_away(self.report, shelf, ("refused", "jumped"))
        small.put_away(self, shelf, ("weights",))


for _name in ("x", "p", "x_before", "p_before", "phi"):
    setattr(Node, _name, Unpacked(_name))
small.mark(
    Node,
    (
        "bearing_rad", "grade", "score", "trend", "against", "mirror", "torn", "scatter", "past", "roll_deg", "roll_doubt",
        "steered_m",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Recovery:
    """A state that could not be one was found at `s_m`; the estimate went on from the sound one at `from_m`.
    `left_out`: what came in there makes it go wrong again, and does not count."""

    s_m: float
    from_m: float
    left_out: bool


@dataclass
class CellReport:
    """What one cell did to the estimate, for the health checks. Channels as in `Cell.values`."""

    innovation: np.ndarray  # (4,) of the mean of the used readings, main hypothesis
    innovation_sd: np.ndarray  # (4,)
    used: np.ndarray  # (4,) readings used
    offered: np.ndarray  # (4,) readings that had the channel
    shifted: np.ndarray  # (4,) common residual of a cell whose readings agree with each other but not with us
    log_ratio: np.ndarray  # (WRONG, 2) log-likelihood of the wrong answers minus that of the stack
    articulation: np.ndarray  # (2,)
    change: np.ndarray  # (2,)
    trend: np.ndarray = field(default_factory=lambda: np.zeros(2))  # chi-square of the innovations' trend
    ground: np.ndarray = field(default_factory=lambda: np.zeros(2, bool))  # tendency opened, per plane
    moved: np.ndarray = field(default_factory=lambda: np.zeros(4, bool))  # channels taken in as moved
    first: np.ndarray = field(default_factory=lambda: np.zeros(4, bool))  # taken in as another launch

    @cached_property
    def refused(self) -> int:
        """Values offered that were not used."""
        return int(self.offered.sum() - self.used.sum())

    @cached_property
    def jumped(self) -> bool:
        """Whether a channel jumped, stayed, and was taken in so."""
        return bool(self.moved.any())


small.mark(CellReport, [f.name for f in fields(CellReport)])


def blend(x: np.ndarray, p: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Moments of the mixture: x (b, 12), p (b, 12, 12), weights (m,) -> (2, 12), (2, 12, 12)."""
    m = len(weights)
    each = x[: 2 * m].reshape(m, 2, -1)
    mean = np.einsum("m,mpi->pi", weights, each)
    off = each - mean
    cov = np.einsum("m,mpij->pij", weights, p[: 2 * m].reshape(m, 2, *p.shape[1:]))
    return mean, cov + np.einsum("m,mpi,mpj->pij", weights, off, off)


Cells = list[tuple[Node, CellReport]]


def cells_of(nodes: list[Node]) -> Cells:
    """The nodes that a cell left, with what it did."""
    return [(n, n.report) for n in nodes if isinstance(n.report, CellReport)]
