"""Cylinders to articulation and back, at any layout and roll."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from steer.machine import articulation, completed, extension_rows, extensions, misread


@dataclass(frozen=True)
class Layout:
    positions_deg: tuple[float, ...]
    circle_radius_mm: float
    neutral_mm: float


SQUARE = Layout((45.0, 135.0, 225.0, 315.0), 800.0, 36.0)
FIVE = Layout((0.0, 72.0, 144.0, 216.0, 288.0), 700.0, 40.0)

layouts = st.builds(
    Layout,
    st.lists(st.floats(-360, 360), min_size=3, max_size=8, unique=True).map(tuple),
    st.floats(50, 2000),
    st.floats(-50, 200),
)
angles = st.floats(-45, 45)
rolls = st.floats(-360, 360)


def widest_spread(positions: tuple[float, ...]) -> float:
    return max(abs(math.sin(math.radians(a - b))) for a in positions for b in positions)


@settings(deadline=None)
@given(layouts, angles, angles, rolls)
def test_there_and_back(layout: Layout, right: float, up: float, roll: float) -> None:
    assume(widest_spread(layout.positions_deg) > math.sin(math.radians(10.1)))
    read = extensions(right, up, roll, layout)
    back = articulation(read, roll, layout)
    assert back.right_mm_per_m == pytest.approx(right, abs=1e-7)
    assert back.up_mm_per_m == pytest.approx(up, abs=1e-7)
    assert np.abs(back.residual_mm).max() < 1e-8


@settings(deadline=None)
@given(layouts, angles, angles, rolls, st.data())
def test_back_without_the_cylinders_that_were_not_read(
    layout: Layout, right: float, up: float, roll: float, data: st.DataObject
) -> None:
    count = len(layout.positions_deg)
    missing = data.draw(st.sets(st.integers(0, count - 1)))
    kept = tuple(p for i, p in enumerate(layout.positions_deg) if i not in missing)
    spread = widest_spread(kept) if kept else 0.0
    read = extensions(right, up, roll, layout)
    read[list(missing)] = np.nan
    back = articulation(read, roll, layout)
    if spread > math.sin(math.radians(10.1)):
        assert back.right_mm_per_m == pytest.approx(right, abs=1e-6)
        assert back.up_mm_per_m == pytest.approx(up, abs=1e-6)
        assert set(np.flatnonzero(np.isnan(back.residual_mm))) == missing
    elif len(kept) < 2:
        assert math.isnan(back.right_mm_per_m)
        assert math.isnan(back.up_mm_per_m)


@settings(deadline=None)
@given(layouts, angles, angles, rolls, st.floats(-180, 180))
def test_roll_is_the_same_as_standing_the_cylinders_elsewhere(
    layout: Layout, right: float, up: float, roll: float, turn: float
) -> None:
    elsewhere = Layout(
        tuple(p + turn for p in layout.positions_deg), layout.circle_radius_mm, layout.neutral_mm
    )
    assert extensions(right, up, roll + turn, layout) == pytest.approx(extensions(right, up, roll, elsewhere))


def test_against_rigid_bodies_turned_in_space() -> None:
    """The joint as two rigid rings, the front one turned by scipy's rotations: the distance between
    the same bolt on both, less the distance when straight, is the cylinder's travel. Right is x, up is
    y, ahead is z; nose right is a turn about the vertical, nose up one about the cross axis."""
    from scipy.spatial.transform import Rotation

    apart = 400.0  # ring to ring when straight; the joint turns about the middle
    right, up, roll = 9.0, -14.0, 7.0
    turned = Rotation.from_rotvec([-up / 1000, right / 1000, 0.0])
    for position, extension in zip(SQUARE.positions_deg, extensions(right, up, roll, SQUARE), strict=True):
        t = math.radians(position + roll)
        on_ring = SQUARE.circle_radius_mm * np.array([math.sin(t), math.cos(t), 0.0])
        half = np.array([0.0, 0.0, apart / 2])
        travel = np.linalg.norm(turned.apply(on_ring + half) - (on_ring - half)) - apart
        assert turned.apply([0, 0, 1])[0] > 0  # nose right
        assert turned.apply([0, 0, 1])[1] < 0  # nose down
        assert extension - SQUARE.neutral_mm == pytest.approx(travel, abs=0.12)  # second order: 16.6 mm/m


def test_turning_right_shortens_the_right_and_up_shortens_the_top() -> None:
    layout = Layout((0.0, 90.0, 180.0, 270.0), 1000.0, 36.0)
    assert extensions(10.0, 0.0, 0.0, layout) == pytest.approx([36, 26, 36, 46])
    assert extensions(0.0, 10.0, 0.0, layout) == pytest.approx([26, 36, 46, 36])
    # rolled clockwise by 90 degrees the first cylinder stands on the right
    assert extensions(10.0, 0.0, 90.0, layout) == pytest.approx([26, 36, 46, 36])


def test_ten_degrees_of_roll_left_out_steer_sideways_by_17_percent() -> None:
    """sin 10° = 0.1736."""
    set_without_roll = extensions(0.0, 10.0, 0.0, SQUARE)
    got = articulation(set_without_roll, 10.0, SQUARE)
    assert got.right_mm_per_m == pytest.approx(10 * math.sin(math.radians(10)))
    assert got.up_mm_per_m == pytest.approx(10 * math.cos(math.radians(10)))


def test_many_readings_at_once() -> None:
    right, up, roll = np.array([1.0, -2.0, 3.0]), np.array([0.0, 4.0, -5.0]), np.array([0.0, 5.0, -5.0])
    read = extensions(right, up, roll, FIVE)
    assert read.shape == (3, 5)
    read[1, 2] = np.nan
    read[2, :4] = np.nan
    back = articulation(read, roll, FIVE)
    assert back.right_mm_per_m == pytest.approx([1.0, -2.0, np.nan], nan_ok=True)
    assert back.up_mm_per_m == pytest.approx([0.0, 4.0, np.nan], nan_ok=True)
    assert back.residual_mm.shape == (3, 5)


def test_least_squares_agrees_with_numpy() -> None:
    rng = np.random.default_rng(4)
    read = FIVE.neutral_mm + rng.normal(0, 10, 5)
    got = articulation(read, 12.0, FIVE)
    expected, *_ = np.linalg.lstsq(extension_rows(12.0, FIVE), read - FIVE.neutral_mm, rcond=None)
    assert [got.right_mm_per_m, got.up_mm_per_m] == pytest.approx(expected)


def test_unknown_roll_is_an_unknown_articulation() -> None:
    got = articulation(extensions(1, 2, 0, SQUARE), math.nan, SQUARE)
    assert math.isnan(got.right_mm_per_m)
    assert math.isnan(got.up_mm_per_m)


def test_another_machine_s_cylinders_are_an_error() -> None:
    with pytest.raises(ValueError, match="4 cylinders"):
        articulation(np.zeros(5), 0.0, SQUARE)


@settings(deadline=None)
@given(st.integers(0, 4), st.floats(12, 60), st.booleans(), angles, angles, rolls)
def test_a_misread_cylinder_of_five_is_found(
    which: int, error: float, short: bool, right: float, up: float, roll: float
) -> None:
    error = -error if short else error
    read = extensions(right, up, roll, FIVE)
    read[which] += error
    found = misread(read, roll, FIVE)
    assert found is not None
    assert found.cylinders == (which + 1,)
    assert found.by_mm == pytest.approx((error,))


def test_a_sound_reading_is_not_misread() -> None:
    rng = np.random.default_rng(7)
    for _ in range(200):
        read = extensions(*rng.uniform(-20, 20, 2), 3.0, FIVE) + rng.normal(0, 1, 5)
        assert misread(read, 3.0, FIVE) is None


def test_of_two_opposite_cylinders_both_are_named_until_an_earlier_reading_decides() -> None:
    before = extensions(3.0, 4.0, 5.0, SQUARE)
    read = extensions(3.5, 4.0, 5.0, SQUARE)
    read[2] += 12.0
    found = misread(read, 5.0, SQUARE)
    assert found is not None
    assert found.cylinders == (1, 3)
    assert found.by_mm == pytest.approx((12.0, 12.0))
    decided = misread(read, 5.0, SQUARE, last_mm=before)
    assert decided is not None
    assert decided.cylinders == (3,)


def test_a_neutral_that_is_off_is_no_single_cylinder() -> None:
    found = misread(extensions(3.0, 4.0, 0.0, FIVE) + 20.0, 0.0, FIVE)
    assert found is not None
    assert found.cylinders == ()


def test_two_cylinders_have_nothing_to_check_one_another_by() -> None:
    two = Layout((0.0, 90.0), 700.0, 40.0)
    assert misread([0.0, 90.0], 0.0, two) is None


@settings(deadline=None)
@given(st.integers(0, 4), angles, angles, rolls)
def test_a_cylinder_not_read_stands_in_the_plane_of_the_others(
    which: int, right: float, up: float, roll: float
) -> None:
    whole = extensions(right, up, roll, FIVE)
    read = [None if i == which else float(v) for i, v in enumerate(whole)]
    assert completed(read, roll, FIVE) == pytest.approx(whole, abs=1e-9)


def test_a_cylinder_not_read_stands_as_told_when_the_others_do() -> None:
    told = (37.0, 39.0, 35.0, 34.0)  # 34 and 39 need not lie in one plane: each was rounded to a whole step
    assert completed([37.2, 39.1, 35.0, None], 3.0, SQUARE, told)[3] == 34.0
    whole = extensions(9.0, 2.0, 3.0, SQUARE)
    assert completed([*whole[:3], None], 3.0, SQUARE, told) == pytest.approx(whole)
    assert np.isnan(completed([37.0, None, None, None], 3.0, SQUARE)[1:]).all()
