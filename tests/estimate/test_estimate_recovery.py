"""A state that cannot be one (not finite, a negative variance, a correlation beyond 1) is caught, said, and
the estimate goes on from the last sound node. The faults are put in by hand: none is known to arise."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from steer.closed_loop import Advised, drive_whole
from steer.drivefile import parse_drive
from steer.estimate import filter as kalman
from steer.estimate import smoother
from steer.estimate.motion import N_STATES, RD, RO, Y
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.says import advice_object


def driven(strokes, seed=2):
    scenario = draw_scenario(seed, curved=False)
    scenario.drive["drive"]["stroke_m"] = 1.0
    file = parse_drive(drive_toml(scenario.drive))
    steerer, simulation = Advised(file), Simulation(scenario)
    drive_whole(file, simulation, steerer, strokes)
    return steerer.drive, simulation, steerer


def go_on(steerer, simulation, strokes):
    for _ in range(strokes):
        for reading in simulation.advance(steerer.stroke_end(simulation.chainage_m)):
            steerer.reading(reading)
    steerer.stroke_end(simulation.chainage_m)


def codes(drive):
    return [n.code for n in drive.advice().notices]


def all_finite(value):
    if isinstance(value, dict):
        return all(all_finite(v) for v in value.values())
    if isinstance(value, list | tuple):
        return all(all_finite(v) for v in value)
    return not isinstance(value, float) or math.isfinite(value)


def nothing_but_numbers(drive):
    said = advice_object(drive.advice())
    json.dumps(said, allow_nan=False)
    path = drive.smoothed()
    shown = (path.line_mm, path.level_mm, path.line_sd_mm, path.level_sd_mm, path.gain_per_m)
    return all_finite(said) and all(np.isfinite(v).all() for v in shown)


def spoil_nan(node):
    node.p[0, Y, Y] = np.nan


def spoil_inf(node):
    node.x[1, RO] = np.inf


def spoil_negative(node):
    node.p[2, RD, RD] = -1.0


def spoil_singular(node):
    """Correlation 2 between offset and direction of the reference: no covariance."""
    node.p[0, RO, RD] = node.p[0, RD, RO] = 2.0 * np.sqrt(node.p[0, RO, RO] * node.p[0, RD, RD])


@pytest.mark.parametrize("spoil", [spoil_nan, spoil_inf, spoil_negative, spoil_singular])
def test_a_spoilt_state_is_worked_out_again_from_the_last_sound_one(spoil):
    """The last three nodes in memory are spoilt between two strokes: afterwards all is as in a drive that
    nothing happened to, and it is said for five metres."""
    plain, simulation, steerer = driven(12)
    go_on(steerer, simulation, 2)
    drive, simulation, steerer = driven(12)
    steerer.stroke_end(simulation.chainage_m)
    estimator = drive.follower.estimator
    for node in estimator.nodes[-3:]:
        spoil(node)
    go_on(steerer, simulation, 2)
    assert "estimate_recovered" in codes(drive) and "estimate_recovered" not in codes(plain)
    assert nothing_but_numbers(drive)
    assert all(node.sound for node in estimator.nodes)
    np.testing.assert_array_equal(estimator.last.x, plain.follower.estimator.last.x)
    np.testing.assert_array_equal(estimator.last.p, plain.follower.estimator.last.p)
    go_on(steerer, simulation, 5)
    assert "estimate_recovered" not in codes(drive)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -1e6])
def test_an_update_that_goes_wrong_is_left_out(bad, monkeypatch):
    """The update of one cell answers with a covariance that is none, however often it is asked."""
    drive, simulation, steerer = driven(12)
    right, wrong_at = kalman.update, simulation.chainage_m + 0.3
    now = {"s_m": 0.0}
    fold = type(drive.follower.estimator)._fold

    def fold_item(self, before, item):
        now["s_m"] = item.s_m
        return fold(self, before, item)

    def update(x, p, *rest):
        x, p, nu, s = right(x, p, *rest)
        if wrong_at - 0.15 < now["s_m"] < wrong_at + 0.15:
            p = p.copy()
            p[:, Y, Y] = bad
        return x, p, nu, s

    monkeypatch.setattr(type(drive.follower.estimator), "_fold", fold_item)
    monkeypatch.setattr(kalman, "update", update)
    go_on(steerer, simulation, 3)
    assert "estimate_recovered" in codes(drive)
    text = next(n.text for n in drive.advice().notices if n.code == "estimate_recovered")
    assert "left out" in text and f"{drive.follower.estimator.recovered[-1].s_m:.1f} m" in text
    assert nothing_but_numbers(drive)
    seen, truth = drive.advice().estimate, simulation.truth().face_mm[-1]
    assert abs(seen.line_mm - truth[0]) < 4.0 * seen.line_sd_mm
    assert abs(seen.level_mm - truth[1]) < 4.0 * seen.level_sd_mm
    # read again from the log, it comes to the same
    again = type(drive)(drive.folder, drive.file, drive.log)
    again.refresh()
    assert advice_object(again.advice())["estimate"] == advice_object(drive.advice())["estimate"]


def test_a_singular_covariance_stops_no_smoothing(monkeypatch):
    drive, _, _ = driven(6)
    drive.advice()
    estimator = drive.follower.estimator

    def singular(*_):
        raise np.linalg.LinAlgError("singular matrix")

    monkeypatch.setattr(np.linalg, "solve", singular)
    path = smoother.smooth(estimator)
    assert np.isfinite(path.line_mm).all() and np.isfinite(path.line_sd_mm).all()
    assert path.line_mm[-1] == pytest.approx(estimator.last.blend()[0][0, Y])


def test_a_sound_state_may_know_something_exactly():
    """A variance of 0 (a reference just set, a zero that is known) is no fault: nodes of a clean drive are
    sound, and their start, with its exact zeros, too."""
    drive, _, _ = driven(4)
    drive.advice()
    estimator = drive.follower.estimator
    assert estimator.start.sound and (np.diagonal(estimator.start.p[0]) == 0.0).any()
    assert all(node.sound for node in estimator.nodes) and not estimator.recovered
    assert estimator.start.p.shape[-1] == N_STATES
