"""The outlook when it is in doubt which way the machine answers.

A machine that answers opposite to its steering must not be steered harder the wrong way; and to straighten
it, or to hold what stands, is no way out either: the ground, or the design curve, carries the face away
meanwhile, the more so when the alarm was false, and a machine that is not steered never shows how it answers.
So the wrong answers that the estimator watches (every setting negated, every change negated, no change
answered) join the models of the outlook, each with its own state, by their evidence. The programme weighs all of
them: in doubt it leaves the cylinders about where they are, and it steers again as far as one way of answering is
known. The same for line and level apart, since one plane alone can be mapped wrongly. (A machine that answers
nothing any more is watched too, but it is no reason to steer less.)
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from steer.axis import Axis
from steer.correct.outlook import Outlook, look_ahead
from steer.estimate.estimator import Estimator
from steer.estimate.evidence import SHARE, STOOD, WEIGHED
from steer.estimate.nodes import Node

EVEN_ODDS = 6.0  # log-likelihood ratio at which a wrong answer is as likely as the right one
UNHEARD = 2.0  # below this evidence a wrong answer is left out


def in_doubt(outlook: Outlook, node: Node, estimator: Estimator, axis: Axis) -> Outlook:
    """`outlook` with the wrong answers as further models; itself where nothing speaks for them."""
    against = np.where(node.torn > UNHEARD, node.torn, -np.inf)[:WEIGHED]  # (3, 2)
    if not np.isfinite(against).any():
        return outlook
    models = len(node.weights)
    pairs = slice(2 * models, 2 * (models + WEIGHED))
    wrong = replace(node, x=node.x[pairs], p=node.p[pairs], score=np.zeros(WEIGHED))
    n = outlook.answer.shape[1]
    seen = look_ahead(wrong, axis, estimator.stack.mistaken, outlook.stroke_m, n)
    stood = (STOOD[:, None] * node.mirror)[:WEIGHED]
    free = seen.free_each + np.einsum("mpij,mp->mpi", seen.answer_each, stood)
    answer = SHARE[:WEIGHED, None, None, None] * seen.answer_each
    odds = np.exp(np.concatenate([np.zeros((1, 2)), against - EVEN_ODDS]))  # evidence is capped, so is this
    chance = odds / odds.sum(0)
    weights = np.concatenate([outlook.weights * chance[0], chance[1:]])
    free_each, answer_each = (
        np.concatenate([outlook.free_each, free]),
        np.concatenate([outlook.answer_each, answer]),
    )
    return replace(
        outlook,
        free_mm=np.einsum("mp,mpk->pk", weights, free_each),
        answer=np.einsum("mp,mpij->pij", weights, answer_each),
        free_each=free_each,
        answer_each=answer_each,
        weights=weights,
        doubt=np.concatenate([outlook.doubt, seen.doubt]),
    )
