"""Joint angles against closed forms of circles and a published joint example."""

import math

import numpy as np
import pytest

from steer.axis import Axis, axis_from_spec
from steer.pipes import RingJoint, joint_angles, kink_cost, string_joints


def axis(*horizontal: dict[str, object], grade: float = 0.0) -> Axis:
    length = sum(float(e["length_m"]) for e in horizontal)  # type: ignore[arg-type]
    return axis_from_spec(
        {"chainage_m": 0.0, "easting_m": 4e5, "northing_m": 3e5, "level_m": 12.0, "bearing_deg": 200.0},
        list(horizontal),
        [{"kind": "grade", "length_m": length, "grade_mm_per_m": grade}],
    )


STRAIGHT = axis({"kind": "line", "length_m": 120.0})


def test_half_a_degree_with_three_metre_pipes() -> None:
    """R = L/angle and gap = D·angle: 0.5° with 3 m pipes is R = 343.77 m, and 18.85 mm on 2160 mm."""
    s = np.linspace(0.0, 120.0, 2401)
    radius = 343.7746770784939
    line = 1000.0 * (radius - np.sqrt(radius**2 - (s - 60.0) ** 2))
    found = joint_angles(STRAIGHT, s, line, 0 * s, 3.0, 2160.0, np.array([60.0]))
    assert math.degrees(found.angle_mm_per_m[0] / 1000.0) == pytest.approx(0.5, abs=1e-4)
    assert found.gap_mm[0] == pytest.approx(18.85, abs=0.005)
    assert found.right_mm_per_m[0] > 0 and abs(found.up_mm_per_m[0]) < 1e-9


def test_radius_of_a_pulled_joint_as_published() -> None:
    """American Concrete Pipe Association, Design Data 21, eqs 1 and 2: L 2.5 m, OD 1.43 m, pull 12.5 mm."""
    angle = 2.0 * math.asin(12.5 / (2.0 * 1430.0))
    radius = 2.5 / (2.0 * math.tan(angle / 2.0))
    assert radius == pytest.approx(285.997, abs=5e-4)
    # pipes are tangents of that circle at their middles; their joints lie on a circle further out
    bend = axis({"kind": "arc", "length_m": 30.0, "radius_m": math.hypot(radius, 1.25), "turn": "left"})
    s = np.linspace(0.0, 30.0, 7)
    # a chord of 2.5 m spans a little more than 2.5 m of arc
    span = 2.0 * math.hypot(radius, 1.25) * math.asin(1.25 / math.hypot(radius, 1.25))
    found = joint_angles(bend, s, 0 * s, 0 * s, span, 1430.0, np.array([10.0, 20.0]))
    assert found.angle_mm_per_m == pytest.approx(1000.0 * angle, rel=1e-7)
    assert (found.right_mm_per_m < 0).all()
    assert found.gap_mm == pytest.approx(12.5, rel=1e-5)


def test_design_curve_and_steering_add_up_in_each_plane() -> None:
    """In level 0.4 mm/m² of steering on a flat curve of 800 m in plan: both over 2 m."""
    bend = axis({"kind": "arc", "length_m": 60.0, "radius_m": 800.0, "turn": "right"}, grade=8.0)
    s = np.linspace(0.0, 60.0, 241)
    found = joint_angles(bend, s, 0 * s, 0.5 * -0.4 * (s - 30) ** 2, 2.0, 1500.0, np.array([30.0]))
    assert found.right_mm_per_m[0] == pytest.approx(2.5, rel=1e-4)
    assert found.up_mm_per_m[0] == pytest.approx(-0.8, rel=1e-4)
    assert found.angle_mm_per_m[0] == pytest.approx(math.hypot(2.5, 0.8), rel=1e-4)


def test_a_kink_of_the_path_is_the_angle_of_the_joint_on_it() -> None:
    s = np.array([0.0, 20.0, 40.0])
    found = joint_angles(
        STRAIGHT, s, np.array([0, 0, 120.0]), 0 * s, 1.8, 1500.0, np.array([20.0, 20.9, 25.0])
    )
    assert found.right_mm_per_m == pytest.approx([6.0, 3.0, 0.0], abs=2e-4)


def test_formula_of_second_differences_at_any_spacing() -> None:
    rng = np.random.default_rng(5)
    s = np.sort(np.concatenate([[0.0, 80.0], rng.uniform(0, 80, 300)]))
    y, z = rng.normal(0, 3, (2, 302))
    at = rng.uniform(3, 77, 40)
    found = joint_angles(STRAIGHT, s, y, z, 2.5, 1500.0, at)
    for value, path in ((found.right_mm_per_m, y), (found.up_mm_per_m, z)):
        second = [
            np.interp(t + 2.5, s, path) - 2 * np.interp(t, s, path) + np.interp(t - 2.5, s, path) for t in at
        ]
        assert value == pytest.approx(np.array(second) / 2.5, abs=2e-3)


def test_beyond_the_path_the_angle_is_unknown() -> None:
    s = np.linspace(0.0, 10.0, 11)
    found = joint_angles(STRAIGHT, s, 0 * s, 0 * s, 2.0, 1500.0, np.array([1.9, 2.0, 8.0, 8.1]))
    assert np.isnan(found.angle_mm_per_m).tolist() == [True, False, False, True]
    assert found.largest() in (1, 2)
    none = joint_angles(STRAIGHT, s[:0], s[:0], s[:0], 2.0, 1500.0, np.array([5.0]))
    assert none.largest() is None and np.isnan(none.running_largest(np.array([5.0])))[0]


def test_running_largest_is_what_has_passed() -> None:
    s = np.array([0.0, 20.0, 40.0, 60.0, 80.0])
    line = np.array([0.0, 0.0, 40.0, 160.0, 280.0])  # kinks of 2 and 4 mm/m
    found = joint_angles(STRAIGHT, s, line, 0 * s, 2.0, 1500.0, np.arange(2.0, 78.01, 0.5))
    assert found.running_largest(np.array([1.0, 10.0, 30.0, 50.0])) == pytest.approx(
        [np.nan, 0.0, 2.0, 4.0], abs=1e-4, nan_ok=True
    )


def test_joints_of_a_string() -> None:
    assert string_joints(10.0, 0.0, 3.0).tolist() == [7.0, 4.0, 1.0]
    assert string_joints(2.0, 0.0, 3.0).size == 0


def test_cost_of_a_correction() -> None:
    """A straight bore that is to turn 5 mm/m at the face: joints there will see 5 mm/m."""
    ring = RingJoint(717.5, 617.5, 15.0, 100.0, 18.0)
    driven = np.arange(0.0, 50.01, 0.25)
    ahead = 50.0 + np.arange(1.0, 7.0)
    path = np.column_stack([5.0 * (ahead - 50.0), 0 * ahead])
    cost = kink_cost(STRAIGHT, ring, 2.0, driven, np.zeros((len(driven), 2)), ahead, path)
    assert cost is not None and cost.share is not None
    assert cost.angle_mm_per_m == pytest.approx(5.0, rel=1e-9)
    assert cost.chainage_m == pytest.approx(50.0)
    assert cost.share == pytest.approx(float(ring.permissible_kn(5.0)) / ring.straight_kn)
    flat = kink_cost(STRAIGHT, ring, 2.0, driven, np.zeros((len(driven), 2)), ahead, 0 * path)
    assert flat is not None and flat.share == 1.0
    assert kink_cost(STRAIGHT, None, 2.0, driven[:3], np.zeros((3, 2)), ahead[:0], path[:0]) is None


def test_cost_agrees_with_angles_in_space_on_a_curve() -> None:
    bend = axis({"kind": "arc", "length_m": 80.0, "radius_m": 400.0, "turn": "right"})
    driven, ahead = np.arange(0.0, 50.01, 0.25), 50.0 + 0.9 * np.arange(1, 9)
    rows = np.column_stack([0.3 * (ahead - 50.0) ** 2, -0.1 * (ahead - 50.0) ** 2])
    cost = kink_cost(bend, None, 2.0, driven, np.zeros((len(driven), 2)), ahead, rows)
    assert cost is not None and cost.share is None
    s = np.concatenate([driven, ahead])
    y = np.concatenate([np.zeros((len(driven), 2)), rows])
    found = joint_angles(bend, s, y[:, 0], y[:, 1], 2.0, 1500.0, np.array([cost.chainage_m]))
    assert cost.angle_mm_per_m == pytest.approx(found.angle_mm_per_m[0], rel=1e-3)
