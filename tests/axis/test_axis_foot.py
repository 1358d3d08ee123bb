"""The foot of the perpendicular: there and back, against plain search, and where there is none."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from steer.axis import axis_from_spec

E0, N0 = 4_456_789.123, 5_987_654.321


def spiral(length_m, start, end, turn):
    return {
        "kind": "spiral",
        "length_m": length_m,
        "radius_start_m": start,
        "radius_end_m": end,
        "turn": turn,
    }


def winding():
    """300 m with arcs down to 45 m, reversing clothoids and steep grades."""
    start = {"chainage_m": 100.0, "easting_m": E0, "northing_m": N0, "level_m": 300.0, "bearing_deg": 300.0}
    horizontal = [
        {"kind": "line", "length_m": 60.0},
        spiral(40.0, "inf", 60.0, "right"),
        {"kind": "arc", "length_m": 80.0, "radius_m": 60.0, "turn": "right"},
        spiral(40.0, 60.0, "inf", "right"),
        spiral(30.0, "inf", 45.0, "left"),
        spiral(30.0, 45.0, 200.0, "left"),
        {"kind": "line", "length_m": 20.0},
    ]
    vertical = [
        {"kind": "grade", "length_m": 100.0, "grade_mm_per_m": -40.0},
        {"kind": "parabola", "length_m": 100.0, "grade_start_mm_per_m": -40.0, "grade_end_mm_per_m": 60.0},
        {"kind": "arc", "length_m": 100.0, "grade_start_mm_per_m": 60.0, "grade_end_mm_per_m": -60.0},
    ]
    return axis_from_spec(start, horizontal, vertical)


def ring(radius_m=100.0, length_m=150.0, grade_mm_per_m=0.0):
    start = {"chainage_m": 0.0, "easting_m": E0, "northing_m": N0, "level_m": 10.0, "bearing_deg": 20.0}
    return axis_from_spec(
        start,
        [{"kind": "arc", "length_m": length_m, "radius_m": radius_m, "turn": "right"}],
        [{"kind": "grade", "length_m": length_m, "grade_mm_per_m": grade_mm_per_m}],
    )


WINDING = winding()


@given(s=st.floats(0.0, 500.0), line_mm=st.floats(-35_000.0, 35_000.0), level_mm=st.floats(-5_000.0, 5_000.0))
@settings(max_examples=300, deadline=None)
def test_there_and_back(s, line_mm, level_mm):
    """Within the smallest radius, at any place, also 100 m beyond either end: 0.01 mm."""
    east, north, level = WINDING.position(s, line_mm, level_mm)
    found = WINDING.locate(east, north, level)
    if not found.ok:
        pytest.skip("as near to two places")
    back = WINDING.position(found.chainage_m, found.line_mm, found.level_mm)
    assert math.dist(back, (east, north, level)) < 1e-8
    offset = math.hypot(found.line_mm, found.level_mm)
    assert offset <= math.hypot(line_mm, level_mm) + 1e-5  # never farther than where it was put
    if math.hypot(line_mm, level_mm) < 20_000.0:  # the loops are over 40 m apart: this foot is the nearest
        assert found.chainage_m == pytest.approx(s, abs=1e-5)
        assert found.line_mm == pytest.approx(line_mm, abs=0.01)
        assert found.level_mm == pytest.approx(level_mm, abs=0.01)


def test_no_other_place_of_the_axis_is_nearer():
    """Points anywhere within 120 m against a search over every 5 cm of the axis."""
    rng = np.random.default_rng(7)
    n = 800
    s = rng.uniform(60.0, 440.0, n)
    points = np.array(WINDING.position(s, rng.uniform(-12e4, 12e4, n), rng.uniform(-2e4, 2e4, n)))
    found = WINDING.locate(*points)
    assert found.ok.all()
    search = WINDING.at(np.arange(-200.0, 900.0, 0.05))
    path = np.stack([search.easting_m, search.northing_m, search.level_m])
    for i in range(n):
        nearest = np.sqrt(((path - points[:, i, None]) ** 2).sum(axis=0).min())
        assert math.hypot(found.line_mm[i], found.level_mm[i]) / 1e3 <= nearest + 1e-9


def test_offsets_are_perpendicular_to_the_axis():
    for s in (-20.0, 130.0, 210.0, 333.0, 450.0):
        p = WINDING.at(s)
        tangent = np.array([math.sin(p.bearing_rad), math.cos(p.bearing_rad), p.grade_mm_per_m / 1e3])
        foot = np.array([p.easting_m, p.northing_m, p.level_m])
        for line_mm, level_mm in ((1e4, 0.0), (0.0, 1e4)):
            out = np.array(WINDING.position(s, line_mm, level_mm)) - foot
            assert np.linalg.norm(out) == pytest.approx(10.0, abs=1e-8)
            assert out @ tangent == pytest.approx(0.0, abs=1e-7)
            if line_mm:
                assert out[2] == 0.0  # line is horizontal


@pytest.mark.parametrize("off_m", [-50.0, 50.0])
def test_fifty_metres_off(off_m):
    axis = ring(radius_m=60.0, length_m=90.0, grade_mm_per_m=30.0)
    s = np.linspace(-30.0, 120.0, 151) if off_m < 0 else np.linspace(1.0, 89.0, 89)
    found = axis.locate(*axis.position(s, np.full_like(s, off_m * 1e3), np.zeros_like(s)))
    assert found.ok.all()
    assert found.chainage_m == pytest.approx(s, abs=1e-5)
    assert found.line_mm == pytest.approx(off_m * 1e3, abs=0.01)
    assert found.level_mm == pytest.approx(0.0, abs=0.01)


def test_beyond_either_end():
    axis = ring(grade_mm_per_m=-12.0)
    for s in (-35.0, -0.001, 150.001, 240.0):
        found = axis.locate(*axis.position(s, 321.0, -123.0))
        assert found == pytest.approx((s, 321.0, -123.0, True), abs=0.005)
        assert found.chainage_m == pytest.approx(s, abs=1e-8)


def test_a_centre_of_curvature_has_no_foot():
    axis = ring()
    for s in (10.0, 75.0):
        found = axis.locate(*axis.position(s, 100_000.0, 0.0))
        assert not found.ok
        assert math.isnan(found.chainage_m) and math.isnan(found.line_mm) and math.isnan(found.level_mm)
        assert not axis.locate(*axis.position(s, 99_950.0, 0.0)).ok  # 50 mm from it


def test_near_a_centre_there_is_one():
    """1 m from the centre of R = 100 m the foot is well defined; 0.01 mm there and back."""
    axis = ring()
    for s in (20.0, 75.0, 130.0):
        found = axis.locate(*axis.position(s, 99_000.0, 40.0))
        assert found.ok
        assert found.chainage_m == pytest.approx(s, abs=1e-5)
        assert (found.line_mm, found.level_mm) == pytest.approx((99_000.0, 40.0), abs=0.01)


def test_as_near_to_two_places_has_no_foot():
    """On the axis of symmetry beyond the centre of a U of two lines and an arc."""
    start = {"chainage_m": 0.0, "easting_m": 0.0, "northing_m": 0.0, "level_m": 0.0, "bearing_deg": 0.0}
    length = 50.0 + 20.0 * math.pi + 50.0
    axis = axis_from_spec(
        start,
        [
            {"kind": "line", "length_m": 50.0},
            {"kind": "arc", "length_m": 20.0 * math.pi, "radius_m": 20.0, "turn": "right"},
            {"kind": "line", "length_m": 50.0},
        ],
        [{"kind": "grade", "length_m": length, "grade_mm_per_m": 0.0}],
    )
    assert not axis.locate(20.0, 30.0, 0.0).ok
    found = axis.locate(19.0, 30.0, 0.0)
    assert found == pytest.approx((30.0, 19_000.0, 0.0, True), abs=1e-6)
    far_side = axis.locate(20.0, 65.0, 0.0)  # nearer to the arc than to the lines? 5 m against 20 m
    assert far_side.ok and far_side.line_mm == pytest.approx(5_000.0, abs=1e-6)


def test_a_point_that_is_no_number_has_no_foot():
    found = WINDING.locate(np.array([E0, math.nan]), np.array([N0, N0]), np.array([300.0, 300.0]))
    assert found.ok.tolist() == [True, False]
    assert found.chainage_m[0] == pytest.approx(100.0, abs=1e-9)
    assert math.isnan(found.chainage_m[1])


def test_no_points_no_feet():
    none = np.empty(0)
    found = WINDING.locate(none, none, none)
    assert found.chainage_m.shape == found.ok.shape == (0,)
