"""What the innovations say about how the machine answers its steering."""

from __future__ import annotations

import numpy as np

from steer.advice import Notice
from steer.estimate.estimator import Estimator
from steer.estimate.evidence import OPPOSITE, UNANSWERED
from steer.estimate.motion import G
from steer.estimate.nodes import Cells, Node
from steer.text import PLANES

OPPOSITE_EVIDENCE = 5.5  # tempered log-likelihood ratio: 240 to 1, and it takes four cells at the least
OPPOSITE_TOGETHER = 7.0  # of both planes
WEAK_EVIDENCE = 6.0
WEAK_GAIN = (0.45, 0.6)  # of the usual gain: said below the first, unsaid above the second


def _since(cells: Cells, node: Node, kinds: list[int], plane: int) -> float:
    """Where the evidence that stands at `node` began to gather."""
    since = node.s_m
    for n, _ in reversed(cells):
        if n.against[kinds, plane].max() <= 0.0:
            break
        since = n.s_m
    return float(since)


def steering_opposite(cells: Cells, node: Node) -> Notice | None:
    """The machine answers opposite to its steering: a mirrored answer foretells the readings better."""
    share = 0.5 if _said_before(cells, node) else 1.0
    evidence, weak = node.against[OPPOSITE].max(0), node.against[UNANSWERED].max(0)
    together = evidence.sum() > share * OPPOSITE_TOGETHER
    for plane in np.argsort(-evidence).tolist():
        enough = evidence[plane] > share * OPPOSITE_EVIDENCE or together
        if enough and evidence[plane] > weak[plane]:
            since = _since(cells, node, [0, 1], plane)
            which = ("right and left", "up and down")[plane]
            return Notice(
                "steering_opposite",
                f"The machine answers {which} opposite to its steering since about {since:.1f} m. Cylinders or target "
                "are probably mapped the wrong way round. Stop steering by this until the mapping is checked.",
                since,
            )
    return None


def _said_before(cells: Cells, node: Node) -> bool:
    """Whether the evidence that still stands was once enough: it stays said until half of it is gone."""
    for n, _ in reversed(cells):
        top = n.against[OPPOSITE].max(0)
        size = max(float(top.max()) / OPPOSITE_EVIDENCE, float(top.sum()) / OPPOSITE_TOGETHER)
        if size > 1.0:
            return True
        if size < 0.5:
            return False
    return False


def _gain_ratio(node: Node, estimator: Estimator) -> np.ndarray:
    """The most that the gain of each plane can be (two sd above its mean) over what is usual, (2,)."""
    x, p = node.blend()
    found: np.ndarray = (x[:, G] + 2.0 * np.sqrt(p[:, G, G])) / estimator.stack.motion.gain_prior_per_m
    return found


def _stays_weak(cells: Cells, estimator: Estimator, plane: int) -> bool:
    """Whether a gain between the limits was last below the lower one: a notice must not flicker."""
    for n, _ in reversed(cells):
        ratio = _gain_ratio(n, estimator)[plane]
        if ratio < WEAK_GAIN[0]:
            return True
        if ratio > WEAK_GAIN[1]:
            return False
    return False


def steering_weak(cells: Cells, node: Node, estimator: Estimator) -> list[Notice]:
    """The answer to steering is well known and small, or changes of it go unanswered."""
    ratio = _gain_ratio(node, estimator)
    for plane in (0, 1):
        weak = ratio[plane] < WEAK_GAIN[1] and _stays_weak(cells, estimator, plane)
        if ratio[plane] < WEAK_GAIN[0] or weak:
            share = node.blend()[0][plane, G] * estimator.stack.motion.length_m / 2.0
            return [
                Notice(
                    "steering_weak",
                    f"On {PLANES[plane]} the ground answers the steering with {100 * share:.0f} % of the machine's "
                    "geometry: corrections take long. Steer early, look for overcut or soft ground.",
                    float(node.s_m),
                )
            ]
        evidence = float(node.against[UNANSWERED, plane].max())
        if evidence > WEAK_EVIDENCE and evidence > node.against[OPPOSITE, plane].max() + 1.0:
            since = _since(cells, node, [2, 3], plane)
            return [
                Notice(
                    "steering_weak",
                    f"On {PLANES[plane]} the machine hardly answers what was steered since {since:.1f} m. "
                    "Look for play, overcut or soft ground; steer in small steps until it answers.",
                    since,
                )
            ]
    return []
