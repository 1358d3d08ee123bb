"""Curves that begin at once or through a short clothoid, against a library's clothoids and against quadrature."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from pyclothoids import Clothoid

from steer.axis import axis_from_spec
from steer.drivefile import parse_drive
from steer.estimate.tuning import motion_of
from steer.feasibility import feasibility
from steer.feasibility.transitions import build_up, ramp_m, shift_mm, transitions

START = {"chainage_m": 0.0, "easting_m": 5000.0, "northing_m": 2000.0, "level_m": 12.0, "bearing_deg": 47.5}


DRIVE = parse_drive((Path(__file__).parent / "data" / "drive.toml").read_text())


def drive(horizontal, vertical=None, **machine):
    """The test drive on another axis, with values of its machine changed."""
    length = sum(e["length_m"] for e in horizontal)
    vertical = vertical or [{"kind": "grade", "length_m": length, "grade_mm_per_m": 4.0}]
    axis = axis_from_spec(START, horizontal, vertical)
    return dataclasses.replace(DRIVE, axis=axis, machine=DRIVE.machine.model_copy(update=machine))


def line(m):
    return {"kind": "line", "length_m": m}


def arc(m, radius, turn="right"):
    return {"kind": "arc", "length_m": m, "radius_m": radius, "turn": turn}


def spiral(m, start, end, turn="right"):
    return {"kind": "spiral", "length_m": m, "radius_start_m": start, "radius_end_m": end, "turn": turn}


@pytest.mark.parametrize(("radius_m", "length_m"), [(300.0, 12.0), (600.0, 20.0), (150.0, 6.0)])
def test_the_shift_is_that_of_a_clothoid(radius_m, length_m):
    """Shift of a transition: how far the arc's circle lies off the tangent. pyclothoids gives the clothoid's end;
    the centre is one radius to its side, and stands off the tangent by more than the radius."""
    end = Clothoid.StandardParams(0.0, 0.0, 0.0, 0.0, 1.0 / radius_m / length_m, length_m)
    lift = end.YEnd + radius_m * np.cos(end.ThetaEnd) - radius_m
    # the closed form leaves out terms of L⁴/2688R³
    assert shift_mm(1000.0 / radius_m, length_m) == pytest.approx(1000.0 * lift, rel=1e-3)


def test_a_longer_ramp_than_the_design_s_clothoid():
    """Two ramps of 6 and 14 m about one middle, integrated twice: they end parallel, apart by the shift."""
    s = np.linspace(-10.0, 30.0, 400_001)
    apart = []
    for length in (6.0, 14.0):
        curvature = 2.5 * np.clip(s / length + 0.5, 0.0, 1.0)
        heading = np.cumsum(curvature) * (s[1] - s[0])
        apart.append((heading[-1], np.sum(heading) * (s[1] - s[0])))
    assert apart[1][0] == pytest.approx(apart[0][0], abs=1e-3)
    assert shift_mm(2.5, 14.0, 6.0) == pytest.approx(apart[1][1] - apart[0][1], abs=0.02)
    assert shift_mm(2.5, 5.0, 6.0) == 0.0


def test_every_sudden_bend_is_found():
    made = drive(
        [line(40.0), arc(30.0, 500.0), arc(30.0, 500.0, "left"), line(20.0), spiral(20.0, "inf", 400.0)]
    )
    found = [(t.chainage_m, t.length_m, round(t.change[0], 6)) for t in transitions(made.axis)]
    assert sorted(found) == [(40.0, 0.0, 2.0), (70.0, 0.0, -4.0), (100.0, 0.0, 2.0), (120.0, 20.0, 2.5)]
    parabola = {"kind": "parabola", "length_m": 60.0, "grade_start_mm_per_m": 4.0, "grade_end_mm_per_m": 10.0}
    made = drive([line(100.0)], [{"kind": "grade", "length_m": 40.0, "grade_mm_per_m": 4.0}, parabola])
    (one,) = transitions(made.axis)
    assert (one.chainage_m, one.change) == (40.0, (pytest.approx(0.0), pytest.approx(0.1)))


def test_strokes_that_the_articulation_takes():
    """By hand: R = 200 m asks 5 mm/m²; rigid bodies of 4.8 m in all give 2/4.8 mm/m² a mm/m, ground 0.55 of it, so
    21.8 mm/m of articulation; at 10 mm/m a stroke of 1 m a ramp of 2.18 m, 3 strokes."""
    made = drive([line(60.0), arc(40.0, 200.0)])
    gain = motion_of(made).gain_prior_per_m
    assert gain == pytest.approx(0.55 * 2.0 / 4.8)
    assert ramp_m(made, 5.0, gain) == pytest.approx(2.18, abs=0.003)
    told = build_up(made)
    assert (
        "at once at chainage 60.0 m" in told.text
        and "21.8 mm/m" in told.text
        and "take 3 strokes" in told.text
    )
    assert told.value == pytest.approx(5.0 * 2.1818**2 / 24.0, rel=1e-3) and told.verdict == "possible"
    # it points off by half the ramp's turn when all of it comes after the joint
    assert f"points {5.0 * 2.1818 / 2.0:.1f} mm/m off" in told.text


def test_verdicts():
    slow = {"max_change_mm_per_m": 1.0}
    assert build_up(drive([line(60.0), arc(40.0, 200.0)], **slow)).verdict == "not possible"
    eased = build_up(drive([line(60.0), spiral(25.0, "inf", 200.0), arc(15.0, 200.0)], **slow))
    assert eased.verdict == "tight" and "poor ground" in eased.text
    easy = build_up(drive([line(60.0), spiral(20.0, "inf", 600.0), arc(20.0, 600.0)]))
    assert easy.verdict == "possible" and easy.value == 0.0 and easy.text.endswith("The machine can follow")
    assert "0.4 mm/m a stroke" in easy.text  # 1.67 mm/m² by 0.229 a mm/m, over 20 strokes
    assert build_up(drive([line(60.0)])) is None
    assert build_up(drive([arc(60.0, 500.0)])) is None  # the machine starts in the curve


def test_it_stands_on_the_page():
    found = {f.subject: f for f in feasibility(drive([line(60.0), arc(40.0, 200.0)]))}
    one = found["Build-up of the curve"]
    assert one.limit == 50.0 and one.margin == pytest.approx(50.0 - one.value)
