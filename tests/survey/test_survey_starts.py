"""First coordinates are found without help, whatever ties a point, and without being led astray."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from steer.survey import ControlPoint, reduce_network


@pytest.mark.parametrize("seed", range(12))
def test_every_shape_of_network_comes_to_its_truth(shape, seed):
    """Without errors in the observations the truth comes back to 0.01 mm."""
    made, control = shape(seed, 0.0)
    result = reduce_network(made.observations, control, made.k)
    for point in result.points:
        e, n, h = made.places[point.point]
        assert (point.easting_m, point.northing_m) == pytest.approx((e, n), abs=1e-5)
        assert point.level_m is None or point.level_m == pytest.approx(h, abs=1e-5)
    assert result.suspect_rows == ()
    assert result.variance_factor is None or result.variance_factor < 1e-3


def test_the_order_of_rows_does_not_matter(shape):
    made, control = shape(7)
    forward = reduce_network(made.observations, control, made.k)
    shuffled = list(made.observations)
    np.random.default_rng(3).shuffle(shuffled)
    backward = reduce_network(shuffled, control[::-1], made.k)
    for point in forward.points:
        other = backward.point(point.point)
        assert (point.easting_m, point.northing_m) == pytest.approx(
            (other.easting_m, other.northing_m), abs=1e-6
        )
        np.testing.assert_allclose(point.covariance_mm2, other.covariance_mm2, rtol=1e-4, atol=1e-7)


def test_a_turned_and_shifted_grid_gives_the_turned_and_shifted_result(shapes):
    """Large coordinates, as of a national grid, lose nothing."""
    made, control = shapes["mixed"](2)
    there = reduce_network(made.observations, control, made.k)
    moved = [
        ControlPoint(c.point, c.northing_m + 6e6, -c.easting_m + 5e6, c.level_m + 1000.0, c.sd_mm)
        for c in control
    ]
    result = reduce_network(made.observations, moved, made.k)
    for point in there.points:
        other = result.point(point.point)
        assert other.easting_m - 6e6 == pytest.approx(point.northing_m, abs=1e-5)
        assert other.northing_m - 5e6 == pytest.approx(-point.easting_m, abs=1e-5)
        assert other.level_m - 1000.0 == pytest.approx(point.level_m, abs=1e-5)


def test_lengths_alone_with_a_third_that_tells_the_sides_apart(shapes):
    made, control = shapes["trilateration"](1, 0.0)
    few = [o for o in made.observations if "P5" not in (o.station, o.target)]
    few += [
        o for o in made.observations if {o.station, o.target} in ({"P5", "P0"}, {"P5", "P1"}, {"P5", "P2"})
    ]
    point = reduce_network(few, control, None).point("P5")
    assert (point.easting_m, point.northing_m) == pytest.approx(made.places["P5"][:2], abs=1e-5)


def test_levels_are_null_in_a_plan_only_network(shapes):
    """Zenith angles still reduce the slopes when no level is known anywhere."""
    made, control = shapes["traverse"](2)
    levelled = reduce_network(made.observations, control, made.k)
    flat = reduce_network(made.observations, [replace(c, level_m=None) for c in control], made.k)
    for point in flat.points:
        assert point.level_m is None and np.isnan(point.covariance_mm2[2, 2])
        near = levelled.point(point.point)
        assert (point.easting_m, point.northing_m) == pytest.approx(
            (near.easting_m, near.northing_m), abs=2e-4
        )


def test_a_set_with_one_direction_counts_for_nothing(shapes):
    made, control = shapes["intersection"](1)
    before = reduce_network(made.observations, control)
    made.see("X", "A", "d", "lonely")
    after = reduce_network(made.observations, control)
    assert after.degrees_of_freedom == before.degrees_of_freedom
    assert after.residuals[-1].standardised is None
    assert any("alone" in note for note in after.notes)


def test_control_with_sd_moves_and_fixed_control_does_not(shapes):
    made, control = shapes["mixed"](5)
    mixed = [replace(control[0], sd_mm=0.0), *(replace(c, sd_mm=5.0) for c in control[1:])]
    result = reduce_network(made.observations, mixed, made.k)
    held, loose = result.point("P0"), result.point("P1")
    assert held.fixed and (held.easting_m, held.northing_m) == made.places["P0"][:2]
    assert not held.covariance_mm2.any()
    assert not loose.fixed and 0.0 < loose.sd_mm[0] < 5.0
    assert loose.easting_m != made.places["P1"][0]
