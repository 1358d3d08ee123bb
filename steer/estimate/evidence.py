"""Evidence that gathers over metres: for a wrong answer to steering, and for other ground.

A wrong answer's log-likelihood ratio against the stack is summed from its last low (a sequential test:
Page, Continuous inspection schemes, Biometrika 41, 1954, from memory), and fades.
"""

from __future__ import annotations

import numpy as np

from steer.estimate.nodes import MODEL_TEMPER, WRONG

TREND_M = 2.0  # over which innovations that lean one way are summed
GROUND_CHI = 30.0  # chi-square of that sum (2 degrees of freedom, innovations a little correlated)
AGAINST_M = 25.0  # over which evidence for an opposite answer fades
AGAINST_MOST = 20.0  # what it is held at, so that a cure can show
AGAINST_AT_ONCE = 1.5  # the most that one cell adds: one strange cell is no evidence
AGAINST_DOUBT = 1.5  # from here the ground is not blamed for what may be an opposite answer
# Wrong answers watched: settings negated, changes negated, changes not answered, nothing answered any more.
# When a is set, SHARE·a + STOOD·m acts, where m is what stood when the evidence began.
SHARE = np.array([-1.0, -1.0, 0.0, 0.0])
STOOD = np.array([0.0, 2.0, 1.0, 0.0])
WEIGHED = 3  # of them count in what is steered by: a machine that answers nothing is no reason to steer less
OPPOSITE, UNANSWERED = slice(0, 2), slice(2, 4)


def wrong_answers(
    before: np.ndarray, score: np.ndarray, weights: np.ndarray, gone_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Log-likelihood ratios of the wrong answers over the stack, (4, 2), and their fading sums (4, 2).

    `score` (b,) is each pair of planes' log-likelihood of this cell, the models' first; `gone_m` the advance.
    """
    models = 2 * len(weights)
    each = score[:models].reshape(-1, 2)
    best = each.max(0)
    ratio = score[models:].reshape(WRONG, 2) - (best + np.log(weights @ np.exp(each - best)))
    against = np.exp(-gone_m / AGAINST_M) * before + np.minimum(MODEL_TEMPER * ratio, AGAINST_AT_ONCE)
    return ratio, np.minimum(np.maximum(against, 0.0), AGAINST_MOST)


def lean(before: np.ndarray, standard: np.ndarray, ds_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Fading sum of standardised innovations and its variance (2, 4), and their chi-square per plane (2,)
    with two degrees of freedom while the innovations are white."""
    keep = np.exp(-max(ds_m, 0.0) / TREND_M)
    known = np.isfinite(standard)
    total = keep * before[0] + np.where(known, standard, 0.0)
    variance = keep * keep * before[1] + known
    share = total * total / np.maximum(variance, 1.0)
    found: np.ndarray = share[:2] + share[2:]
    return np.stack([total, variance]), found
