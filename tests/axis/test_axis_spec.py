"""What an [axis] table may say, and what is refused."""

import math

import pytest

from steer.axis import AxisError, axis_from_spec
from steer.errors import InputRefused

START = {"chainage_m": 0.0, "easting_m": 5000.0, "northing_m": 2000.0, "level_m": 12.34, "bearing_deg": 47.5}
LINE = {"kind": "line", "length_m": 100.0}
ARC = {"kind": "arc", "length_m": 100.0, "radius_m": 600.0, "turn": "right"}
SPIRAL = {"kind": "spiral", "length_m": 100.0, "radius_start_m": "inf", "radius_end_m": 600.0, "turn": "left"}
GRADE = {"kind": "grade", "length_m": 100.0, "grade_mm_per_m": 4.0}
PARABOLA = {"kind": "parabola", "length_m": 100.0, "grade_start_mm_per_m": 4.0, "grade_end_mm_per_m": 7.0}


def problems(start=START, horizontal=(LINE,), vertical=(GRADE,)):
    with pytest.raises(AxisError) as caught:
        axis_from_spec(start, horizontal, vertical)
    return caught.value.problems


def without(table, key):
    return {k: v for k, v in table.items() if k != key}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"start": without(START, "level_m")}, ["axis.start.level_m missing"]),
        ({"start": {**START, "easting_m": "5000"}}, ["axis.start.easting_m = '5000'", "number"]),
        ({"start": {**START, "bearing_deg": math.nan}}, ["axis.start.bearing_deg = nan", "finite"]),
        ({"start": {**START, "bearing": 1.0}}, ["axis.start.bearing", "did you mean bearing_deg?"]),
        ({"start": 5}, ["axis.start = 5", "table"]),
        ({"horizontal": []}, ["axis.horizontal = []", "at least one"]),
        (
            {"horizontal": [{**LINE, "kind": "curve"}]},
            ["axis.horizontal[0].kind = 'curve'", "line, spiral, arc"],
        ),
        ({"horizontal": [{**LINE, "length_m": 0}]}, ["axis.horizontal[0].length_m = 0", "over 0"]),
        ({"horizontal": [{**LINE, "length_m": True}]}, ["axis.horizontal[0].length_m = True"]),
        ({"horizontal": [{**LINE, "length_m": math.inf}]}, ["axis.horizontal[0].length_m = inf"]),
        ({"horizontal": [{**ARC, "radius_m": -600.0}]}, ["radius_m = -600.0", "side by turn"]),
        ({"horizontal": [{**ARC, "radius_m": "inf"}]}, ["radius_m = 'inf'"]),
        ({"horizontal": [{**ARC, "turn": "clockwise"}]}, ["turn = 'clockwise'", '"right" or "left"']),
        ({"horizontal": [without(ARC, "turn")]}, ["axis.horizontal[0].turn missing"]),
        ({"horizontal": [{**ARC, "radius_m": 15.0}]}, ["382 degrees", "full circle"]),
        ({"horizontal": [{**SPIRAL, "radius_start_m": "straight"}]}, ["radius_start_m", '"inf"']),
        ({"vertical": [{**GRADE, "grade_mm_per_m": 1500}]}, ["grade_mm_per_m = 1500", "-1000 and 1000"]),
        ({"vertical": [{**GRADE, "length_m": 99.0}]}, ["99.0000 m", "100.0000 m", "same plan length"]),
    ],
)
def test_refusals_name_place_value_and_what_is_allowed(given, said):
    found = problems(**given)
    assert len(found) == 1, found
    for words in said:
        assert words in found[0]


def test_every_problem_at_once():
    found = problems(
        {**START, "level_m": None}, [{**ARC, "turn": "up", "length_m": -1.0}], [{"kind": "flat"}]
    )
    assert [f.split(" ")[0] for f in found] == [
        "axis.start.level_m",
        "axis.horizontal[0].length_m",
        "axis.horizontal[0].turn",
        "axis.vertical[0].kind",
    ]
    assert issubclass(AxisError, InputRefused)


def test_a_kink_is_named_with_chainage_and_size():
    start = {**START, "chainage_m": 250.0}
    steeper = {**GRADE, "grade_mm_per_m": 4.06}
    found = problems(start, [{**LINE, "length_m": 200.0}], [GRADE, steeper])
    assert len(found) == 1
    for words in ("axis.vertical[1]", "+0.060 mm/m", "chainage 350.000 m", "0.05 mm/m"):
        assert words in found[0]


def test_a_kink_within_the_limit_is_let_through():
    axis = axis_from_spec(START, [{**LINE, "length_m": 200.0}], [GRADE, {**GRADE, "grade_mm_per_m": 4.05}])
    assert axis.at(150.0).grade_mm_per_m == pytest.approx(4.05)
    assert axis.at(200.0).level_m == pytest.approx(12.34 + 0.4 + 0.405)


def test_infinite_radius_in_words_or_as_a_number():
    for infinite in ("inf", math.inf):
        axis = axis_from_spec(START, [{**SPIRAL, "radius_start_m": infinite}], [GRADE])
        assert axis.at(0.0).curvature_right_mm_per_m2 == 0.0
        assert axis.at(100.0).curvature_right_mm_per_m2 == pytest.approx(-1000.0 / 600.0)


def test_whole_numbers_are_numbers():
    axis = axis_from_spec({**START, "chainage_m": 0}, [{**LINE, "length_m": 100}], [PARABOLA])
    assert axis.at(100).grade_mm_per_m == pytest.approx(7.0)
