"""A survey that cannot hold together is answered after a bounded number of steps, a sound one after a few."""

from dataclasses import replace

import pytest

from steer.errors import InputRefused
from steer.survey import adjusting, reduce_network

MOST = 1500  # of all adjustments that one survey asks for; without a limit the same survey takes over 3,600


@pytest.fixture
def steps(monkeypatch):
    """Counts the steps of every adjustment."""
    taken = []
    step = adjusting._step

    def counted(*args):
        taken.append(1)
        return step(*args)

    monkeypatch.setattr(adjusting, "_step", counted)
    return taken


@pytest.mark.parametrize("off_m", [100.0, 1e7])
def test_a_grossly_wrong_control_point_is_refused_after_a_bounded_number_of_steps(shapes, steps, off_m):
    made, control = shapes["free stations"](1, stations=20)
    bad = [replace(control[0], easting_m=control[0].easting_m + off_m), *control[1:]]
    with pytest.raises(InputRefused, match=r"no adjustment holds|no rest"):
        reduce_network(made.observations, bad, made.k)
    assert 0 < len(steps) < MOST


def test_a_sound_survey_takes_a_few_steps(shape, steps):
    made, control = shape(3, 0.5)
    assert reduce_network(made.observations, control, made.k).points
    assert len(steps) < 30


def test_few_unknowns_are_solved_as_many_are(shape, monkeypatch):
    """Whole and sparse matrices give the same adjustment."""
    made, control = shape(5)
    whole = reduce_network(made.observations, control, made.k)
    monkeypatch.setattr(adjusting, "_FEW", 0)
    thin = reduce_network(made.observations, control, made.k)
    for point, other in zip(whole.points, thin.points, strict=True):
        assert (point.easting_m, point.northing_m) == pytest.approx(
            (other.easting_m, other.northing_m), abs=1e-7
        )
    assert (whole.variance_factor or 0.0) == pytest.approx(thin.variance_factor or 0.0, rel=1e-6, abs=1e-9)
