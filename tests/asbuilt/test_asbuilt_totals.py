"""Totals and figures by hand and against numpy."""

import numpy as np
import pytest

from steer.asbuilt.conformance import Verdict
from steer.asbuilt.totals import count, figures, runs, spans

I, O, C = Verdict.INSIDE, Verdict.OUTSIDE, Verdict.CANNOT_TELL


def test_counts_by_hand() -> None:
    """Stations at 0, 1, 2, 3, 4, 4.5: they stand for 0.5, 1, 1, 1, 0.75, 0.25 m."""
    at = np.array([0, 1, 2, 3, 4, 4.5])
    found = count(at, np.array([I, O, O, C, I, O], object), np.array([0, 1, 1, 1, 0, 0], bool))
    assert (found.length_m, found.inside_m, found.outside_m, found.cannot_tell_m) == (4.5, 1.25, 2.25, 1.0)
    assert found.naive_outside_m == 3.0
    assert found.longest_outside is not None
    assert (found.longest_outside.from_m, found.longest_outside.to_m) == (0.5, 2.5)
    assert found.per_cent(found.outside_m) == 50.0


def test_accounts_add_up() -> None:
    rng = np.random.default_rng(1)
    at = np.sort(rng.uniform(0, 200, 150))
    verdict = rng.choice(np.array([I, O, C], object), 150)
    found = count(at, verdict, np.zeros(150, bool))
    assert found.inside_m + found.outside_m + found.cannot_tell_m == pytest.approx(found.length_m)
    assert found.length_m == pytest.approx(at[-1] - at[0])
    begin, end = spans(at)
    assert sum(r.length_m for r in runs(begin, end, verdict == O)) == pytest.approx(found.outside_m)


def test_figures_as_numpy() -> None:
    """Evenly spaced stations have equal weights but for the ends: padded with zeros to make it exact."""
    rng = np.random.default_rng(4)
    value = np.concatenate([[0.0], rng.normal(3, 10, 99), [0.0]])
    at = np.arange(101.0)
    found = figures(at, value, np.full(101, 2.0))
    assert found.mean_mm == pytest.approx(value[1:-1].sum() / 100)
    assert found.rms_mm == pytest.approx(np.sqrt((value**2).sum() / 100))
    assert found.largest_mm == value[np.abs(value).argmax()]
    assert found.largest_at_m == np.abs(value).argmax()
    assert found.p95_mm == pytest.approx(np.percentile(np.abs(value), 95), abs=1.5)


def test_nothing_outside_has_no_run() -> None:
    assert count(np.arange(3.0), np.array([I, C, I], object), np.zeros(3, bool)).longest_outside is None
