"""One object of the feed: the same checks as for files, every problem said."""

from dataclasses import replace

import pytest

from steer.errors import InputRefused
from steer.intake import (
    check_shot_from_json,
    object_from_line,
    reading_from_json,
    reference_set_from_json,
    stroke_end_from_json,
)

SET = {"chainage_m": 5, "right_mm": 1, "up_mm": 350, "right_mm_per_m": 0.1, "up_mm_per_m": 4}


def test_bodies(drive):
    assert reading_from_json({"kind": "reading", "chainage_m": 1, "roll_deg": None}, drive) == {
        "chainage_m": 1.0
    }
    shot = {"kind": "check_shot", "chainage_m": 1, "point": "face", "line_mm": 2, "sd_mm": 1}
    assert check_shot_from_json(shot, drive) == {
        "chainage_m": 1.0,
        "point": "face",
        "line_mm": 2.0,
        "sd_mm": 1.0,
    }
    assert reference_set_from_json({"kind": "reference_set", **SET}, drive) == SET
    assert stroke_end_from_json({"kind": "stroke_end", "chainage_m": 12.0}, drive) == {"chainage_m": 12.0}


def test_every_problem_is_in_the_refusal(drive):
    with pytest.raises(InputRefused) as caught:
        reading_from_json({"chainage_m": "1", "roll": 2, "yaw_mm_per_m": 900, "cylinder_mm": []}, drive)
    said = "\n".join(caught.value.problems)
    for part in ('chainage_m: "1"', '"roll" is not known', "yaw_mm_per_m: 900", "it holds 0"):
        assert part in said
    assert len(caught.value.problems) == 4


def test_a_beam_needs_its_direction_and_an_axis_reference_does_not(drive):
    short = {k: SET[k] for k in ("chainage_m", "right_mm", "up_mm")}
    with pytest.raises(InputRefused, match="up_mm_per_m: missing"):
        reference_set_from_json(short, drive)
    follows = replace(drive, reference=drive.reference.model_copy(update={"kind": "axis"}))
    assert reference_set_from_json(short, follows) == short


@pytest.mark.parametrize(
    "check", [reading_from_json, check_shot_from_json, reference_set_from_json, stroke_end_from_json]
)
def test_nothing_at_all_and_another_kind(drive, check):
    with pytest.raises(InputRefused, match="missing"):
        check({}, drive)
    with pytest.raises(InputRefused, match='kind: "note" is not allowed'):
        check({"kind": "note"}, drive)


@pytest.mark.parametrize("line", ["", "{", "[]", "null", '{"a": 1, "a": 2}', "[" * 100_000, "9" * 2_000_000])
def test_lines_that_hold_no_object(line):
    with pytest.raises(InputRefused, match="the line "):
        object_from_line(line)


def test_a_line():
    assert object_from_line('{"kind": "stroke_end", "chainage_m": 12.0}\n') == {
        "kind": "stroke_end",
        "chainage_m": 12.0,
    }


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
def test_what_is_no_number_is_told_with_its_field_and_what_is_allowed(drive, value):
    """Beside all else that is wrong with the line; a logger's programmer has nothing but the answer to go by."""
    line = f'{{"chainage_m": "x", "yaw_mm_per_m": {value}, "cylinder_mm": [1, 2, {value}, 4], "a": {value}}}'
    with pytest.raises(InputRefused) as caught:
        reading_from_json(object_from_line(line), drive)
    chainage, yaw, cylinders, unknown = caught.value.problems
    assert yaw == (
        f"yaw_mm_per_m: {value} is not allowed: must be a number at least -500 and at most 500 mm/m; write null, or "
        "leave it out, when it was not measured"
    )
    assert (
        cylinders.startswith(f"cylinder_mm: [1, 2, {value}, 4] is not allowed: ")
        and "null for one not measured" in cylinders
    )
    assert chainage.startswith("chainage_m: ") and '"a" is not known' in unknown
