"""Possible paths: draws against the smoother's own figures, a jump against a fold that really has it, jumps of
the simulated ground found where they are, and a shot that disagrees makes no step in the bore."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from support_histories import Event

from steer.drivefile import parse_drive
from steer.estimate.estimator import Estimator
from steer.estimate.follow import Follower
from steer.estimate.motion import C, Y
from steer.estimate.nodes import Node
from steer.estimate.possible import _Fold, possible_paths
from steer.estimate.smoother import smooth
from steer.estimate.stack import Stack
from steer.ground import CheckShots, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb


@cache
def driven(seed: int, jump_mm_per_m: float, shot_wrong_mm: float = 0.0) -> tuple[Any, Estimator, Any]:
    """Drive file, estimator and truth of 45 m whose crab in line jumps at 25 m; a shot may be wrong at 30 m."""
    scenario = draw_scenario(seed, curved=False).with_(shots=CheckShots(15.0, 2.0, "face", 0))
    first = replace(scenario.ground.stretches[0], start_m=0.0)
    right, up = first.crab_mm_per_m
    then = replace(first, start_m=25.0, crab_mm_per_m=(right + jump_mm_per_m, up))
    scenario = scenario.with_(ground=replace(scenario.ground, stretches=(first, then)), faults=())
    file = parse_drive(drive_toml(scenario.drive))
    follower, steerer, simulation = Follower(file), RuleOfThumb(scenario.drive), Simulation(scenario)
    count = 0
    readings = simulation.start()
    while simulation.chainage_m < 45.0:
        news = [("reading", r) for r in readings]
        for shot in simulation.shots():
            wrong = shot_wrong_mm if shot["chainage_m"] == pytest.approx(30.0, abs=1.0) else 0.0
            news.append(("check_shot", shot | {"line_mm": shot["line_mm"] + wrong}))
        for kind, body in news:
            count += 1
            follower.take(
                Event(count, kind, {k: v for k, v in body.items() if k != "kind" and v is not None})
            )
        for reading in readings:
            steerer.reading(reading)
        readings = simulation.advance(steerer.stroke_end(simulation.chainage_m))
    follower.bring_up()
    return file, follower.estimator, simulation.truth()


def bend(at: np.ndarray, y: np.ndarray, s: np.ndarray, pipe_m: float) -> np.ndarray:
    """Joint angle of pipes along y(at) by second differences, mm/m."""
    behind, here, ahead = (np.interp(s + d, at, y) for d in (-pipe_m, 0.0, pipe_m))
    return (ahead - 2.0 * here + behind) / pipe_m


def test_draws_scatter_as_the_smoother_says() -> None:
    """Their mean is 0 and their standard deviation the smoothed one, within what 400 draws can show (an sd
    of theirs errs by 1/sqrt(800), 3.5 %) and the models of the stack differ from one another."""
    _, estimator, _ = driven(3, 0.0)
    found, path = possible_paths(estimator, 400), smooth(estimator)
    assert found.chainage_m == pytest.approx(path.chainage_m)
    sd = np.column_stack([path.line_sd_mm, path.level_sd_mm])
    assert np.abs(found.draws_mm.mean(0) / sd).max() < 4.0 / np.sqrt(400)
    ratio = found.draws_mm.std(0) / sd
    assert 0.85 < np.median(ratio) < 1.05 and ratio.max() < 1.25


class Kicked(Stack):
    """Motion in which the crab really jumps by so much at a node."""

    at_m, kick = 0.0, np.zeros(2)

    def ahead(self, node: Node, s_m: float, *rest: Any) -> Node:
        made = super().ahead(node, s_m, *rest)
        if node.s_m < self.at_m <= s_m:
            made.x[:, C] += self.kick[self.plane]
        return made


def test_the_effect_of_a_jump_is_that_of_a_fold_with_it() -> None:
    """Folded anew with a small kick of the crab, the smoothed path changes by kick times effect, wherever
    nothing is gated or bounded otherwise than before."""
    file, estimator, _ = driven(3, 0.0)
    nodes = estimator.nodes
    fold = _Fold(nodes, estimator.shelf)
    place = next(i for i, step in enumerate(fold.at) if step > 20.0)
    other = Estimator(file)
    other.stack = kicked = Kicked(file)
    kicked.at_m, kicked.kick = float(fold.at[place]), np.array([0.02, 0.0])
    for item in estimator.items:
        other.put(item)
    other.run()
    after, _ = fold.effect(place, 0)
    changed = _Fold(other.nodes, other.shelf).smoothed - fold.smoothed
    assert np.abs(after[:, Y]).max() > 0.05
    assert changed[:, 0, Y] == pytest.approx(0.02 * after[:, Y], abs=2e-4)
    assert changed[:, 1, Y] == pytest.approx(0.0, abs=2e-4)


@pytest.mark.parametrize("seed", [3, 5])
def test_a_jump_of_the_ground_is_found_and_sharpens_the_kink(seed: int) -> None:
    file, estimator, truth = driven(seed, 5.0)
    found, path = possible_paths(estimator), smooth(estimator)
    near = [j for j in found.jumps if abs(j.chainage_m - 25.0) < 1.0]
    assert [j.plane for j in near] == [0] and near[0].size_mm_per_m > 2.0
    pipe, s = file.pipe.length_m, np.arange(22.0, 28.0, 0.1)
    true = bend(truth.chainage_m, truth.face_mm[:, 0], s, pipe)
    round_ = bend(path.chainage_m, path.line_mm, s, pipe)
    sharp = bend(path.chainage_m, path.line_mm + found.shift_mm[:, 0], s, pipe)
    at = int(np.argmax(np.abs(true)))
    assert abs(sharp[at] - true[at]) < 0.7 * abs(round_[at] - true[at])
    assert np.sqrt(np.mean((sharp - true) ** 2)) < 0.8 * np.sqrt(np.mean((round_ - true) ** 2))


def test_where_nothing_jumps_nothing_is_found() -> None:
    for seed in (3, 4, 5):
        assert possible_paths(driven(seed, 0.0)[1]).jumps == ()


def test_a_shot_that_disagrees_makes_no_kink() -> None:
    """A survey blunder of 40 mm steps the smoothed path, since face and reference give way together; the
    bore's shape, by which joints are judged, stays that of the drive without the blunder."""
    file, plain, _ = driven(3, 0.0)
    _, stepped, _ = driven(3, 0.0, 40.0)
    pipe, s = file.pipe.length_m, np.arange(26.0, 34.0, 0.1)
    paths = [smooth(e) for e in (plain, stepped)]
    shapes = [possible_paths(e) for e in (plain, stepped)]
    with_step = bend(paths[1].chainage_m, paths[1].line_mm, s, pipe)
    one, other = (
        bend(p.chainage_m, p.line_mm + f.shift_mm[:, 0], s, pipe) for p, f in zip(paths, shapes, strict=True)
    )
    assert np.abs(with_step - one).max() > 5.0  # the trial is one
    assert other == pytest.approx(one, abs=0.6)
    spread = [
        np.std([bend(f.chainage_m, d[:, 0], s, pipe) for d in f.draws_mm], axis=0).max() for f in shapes
    ]
    assert spread[1] < 1.5 * spread[0]


def test_nothing_driven_has_no_path() -> None:
    found = possible_paths(Estimator(driven(3, 0.0)[0]))
    assert len(found.chainage_m) == 0 and found.jumps == ()
