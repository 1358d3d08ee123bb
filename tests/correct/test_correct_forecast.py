"""The bands of a forecast that goes on being steered, against what simulated drives then do."""

from __future__ import annotations

import numpy as np
import pytest

from steer.closed_loop import Advised
from steer.correct.forecast import steered_sd, taken_hold_m
from steer.drivefile import parse_drive
from steer.estimate.estimator import Estimator
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml

EIGHTY = 1.2816  # sd of a normal distribution that 80 % lie within


def test_bands_of_eighty_per_cent_hold_about_eighty() -> None:
    """Six drives of 60 m on three kinds of ground: as much as their number can show."""
    inside: dict[int, list[np.ndarray]] = {1: [], 4: [], 7: []}
    for seed in range(1400, 1406):
        scenario = draw_scenario(seed)
        advised, simulation = Advised(parse_drive(drive_toml(scenario.drive))), Simulation(scenario)
        told = []
        for reading in simulation.start():
            advised.reading(reading)
        while not simulation.finished and simulation.chainage_m < 60.0:
            wanted = advised.stroke_end(simulation.chainage_m)
            told.append(advised.drive.advice())
            for reading in simulation.advance(wanted):
                advised.reading(reading)
            for shot in simulation.shots():
                advised.shot(shot)
        truth = simulation.truth()
        for advice in told:
            for ahead in inside:
                if (
                    ahead > len(advice.forecast)
                    or advice.forecast[ahead - 1].chainage_m > truth.chainage_m[-1]
                ):
                    continue
                point = advice.forecast[ahead - 1]
                line, level = truth.face_mm[np.abs(truth.chainage_m - point.chainage_m).argmin()]
                off = (line - point.line_mm) / point.line_sd_mm, (level - point.level_mm) / point.level_sd_mm
                inside[ahead].append(np.abs(off) <= EIGHTY)
    for ahead, held in inside.items():
        assert 0.7 < np.mean(held) < 0.91, (ahead, np.mean(held))


def test_a_steered_band_grows_like_one_that_is_not_and_then_stays() -> None:
    file = parse_drive(drive_toml(draw_scenario(0).drive))
    estimator = Estimator(file)
    node, motion = estimator.start, estimator.stack.motion
    now = np.sqrt(node.blend()[1][:, 0, 0])
    far_m, stroke_m = taken_hold_m(node, motion, 3.0), 0.1
    ahead_m = stroke_m * np.arange(1, 1000)
    alone = now[:, None] + np.array([[2.0], [3.0]]) * ahead_m  # grows by 2 and 3 mm a metre
    found = steered_sd(alone, node, motion, stroke_m, 3.0) - now[:, None]
    assert found[:, 0] == pytest.approx([0.2, 0.3], rel=stroke_m / far_m)
    assert found[:, -1] == pytest.approx(np.array([2.0, 3.0]) * far_m, rel=1e-3)
    assert (np.diff(found) >= 0.0).all()
