"""Directions in words, by the sign table of the contract: + right, + high, + nose up, + clockwise."""

import pytest

from tui.dialogs.setting_text import parse
from tui.draw import words


@pytest.mark.parametrize(
    ("plane", "value", "text"),
    [
        ("line", 4.2, "4 mm right"),
        ("line", -4.2, "4 mm left"),
        ("level", 12.0, "12 mm high"),
        ("level", -0.6, "1 mm low"),
        ("line", 0.4, "on line"),
        ("level", -0.4, "on level"),
        ("line", float("nan"), "not known"),
    ],
)
def test_offset(plane, value, text):
    assert words.offset(plane, value) == text


def test_heading_claims_no_direction_within_its_uncertainty():
    assert words.heading("line", -0.8, 0.3) == "heading left 0.8"
    assert words.heading("level", 0.8, 0.3) == "heading up 0.8"
    assert words.heading("line", -0.2, 0.3) == "heading along"


def test_spread_is_two_sd_rounded_up_and_never_nothing():
    assert [words.spread(sd) for sd in (0.1, 0.5, 0.6, 2.0, 2.1)] == ["1", "1", "2", "4", "5"]


@pytest.mark.parametrize(
    ("angle", "place", "hour"),
    [(0, "top", "12:00"), (45, "upper right", "1:30"), (90, "right", "3:00"), (225, "lower left", "7:30")],
)
def test_cylinder_place(angle, place, hour):
    assert (words.cylinder_place(angle), words.clock(angle)) == (place, hour)


@pytest.mark.parametrize(
    ("plane", "text", "value"),
    [
        ("line", "3.5 left", -3.5),
        ("line", "right 3,5", 3.5),
        ("line", "L2", -2.0),
        ("line", "2.0l", -2.0),
        ("level", "1.2 up", 1.2),
        ("level", "d 0.5 mm/m", -0.5),
        ("line", "0", 0.0),
        ("line", "0.0 left", -0.0),
    ],
)
def test_setting_as_typed(plane, text, value):
    assert parse(plane, text) == pytest.approx(value)


@pytest.mark.parametrize(
    "text", ["", "left", "3.5", "3.5 up", "-3.5 left", "3.5 left 2", "1.2.3 left", "1e3 l"]
)
def test_setting_that_cannot_be_meant_is_refused(text):
    answer = parse("line", text)
    assert isinstance(answer, str) and answer
