"""Conformance probability against published examples and scipy's normal distribution."""

import numpy as np
import pytest
from scipy.stats import norm

from steer.asbuilt.conformance import Verdict, outside_probability, verdicts, worse


def test_worked_example_of_the_standard() -> None:
    """JCGM 106:2012 section 7.4, inputs as quoted by metrologyrules.com (2022): 13.6, u 1.8, 12.5 to 16.3."""
    found = outside_probability(np.array([13.6]), np.array([1.8]), 12.5, 16.3)
    assert 1.0 - found[0] == pytest.approx(0.66263, abs=5e-6)


def test_value_near_its_limit() -> None:
    """Computed from JCGM 106:2012, normal distribution: 45 of ±50, u 3."""
    assert 1.0 - outside_probability(np.array([45.0]), np.array([3.0]), -50, 50)[0] == pytest.approx(
        0.95221, abs=5e-6
    )


def test_against_scipy() -> None:
    rng = np.random.default_rng(2)
    value, sd = rng.normal(0, 60, 300), rng.uniform(0.2, 40, 300)
    want = norm.cdf(-50, value, sd) + norm.sf(50, value, sd)
    assert outside_probability(value, sd, -50.0, 50.0) == pytest.approx(want, rel=1e-9, abs=1e-300)


def test_without_uncertainty_it_is_yes_or_no_and_the_limit_is_inside() -> None:
    value = np.array([49.9, 50.0, 50.1, -50.0, -50.1])
    assert outside_probability(value, np.zeros(5), -50, 50).tolist() == [0, 0, 1, 0, 1]


def test_three_values() -> None:
    found = verdicts(np.array([0.049, 0.05, 0.051, 0.5, 0.949, 0.95, np.nan]), 0.95)
    assert [v.value for v in found] == [
        "inside", "inside", "cannot tell", "cannot tell", "cannot tell", "outside", "cannot tell",
    ]  # fmt: skip


def test_a_stricter_rule_never_says_more() -> None:
    p = np.linspace(0, 1, 1001)
    loose, strict = verdicts(p, 0.9), verdicts(p, 0.99)
    told = strict != Verdict.CANNOT_TELL
    assert (strict[told] == loose[told]).all()
    assert told.sum() < (loose != Verdict.CANNOT_TELL).sum()


def test_both_planes() -> None:
    i, o, c = Verdict.INSIDE, Verdict.OUTSIDE, Verdict.CANNOT_TELL
    one = np.array([i, i, i, c, o, o], object)
    other = np.array([i, o, c, c, c, i], object)
    assert worse(one, other).tolist() == [i, o, c, c, o, o]
