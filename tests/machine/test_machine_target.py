"""The target's lever arm and roll. Signs after the vocabulary: + right, + high, roll + clockwise."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from steer.machine import (
    axis_offset_from_spot,
    axis_offset_from_target,
    spot_from_axis_offset,
    to_gravity,
    to_machine,
)

offsets = st.floats(-2000, 2000)
rolls = st.floats(-180, 180)


def test_target_400_mm_above_moves_7_mm_right_per_degree_of_clockwise_roll() -> None:
    right, up = to_gravity(0.0, 400.0, 1.0)
    assert right == pytest.approx(400 * math.sin(math.radians(1)))
    assert right == pytest.approx(7.0, abs=0.03)
    assert up == pytest.approx(400.0, abs=0.07)
    # A beam aimed at the upright target strikes left of the centre of one that has rolled right.
    spot_right, _ = spot_from_axis_offset(0.0, 400.0, 0.0, 400.0, 0.0, 0.0, 1.0)
    assert spot_right == pytest.approx(-7.0, abs=0.03)


def test_rotation_is_scipy_s_about_the_line_of_sight() -> None:
    """Right, up, ahead is right-handed seen from behind as x, y, −z; clockwise is then a negative turn
    about the axis that points back at the viewer."""
    for roll in (-170.0, -30.0, 3.0, 90.0):
        expected = Rotation.from_euler("z", -roll, degrees=True).apply([120.0, -340.0, 0.0])
        assert to_gravity(120.0, -340.0, roll) == pytest.approx(tuple(expected[:2]))


def test_machine_right_of_the_beam_shows_the_spot_on_the_left() -> None:
    assert axis_offset_from_spot(0.0, 350.0, 0.0, 350.0, -5.0, 2.0, 0.0) == pytest.approx((5.0, -2.0))


def test_reference_beside_the_axis_and_target_beside_the_machine() -> None:
    """Beam 100 right of and 350 above the design axis, target 90 right of and 340 above the machine
    axis, spot in its centre: the machine axis lies 10 right and 10 high."""
    assert axis_offset_from_spot(100.0, 350.0, 90.0, 340.0, 0.0, 0.0, 0.0) == pytest.approx((10.0, 10.0))


def test_target_s_own_offset_needs_only_the_lever_arm_taken_out() -> None:
    line, level = axis_offset_from_target(7.0, 400.0, 0.0, 400.0, 1.0)
    assert (line, level) == pytest.approx((0.0, 0.06), abs=0.03)


@settings(deadline=None)
@given(offsets, offsets, offsets, offsets, offsets, offsets, rolls)
def test_there_and_back(
    rr: float, ru: float, mr: float, mu: float, line: float, level: float, roll: float
) -> None:
    spot = spot_from_axis_offset(rr, ru, mr, mu, line, level, roll)
    assert axis_offset_from_spot(rr, ru, mr, mu, *spot, roll) == pytest.approx((line, level), abs=1e-9)


@settings(deadline=None)
@given(offsets, offsets, offsets, offsets, offsets, offsets, rolls)
def test_spot_and_target_offset_say_the_same(
    rr: float, ru: float, mr: float, mu: float, sr: float, su: float, roll: float
) -> None:
    """The target's centre lies at reference − R·spot, whatever the lever arm."""
    right, up = to_gravity(sr, su, roll)
    by_target = axis_offset_from_target(rr - right, ru - up, mr, mu, roll)
    assert axis_offset_from_spot(rr, ru, mr, mu, sr, su, roll) == pytest.approx(by_target, abs=1e-9)


@given(offsets, offsets, rolls)
def test_frames_there_and_back(right: float, up: float, roll: float) -> None:
    assert to_machine(*to_gravity(right, up, roll), roll) == pytest.approx((right, up), abs=1e-9)


def test_many_readings_at_once_with_missing_channels() -> None:
    line, level = axis_offset_from_spot(
        np.array([0.0, 0.0, 0.0]),
        350.0,
        0.0,
        350.0,
        [-5.0, math.nan, -5.0],
        [1.0, 1.0, 1.0],
        [0.0, 0.0, math.nan],
    )
    assert line == pytest.approx([5.0, math.nan, math.nan], nan_ok=True)
    assert level == pytest.approx([-1.0, -1.0, math.nan], nan_ok=True)
