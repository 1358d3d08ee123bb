"""Each model of the stack alone, on drives that it describes: its doubt is as large as its error.

Normalised estimation error squared of 12 states against chi-square (Bar-Shalom, Li and Kirubarajan,
Estimation with Applications to Tracking and Navigation, 2001, section 5.4, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2
from support_matched import drive_of, straight_drive

from steer.estimate.estimator import Estimator
from steer.estimate.tuning import MODELS

RUNS, STATES = 12, 12


@pytest.mark.parametrize("k", [k for k, model in enumerate(MODELS) if model.delay == 0.0])
def test_the_error_is_as_large_as_it_is_said_to_be(k):
    nees = []
    for run in range(RUNS):
        drive = straight_drive(run)
        items, truths = drive_of(MODELS[k], drive, np.random.default_rng([run, k, 7]), 20.0, 9.0)
        alone = Estimator(drive, (MODELS[k],))
        for item in items:
            alone.put(item)
        alone.run()
        off, p = alone.last.x[:2] - truths[-1], alone.last.p[:2]
        nees += [off[i] @ np.linalg.solve(p[i], off[i]) for i in (0, 1)]
    low, high = chi2.ppf([0.001, 0.999], STATES * len(nees)) / len(nees)
    assert low < np.mean(nees) < high
