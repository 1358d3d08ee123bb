"""What shots did to the estimate: the fold with them and without them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from steer.estimate.estimator import Estimator
from steer.estimate.motion import N_STATES, RO, Y
from steer.estimate.nodes import Node
from steer.estimate.shots import Shot, ShotReport

# Half of the disagreement's square: a survey blunder and a moved reference are held equally likely.
_OPEN_SHARE = 0.5


@dataclass(frozen=True)
class Face:
    """The face's offsets and their sd, (2,) line and level, mm."""

    chainage_m: float
    offset_mm: np.ndarray
    sd_mm: np.ndarray

    @classmethod
    def of(cls, node: Node) -> Face:
        x, p = node.blend()
        return cls(node.s_m, x[:, Y], np.sqrt(p[:, Y, Y]))


def reports(estimator: Estimator) -> list[ShotReport]:
    """Every shot as the fold took it, by chainage; after `run`."""
    return [n.report for n in estimator.nodes if isinstance(n.report, ShotReport)]


def without(estimator: Estimator, sequences: Collection[int], looked_at: Collection[int] = ()) -> Estimator:
    """The same fold without these shots, but for `looked_at` of them, which do not count either and are
    reported on. What stands before them is shared, not folded again."""
    found = Estimator(estimator.drive)
    first = None
    for key, item in zip(estimator.keys, estimator.items, strict=True):
        if isinstance(item, Shot) and item.sequence in sequences:
            first = len(found.items) if first is None else first
            if item.sequence not in looked_at:
                continue
            item = replace(item, word="withdrawn")
        found.keys.append(key)
        found.items.append(item)
    found.nodes = estimator.nodes[:first]
    found.run()
    return found


def with_open_questions(node: Node, estimator: Estimator) -> Node:
    """`node` with the doubt that shots waiting for a word leave: the mean stays as if they had never been
    given, the variance grows along (face, reference), which the readings cannot tell apart.

    A later shot that agrees with the estimate settles the question of an earlier one."""
    size = np.zeros(2)
    for report in reports(estimator):
        if report.shot.s_m > node.s_m + 1e-6 + 0.5:
            break
        if report.counts and not report.opened:
            size[np.isfinite(report.innovation)] = 0.0
        elif report.verdict == "waiting" and report.reached:
            size = np.where(
                report.disagrees, np.maximum(size, np.abs(np.nan_to_num(report.innovation))), size
            )
    if not size.any():
        return node
    p = node.p.copy()
    step = np.zeros(N_STATES)
    step[Y] = step[RO] = 1.0
    for b in range(len(p)):
        p[b] += _OPEN_SHARE * size[b % 2] ** 2 * np.outer(step, step)
    return replace(node, p=p)
