"""The path as driven, with all knowledge: a backward pass over the estimator's nodes.

Rauch, Tung and Striebel (1965), per model (the wrong answers are left out), then the mixture by each node's weights:

    J = P·Φᵀ·P'⁻¹,  x_s = x + J·(x_s' − x'),  P_s = P + J·(P_s' − P')·Jᵀ

with ' the next node, before its measurement. What a node opened (a moved reference, a shot that
disagrees) is in its P' already, as process noise at that node.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.estimate.estimator import Estimator
from steer.estimate.motion import N_STATES, G, H, T, Y
from steer.estimate.nodes import Node
from steer.estimate.packed import InMemory, Kept, Plain, put_away
from steer.estimate.shelf import Shelf

BLOCK = 24  # nodes that are asked at once


@dataclass(frozen=True)
class SmoothedPath:
    """Arrays over nodes (n,), chainage ascending: offsets mm, headings against the axis mm/m, and
    (n, 2) articulation (right, up; mm/m) and learned gain (line, level; 1/m) with its sd."""

    chainage_m: np.ndarray
    line_mm: np.ndarray
    level_mm: np.ndarray
    line_sd_mm: np.ndarray
    level_sd_mm: np.ndarray
    yaw_mm_per_m: np.ndarray
    pitch_mm_per_m: np.ndarray
    articulation_mm_per_m: np.ndarray
    gain_per_m: np.ndarray
    gain_sd_per_m: np.ndarray


def smooth(estimator: Estimator) -> SmoothedPath:
    """Smooth every node folded so far; the last one at each chainage counts."""
    return Smoother().path(estimator)


class Smoother:
    """Smooths one fold again and again while it grows. What lies far behind the face is an affine function of the state
    where the newer nodes begin: it is worked out once for each `BLOCK` nodes and then asked, all of them at once."""

    def __init__(self) -> None:
        self._blocks: list[_Block] = []

    def path(self, estimator: Estimator) -> SmoothedPath:
        """Every node folded so far; the last one at each chainage counts."""
        nodes = [node for node in estimator.nodes if node.stands_for is None]
        planes = 2 * estimator.stack.models
        if not nodes:
            return _mixed([], np.zeros((0, planes, 3)), np.zeros((0, planes, 2)))
        # how many depends on the nodes alone, so that whoever asks gets the same to the last bit
        count = max(0, (len(nodes) - 1) // BLOCK - 1)
        while self._blocks and not (
            len(self._blocks) <= count and nodes[len(self._blocks) * BLOCK] is self._blocks[-1].after
        ):
            self._blocks.pop()
        for k in range(len(self._blocks), count):
            behind, after = nodes[k * BLOCK : (k + 1) * BLOCK], nodes[(k + 1) * BLOCK]
            self._blocks.append(_Block.of(behind, after, planes, estimator.shelf))

        x, p = nodes[-1].x[:planes], nodes[-1].p[:planes]
        seen = [tuple(part[None] for part in _seen(x, p, nodes[-1]))]
        tail = nodes[count * BLOCK :]
        for node, later in zip(tail[-2::-1], tail[:0:-1], strict=True):
            x, p = _back(node, later, planes).carried(x, p)
            seen.append(tuple(part[None] for part in _seen(x, p, node)))
        for block in reversed(self._blocks):
            seen.append(block.seen(x, p))
            x, p = block.first(x, p)
        mean, variance = (np.concatenate(part[::-1]) for part in zip(*seen, strict=True))
        return _mixed(nodes, mean, variance)


@dataclass(frozen=True)
class _Block:
    """n nodes as functions of the smoothed x, P of the node `after` them, by plane of the models (b,): what is `_seen`
    of them is `mean` (n, b, 3) + `rows` (n, b, 3, 12)·x and `variance` (n, b, 2) + the rows' own of P; the first of
    them is x0 + A·x, P0 + A·P·Aᵀ. All of it lies on the shelf: it grows with the metres driven."""

    after: Node
    kept: dict[str, Kept]

    @classmethod
    def of(cls, nodes: list[Node], after: Node, planes: int, shelf: Shelf) -> _Block:
        x, p = np.zeros((planes, N_STATES)), np.zeros((planes, N_STATES, N_STATES))
        a = np.broadcast_to(np.eye(N_STATES), p.shape)
        found = []
        for node, later in zip(reversed(nodes), [after, *nodes[:0:-1]], strict=True):
            back = _back(node, later, planes)
            a, (x, p) = back.j @ a, back.carried(x, p)
            found.append((_rows(a, node), *_seen(x, p, node)))
        rows, mean, variance = (np.stack(part[::-1]) for part in zip(*found, strict=True))
        whole = {"rows": rows, "mean": mean, "variance": variance, "a": a, "x0": x, "p0": p}
        kept: dict[str, InMemory] = {name: Plain(values) for name, values in whole.items()}
        return cls(after, put_away(kept, shelf))

    def _get(self, *names: str) -> list[np.ndarray]:
        return [self.kept[name].whole() for name in names]

    def seen(self, x: np.ndarray, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What is `_seen` of all of them, from x, P of the node after."""
        rows, mean, variance = self._get("rows", "mean", "variance")
        known = rows[:, :, _KNOWN]
        return mean + (rows @ x[:, :, None])[..., 0], variance + ((known @ p) * known).sum(-1)

    def first(self, x: np.ndarray, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """x, P of the first of them."""
        a, x0, p0 = self._get("a", "x0", "p0")
        p = p0 + a @ p @ np.swapaxes(a, 1, 2)
        return x0 + (a @ x[:, :, None])[..., 0], 0.5 * (p + np.swapaxes(p, 1, 2))


@dataclass(frozen=True)
class _Back:
    """One step back: x, P (b, …) of a node, and x', P' of the one after it. J (b, 12, 12) is 0 where what came later
    cannot be carried back."""

    x: np.ndarray
    p: np.ndarray
    x_before: np.ndarray
    p_before: np.ndarray
    j: np.ndarray

    def carried(self, x: np.ndarray, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Smoothed x, P of the node from those of the one after it."""
        p = self.p + self.j @ (p - self.p_before) @ np.swapaxes(self.j, 1, 2)
        x = self.x + (self.j @ (x - self.x_before)[:, :, None])[..., 0]
        return x, 0.5 * (p + np.swapaxes(p, 1, 2))


def _back(node: Node, later: Node, planes: int) -> _Back:
    x, p, x_before, p_before = (v[:planes] for v in (node.x, node.p, later.x_before, later.p_before))
    j = np.swapaxes(_solve(p_before, later.phi[:planes] @ p), 1, 2)
    return _Back(x, p, x_before, p_before, j if np.isfinite(j).all() else np.zeros_like(j))


# ---- what is seen of a node: offset, heading and gain, and the variances of offset and gain

_SEEN, _KNOWN = np.array([Y, T, G]), np.array([0, 2])


def _rows(x: np.ndarray, node: Node) -> np.ndarray:
    """Offset, heading and gain (b, 3, k) of what makes the state (b, 12, k)."""
    seen = x[:, _SEEN]
    seen[:, 1] += x[:, H] * node.articulation[np.arange(len(x)) % 2, None]
    return seen


def _seen(x: np.ndarray, p: np.ndarray, node: Node) -> tuple[np.ndarray, np.ndarray]:
    """Of x (b, 12), P (b, 12, 12) of a node: (b, 3) and (b, 2)."""
    known = _SEEN[_KNOWN]
    return _rows(x[:, :, None], node)[..., 0], p[:, known, known]


def _mixed(nodes: list[Node], mean: np.ndarray, variance: np.ndarray) -> SmoothedPath:
    """The mixture of the models at each node, from what is seen of them, (n, b, 3) and (n, b, 2)."""
    shape = len(nodes), mean.shape[1] // 2, 2
    w = np.array([node.weights for node in nodes]).reshape(shape[:2])
    each = mean.reshape(*shape, 3)
    of_all = np.einsum("nm,nmpk->npk", w, each)
    off = (each - of_all[:, None])[..., _KNOWN]
    sd = np.sqrt(np.maximum(np.einsum("nm,nmpk->npk", w, variance.reshape(*shape, 2) + off * off), 0.0))
    at = np.array([node.s_m for node in nodes])
    keep = np.append(np.diff(at) > 1e-6, True)[: len(at)]
    at, of_all, sd = at[keep], of_all[keep], sd[keep]
    a = np.array([node.articulation for node in nodes]).reshape(-1, 2)[keep]
    (line, yaw, _), (level, pitch, _) = of_all[:, 0].T, of_all[:, 1].T
    return SmoothedPath(
        at, line, level, sd[:, 0, 0], sd[:, 1, 0], yaw, pitch, a, of_all[:, :, 2], sd[:, :, 1]
    )  # fmt: skip


def _solve(p: np.ndarray, cross: np.ndarray) -> np.ndarray:
    """P'⁻¹·cross with rows and columns scaled to 1: states that are known exactly stay solvable."""
    scale = np.sqrt(np.maximum(np.diagonal(p, axis1=1, axis2=2), 1e-18))
    unit = p / (scale[:, :, None] * scale[:, None, :])
    unit = unit + 1e-10 * np.eye(p.shape[1])
    try:
        found: np.ndarray = np.linalg.solve(unit, cross / scale[:, :, None]) / scale[:, :, None]
    except np.linalg.LinAlgError:
        return np.full_like(cross, np.nan)  # singular all the same: the caller goes on with the node as it is
    return found
