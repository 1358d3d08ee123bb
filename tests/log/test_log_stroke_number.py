"""The stroke's number: every end counts one, metres that came without ends count too, and it never falls."""

import math

import pytest

from steer.drive import Drive
from steer.drivefile import TEMPLATE


@pytest.fixture
def drive(tmp_path):
    (tmp_path / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    with Drive.open(tmp_path, write=True) as drive:
        yield drive


def read(drive, from_m, to_m):
    """A reading each tenth of a metre in (from, to]; the number said after each of them."""
    numbers = []
    for k in range(round(from_m * 10) + 1, round(to_m * 10) + 1):
        wave = {"spot_right_mm": math.sin(k / 9.0), "spot_up_mm": math.cos(k / 7.0)}
        drive.add("reading", {"chainage_m": k / 10, **wave})
        if k % 5 == 0 or k == round(to_m * 10):
            numbers.append(drive.advice().stroke)
    return numbers


def test_metres_read_without_ends_count(drive):
    assert drive.file.drive.stroke_m == 1.0
    for stroke in range(1, 4):
        read(drive, stroke - 1, stroke)
        assert drive.stroke_end(float(stroke)).stroke == stroke
    numbers = read(drive, 3.0, 11.1)
    assert numbers == sorted(numbers) and numbers[-1] == 11
    assert drive.stroke_end(11.1).stroke == 11
    read(drive, 11.1, 12.1)
    assert drive.stroke_end(12.1).stroke == 12
    assert drive.override(0.5, 0.0).body["stroke"] == drive.advice().stroke == 12


def test_the_first_end_takes_nothing_back(drive):
    numbers = read(drive, 0.0, 2.9)
    assert drive.stroke_end(2.9).stroke == numbers[-1] == 3


def test_short_and_long_strokes_and_slips_of_an_end_count_one_each(drive):
    at = 0.0
    for number, (length, told) in enumerate(
        [(0.6, None), (1.4, None), (0.5, 90.0), (1.0, None), (1.3, 0.0), (1.2, None)], 1
    ):
        numbers = read(drive, at, at + length)
        assert numbers[-1] in (number - 1, number)
        at = round(at + length, 1)
        assert drive.stroke_end(at if told is None else told).stroke == number


def test_whoever_opens_the_drive_anew_counts_the_same(drive):
    read(drive, 0.0, 4.2)
    drive.stroke_end(4.2)
    said = read(drive, 4.2, 8.9)[-1]
    drive.add("chainage_set", {"add_m": 1.0})
    with Drive.open(drive.folder) as other:
        assert other.advice().stroke == drive.advice().stroke == said == 9


def test_an_end_told_far_beyond_the_readings_is_said(drive):
    """A slip of the hand carries the face there, unsure; one stroke whose readings are missing is no slip."""
    read(drive, 0.0, 3.0)

    def codes(end_m):
        return {notice.code: notice.text for notice in drive.stroke_end(end_m).notices}

    assert "stroke_end_apart" not in codes(3.0) | codes(4.2)
    assert "told at 55.00 m, but the readings have come to 3.00 m" in codes(55.0)["stroke_end_apart"]
    assert "stroke_end_apart" not in codes(4.5)


def test_an_end_told_not_beyond_the_one_before_is_said(drive):
    read(drive, 0.0, 3.0)

    def codes(end_m):
        return {notice.code: notice.text for notice in drive.stroke_end(end_m).notices}

    assert "stroke_end_behind" not in codes(2.0) | codes(3.0)
    assert codes(3.0) == codes(3.0) and "stroke_end_behind" not in codes(
        3.0
    )  # handed over again: the same stroke
    drive.add("reading", {"chainage_m": 2.99, "spot_right_mm": 0.5})  # the jacks went back
    behind = codes(2.99)["stroke_end_behind"]
    assert "told at 2.99 m, not beyond the one before it at 3.00 m: one of the two is wrong. Each" in behind
    assert "twice" not in behind  # what is told twice counts once
    read(drive, 3.0, 4.0)
    assert "stroke_end_behind" not in codes(4.0)
