"""A channel that repeats itself: many readings at once come to what one by one come to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steer.estimate.run import STUCK_READINGS, Run

VALUES = st.sampled_from([0.1, 0.2, float("nan")])


@given(st.lists(st.lists(VALUES, max_size=12), max_size=6), st.floats(0.01, 0.2))
def test_many_at_once_are_judged_as_one_by_one(batches, step_m):
    together, single = Run(), Run()
    at = 0.0
    for batch in batches:
        s = at + step_m * np.arange(len(batch))
        at += step_m * len(batch)
        found = together.offer_all(np.array(batch, float), s)
        assert found.tolist() == [single.offer(v, float(where)) for v, where in zip(batch, s, strict=True)]
        assert together.stuck == single.stuck and together.count == single.count


@pytest.mark.parametrize("last", [0.1, 0.2])
def test_eight_equal_values_over_their_advance_are_stuck(last):
    values = np.array([*[0.1] * (STUCK_READINGS - 1), last])
    found = Run().offer_all(values, 0.1 * np.arange(len(values)))
    assert found[-1] == (last == 0.1) and not found[:-1].any()
