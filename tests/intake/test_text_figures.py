"""A figure claims no more than is known: digits by the sd, and a ± that is rounded up."""

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steer.text import BAND, decimals, figure, within


def test_the_band_is_the_normal_distributions():
    """95 % two-sided, by Python's own normal distribution."""
    assert pytest.approx(statistics.NormalDist().inv_cdf(0.975), abs=5e-4) == BAND


@pytest.mark.parametrize(
    ("sd", "text"),
    [
        (0.001, "0.1"),
        (0.3, "0.6"),
        (0.5, "1.0"),
        (0.94, "1.9"),
        (0.95, "2"),
        (1.0, "2"),
        (2.0, "4"),
        (2.05, "5"),
        (math.nan, "?"),
    ],
)
def test_within_by_hand(sd, text):
    """1.96 sd, rounded up in the last digit shown."""
    assert within(sd) == text


def test_digits_of_a_value_follow_its_sd():
    assert [figure(-12.34, sd) for sd in (0.2, 0.94, 0.95, 9.0)] == ["12.3", "12.3", "12", "12"]


@given(st.floats(1e-4, 1e4), st.sampled_from([None, 0, 1, 2]))
def test_never_more_certain_than_known_and_never_a_digit_too_much(sd, digits):
    said = float(within(sd, digits))
    step = 10.0 ** -(decimals(sd) if digits is None else digits)
    assert said >= BAND * sd - 2e-6 * step
    assert said < BAND * sd + step + 1e-9 and said > 0.0
