"""What a check survey is worth: against Chrzanowski's formula, a term-by-term sum, and differences."""

import math

import numpy as np
import pytest

from steer.axis import axis_from_spec
from steer.drivefile import TEMPLATE, parse_drive
from steer.survey_plan import base_effect_mm, open_traverse_sd_mm, traverse_sd_mm
from steer.survey_plan.traverse import carried_in

SECOND = math.pi / 648_000


def made(horizontal, chainage_m=0.0):
    start = {
        "chainage_m": chainage_m,
        "easting_m": 4e6,
        "northing_m": 6e6,
        "level_m": 10.0,
        "bearing_deg": 200.0,
    }
    length = sum(e["length_m"] for e in horizontal)
    return axis_from_spec(start, horizontal, [{"kind": "grade", "length_m": length, "grade_mm_per_m": 3.0}])


def test_published_formula_and_which_length_it_means():
    """Chrzanowski, Canadian Surveyor 35(1), 1981 (from memory): n = 5, s = 300 m, σ = 5″ give 10.79 mm.

    The sum over the angles, each turning all the legs ahead of it, says what s is: with legs of 60 m
    (300 m in all) it is the same 10.79 mm; with legs of 300 m it would be 53.9 mm.
    """
    assert open_traverse_sd_mm(5, 300.0, 5.0) == pytest.approx(10.79, abs=0.005)

    def summed(leg_m):
        return 1000 * 5 * SECOND * math.sqrt(sum((k * leg_m) ** 2 for k in range(1, 6)))

    assert summed(60.0) == pytest.approx(10.79, abs=0.005)
    assert summed(300.0) == pytest.approx(53.93, abs=0.005)


@pytest.mark.parametrize("legs", [1, 2, 5, 12, 40])
def test_short_form_of_the_formula(legs):
    """s·σ·sqrt((n + 1.5)/3), the form in textbooks, leaves out 1/(6n)."""
    short = 1000 * 250.0 * 5.0 * SECOND * math.sqrt((legs + 1.5) / 3)
    full = open_traverse_sd_mm(legs, 250.0, 5.0)
    assert full**2 - short**2 == pytest.approx((250_000 * 5 * SECOND) ** 2 / (6 * legs), rel=1e-9)


@pytest.mark.parametrize(("chainage_m", "legs"), [(60.0, 1), (61.0, 2), (300.0, 5)])
def test_straight_axis_gives_the_formula(chainage_m, legs):
    axis = made([{"kind": "line", "length_m": 400.0}], 1000.0)
    found = traverse_sd_mm(axis, 1000.0 + chainage_m, 60.0, 5.0)
    assert found == pytest.approx(open_traverse_sd_mm(legs, chainage_m, 5.0), rel=1e-9)
    assert traverse_sd_mm(axis, 1000.0, 60.0, 5.0) == 0.0


def test_bent_axis_against_differences():
    """The traverse laid out leg by leg with one angle after the other in error."""
    axis = made(
        [
            {"kind": "line", "length_m": 50.0},
            {"kind": "arc", "length_m": 250.0, "radius_m": 200.0, "turn": "left"},
        ]
    )
    end = 290.0
    station = axis.at(np.linspace(0.0, end, 8))
    legs = np.column_stack([np.diff(station.easting_m), np.diff(station.northing_m)])
    bearing = float(axis.at(end).bearing_rad)
    right = np.array([math.cos(bearing), -math.sin(bearing)])
    step, moved = 1e-6, []
    for i in range(len(legs)):
        turned = legs.copy()
        c, s = math.cos(step), math.sin(step)
        turned[i:] = turned[i:] @ np.array([[c, -s], [s, c]])
        moved.append(float((turned.sum(0) - legs.sum(0)) @ right) / step)
    expected = 1000 * 5 * SECOND * float(np.linalg.norm(moved))
    assert traverse_sd_mm(axis, end, 42.0, 5.0) == pytest.approx(expected, rel=1e-5)
    # the base turns everything at once
    assert base_effect_mm(axis, end, 0.1)[0] == pytest.approx(0.1 * abs(moved[0]), rel=1e-5)


def test_base_turns_a_straight_by_its_direction():
    axis = made([{"kind": "line", "length_m": 400.0}])
    assert base_effect_mm(axis, np.array([0.0, 150.0]), 0.1) == pytest.approx([0.0, 15.0])


def test_a_reference_carried_in_against_drawn_traverses():
    """20,000 traverses to 150 m with angles drawn: place and direction at the end, and how they go together."""
    drive = parse_drive(TEMPLATE.replace("length_m = 100.0", "length_m = 200.0"))
    legs, sd = math.ceil(150.0 / drive.survey.leg_m), drive.survey.angle_sd_sec * math.pi / 648.0
    turned = np.random.default_rng(5).normal(0.0, sd, (20_000, legs))  # mrad
    place = turned @ (150.0 * (1.0 - np.arange(legs) / legs))  # mm
    drawn = np.cov(place, turned.sum(1))
    drawn[0, 0] += drive.survey.point_sd_mm**2 + drive.sd.reference_mm**2
    drawn[1, 1] += drive.sd.reference_mm_per_m**2
    found = carried_in(drive, 150.0)
    assert found[0] == pytest.approx(drawn, rel=0.05)
    assert found[1, 1, 1] == drive.sd.reference_mm_per_m**2 and found[1, 0, 1] == 0.0
