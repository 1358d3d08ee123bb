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
    assert words.heading("line", -0.8, 0.3) == "nose left 0.8 mm/m"
    assert words.heading("level", 0.8, 0.3) == "nose up 0.8 mm/m"
    assert words.heading("line", -0.2, 0.3) == "nose along the axis"


def test_what_is_known_goes_by_the_rule_of_every_page():
    assert words.known("line", -12.3, 2.1, "±") == "12 mm left ± 5"
    assert words.known("level", 0.42, 0.3, "±") == "0.4 mm high ± 0.6"
    assert words.known("line", 0.2, 2.0, "+-") == "on line +- 4"
    assert words.known("line", -0.2, 83.0, "±") == "0 mm ± 163"  # nobody knows whether that is on line
    assert (
        words.known("level", 0.2, 5.2, "±") == "0 mm ± 11" and words.known("level", 0.2, 5.1, "±")[:2] == "on"
    )
    assert words.known("level", 0.2, float("nan"), "±") == "0 mm ± ?"


def test_the_screen_says_the_same_figures_as_the_page_in_text():
    from steer.says import side

    for value, sd in ((-12.3, 2.1), (7.7, 0.4), (33.2, 9.9)):
        assert words.known("line", value, sd, "±") == side(value, sd, "right", "left")


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


def test_a_row_of_the_log_keeps_its_parts_whole_and_says_that_there_is_more() -> None:
    from tui.draw.log_page import short

    said = "stroke 105, at 93.60 m, 2.9 mm/m right, 0.3 mm/m up, cylinders 18.5 19 21 21 mm"
    assert short(said, len(said)) == said
    assert short(said, 45) == "stroke 105, at 93.60 m, 2.9 mm/m right, ..."
    for room in range(20, len(said)):
        row = short(said, room)
        assert len(row) <= room and row.removesuffix(", ...") == said[: len(row) - 5]


def test_the_first_pipe_follows_the_machine():
    """As the as-built account numbers them: of 12 m driven the machine takes 5, so the fourth pipe of 2 m is going in."""
    from dataclasses import replace

    from fake_drive import good

    from tui.draw.counters import counter_row
    from tui.draw.scene import Scene

    snapshot = replace(good(), start_chainage_m=0.0, pipe_length_m=2.0, machine_length_m=5.0)
    for face_m, pipe in ((4.9, "none yet"), (5.1, "1"), (12.0, "4")):
        at = replace(snapshot, advice=replace(snapshot.advice, chainage_m=face_m))
        text = "".join(text for text, _ in counter_row(Scene(snapshot=at), 120))
        assert f"pipe {pipe} " in text + " "
