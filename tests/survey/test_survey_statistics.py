"""Do the stated uncertainties and tests keep their word? Seeded repetitions of invented networks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from steer.survey import reduce_network
from steer.survey.network import fitted, prepared


def coordinates(made, control):
    fit = fitted(prepared(made.observations, control, made.k))
    return fit.solution.position, fit


@pytest.mark.parametrize("name, repeats", [("mixed, weighted control", 250), ("closed traverse", 400)])
def test_stated_sd_is_the_scatter_of_repeated_surveys(shapes, monkeypatch, name, repeats):
    """The scatter of a scatter is 1/sqrt(2n); four of them are allowed (18 and 14 %). The 5,000 repeats that
    hold 5 % are in bench/survey_monte_carlo.py."""
    base, control = shapes[name](3, 0.0)
    _, fit = coordinates(base, control)
    random = np.random.default_rng(11)
    network = []
    # what a repeat would state is not asked for, only where it puts the points
    monkeypatch.setattr("steer.survey.network.checked", lambda network, problem, solution, sets: solution)
    for _ in range(repeats):
        noisy = [replace(o, value=o.value + o.sd * random.standard_normal()) for o in base.observations]
        moved = [
            replace(
                c,
                easting_m=c.easting_m + c.sd_mm * 1e-3 * random.standard_normal(),
                northing_m=c.northing_m + c.sd_mm * 1e-3 * random.standard_normal(),
                level_m=c.level_m + c.sd_mm * 1e-3 * random.standard_normal(),
            )
            for c in control
        ]
        network.append(fitted(prepared(noisy, moved, base.k)).position)
    free = fit.problem.unknown >= 0
    scatter = np.std(np.array(network), axis=0, ddof=1)[free]
    stated = np.sqrt(np.diagonal(fit.blocks, axis1=1, axis2=2))[free]
    np.testing.assert_allclose(scatter, stated, rtol=4.0 / (2.0 * repeats) ** 0.5)


def test_global_test_fails_one_sound_survey_in_twenty(shapes):
    failed = sum(
        reduce_network(made.observations, control, made.k).passed is False
        for made, control in (shapes["trilateration"](seed) for seed in range(400))
    )
    assert 7 <= failed <= 35  # binomial(400, 0.05): 20 ± 3.4 standard deviations


def test_redundancy_numbers_add_up_to_the_degrees_of_freedom(shape):
    made, control = shape(1)
    result = reduce_network(made.observations, control, made.k)
    total = sum(r.redundancy for r in result.residuals) + sum(r.redundancy for r in result.control_residuals)
    assert total == pytest.approx(result.degrees_of_freedom, abs=1e-6)


@pytest.mark.parametrize("size_sd", [40, 4000])
@pytest.mark.parametrize("seed", range(8))
def test_a_blunder_is_named(shapes, seed, size_sd):
    made, control = shapes["mixed"](seed)
    observations = list(made.observations)
    checked = reduce_network(observations, control, made.k).residuals
    i = next(k for k in range(5 + seed, len(checked)) if checked[k].redundancy > 0.3)
    observations[i] = replace(observations[i], value=observations[i].value + size_sd * observations[i].sd)
    result = reduce_network(observations, control, made.k)
    assert result.passed is False
    # A set of two directions is one angle: both its rows carry the same residual and are named together.
    named = [o for o in observations if o.row in result.suspect_rows]
    assert observations[i].row in result.suspect_rows
    assert {(o.station, o.set) for o in named} == {(observations[i].station, observations[i].set)}
    assert len(result.suspect_rows) <= 2


def test_two_blunders_are_both_named_and_no_third(shapes):
    made, control = shapes["trilateration"](4)
    observations = list(made.observations)
    for i, size in ((3, 60.0), (15, -25.0)):
        observations[i] = replace(observations[i], value=observations[i].value + size * observations[i].sd)
    result = reduce_network(observations, control, made.k)
    assert set(result.suspect_rows) == {observations[3].row, observations[15].row}
    assert result.suspect_rows[0] == observations[3].row


def test_a_wrong_control_coordinate_is_named(shapes):
    made, _ = shapes["mixed, weighted control"](2)
    wide = [replace(c, sd_mm=1.0) for c in made.control("P0", "P1", "P2", "P3", "P4")]
    wide[1] = replace(wide[1], northing_m=wide[1].northing_m + 0.2)
    result = reduce_network(made.observations, wide, made.k)
    assert [(c.point, c.coordinate) for c in result.control_residuals if c.suspect] == [("P1", "northing")]
    assert result.suspect_rows == ()


def test_residual_is_adjusted_minus_observed(shapes):
    made, control = shapes["trilateration"](0, 0.0)
    observations = list(made.observations)
    observations[10] = replace(observations[10], value=observations[10].value + 0.1)
    residual = reduce_network(observations, control, made.k).residuals[10]
    assert residual.residual < -30.0 and residual.unit == "mm"
