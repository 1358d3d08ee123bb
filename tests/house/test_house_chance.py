"""A probability in words never claims certainty."""

import pytest

from steer.text import chance


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "over 99 %"),
        (0.9987, "over 99 %"),
        (0.99, "99 %"),
        (0.92, "92 %"),
        (0.004, "under 1 %"),
        (0.0, "under 1 %"),
    ],
)
def test_no_certainty_is_claimed(probability, words):
    assert chance(probability) == words
