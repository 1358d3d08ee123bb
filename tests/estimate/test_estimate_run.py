"""A channel that repeats itself: many readings at once come to what one by one come to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from steer.estimate.run import ALIVE, STUCK_READINGS, Frozen, Run

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


ROWS = st.tuples(VALUES, VALUES, st.sampled_from([1.0, 2.0, float("nan")]))


WITHOUT = [(0.2, 0.2, 1.0)] * 6 + [
    (0.2, 0.2, 2.0),
    *[(0.1, float("nan"), v) for v in (1.0, 2.0, 1.0)],
    (0.2, 0.2, 2.0),
]


STANDS = [(0.1, 0.1, 1.0), *[(0.2, 0.2, v) for v in (2.0, 1.0, 2.0, 1.0, 2.0)], *[(0.2, 0.2, 2.0)] * 4]


@example([WITHOUT])  # headings that change where no spot is read
@example([STANDS])  # or with the spot
@given(st.lists(st.lists(ROWS, max_size=24), max_size=5))
def test_spots_at_once_are_judged_as_one_by_one(batches):
    together, single = Frozen(), Frozen()
    at = 0.0
    for batch in batches:
        rows = np.array(batch, float).reshape(len(batch), 3)
        s = at + 0.2 * np.arange(len(rows))
        at += 0.2 * len(rows)
        heading = np.stack([rows[:, 2], np.full(len(rows), np.nan)], -1)
        found = together.offer_all(rows[:, :2], heading, s)
        each = [
            single.offer_all(rows[i : i + 1, :2], heading[i : i + 1], s[i : i + 1])[0]
            for i in range(len(rows))
        ]
        assert found.tolist() == each and together.stuck == single.stuck


@pytest.mark.parametrize(
    ("right_mm", "changes", "long_m", "frozen"),
    [(3.1, ALIVE, 0.3, True), (3.1, ALIVE - 1, 0.3, False), (3.1, ALIVE, 0.28, False),
     (3.0, ALIVE, 0.9, False), (3.0, ALIVE, 1.0, True)],
)  # fmt: skip
def test_a_spot_is_frozen_while_the_heading_lives_and_the_machine_advances(right_mm, changes, long_m, frozen):
    """Shown to whole millimetres it has to stand longer."""
    n = STUCK_READINGS
    heading = np.stack([np.minimum(np.arange(n), changes), np.zeros(n)], -1).astype(float)
    found = Frozen().offer_all(np.tile([right_mm, -2.0], (n, 1)), heading, np.linspace(0.0, long_m, n))
    assert bool(found[-1]) == frozen and not found[:-1].any()
