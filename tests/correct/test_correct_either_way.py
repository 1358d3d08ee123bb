"""In doubt which way the machine answers: what is steered then, and how it goes on. Ground is the practice
ground's (invented); that a wrong mapping must not be steered harder is common practice, no source."""

from __future__ import annotations

import copy
import dataclasses

import numpy as np
import pytest

from steer.closed_loop import Advised, drive_whole
from steer.correct.either_way import EVEN_ODDS, UNHEARD, in_doubt
from steer.correct.outlook import look_ahead
from steer.drivefile import parse_drive
from steer.estimate.cells import Cell
from steer.estimate.nodes import WRONG
from steer.ground import Ground, Scenario, Simulation, Stretch
from steer.ground.folder import drive_toml
from steer.ground.presets import DRIVE
from steer.ground.scenario import Fault

SETTINGS, CHANGES = range(2)


def outlooks(draw, seed: int, against: np.ndarray, mirror: np.ndarray | None = None):
    _, drive, estimator, node = draw(seed)
    node = dataclasses.replace(node, torn=against, mirror=np.zeros((WRONG, 2)) if mirror is None else mirror)
    plain = look_ahead(node, drive.axis, estimator.stack.motion, drive.drive.stroke_m, 8)
    return plain, in_doubt(plain, node, estimator, drive.axis)


def test_without_evidence_nothing_is_added(draw) -> None:
    plain, found = outlooks(draw, 1, np.full((WRONG, 2), UNHEARD))
    assert found is plain


def test_even_odds_cancel_and_certainty_turns_the_answer_round(draw) -> None:
    against = np.zeros((WRONG, 2))
    against[SETTINGS] = EVEN_ODDS, 20.0
    plain, found = outlooks(draw, 2, against)
    assert np.allclose(found.weights.sum(0), 1.0)
    assert found.weights[: len(plain.weights)].sum(0) == pytest.approx(
        [0.5, 1.0 / (1.0 + np.exp(20.0 - EVEN_ODDS))]
    )
    for plane, sign in ((0, 0.0), (1, -1.0)):
        answer, was = found.answer[plane, -1].sum(), plain.answer[plane, -1].sum()
        assert was > 0.0
        if sign:
            assert answer < 0.0
        else:
            assert abs(answer) < 0.5 * was


def test_one_plane_mapped_wrongly_leaves_the_other(draw) -> None:
    against = np.zeros((WRONG, 2))
    against[SETTINGS, 0] = 9.0
    plain, found = outlooks(draw, 5, against)
    assert np.allclose(found.answer[1], plain.answer[1]) and np.allclose(found.free_mm[1], plain.free_mm[1])


def test_negated_changes_leave_what_stands_as_it_acts(draw) -> None:
    """With a = m the change is nothing, so both ways of answering foretell the same from one state."""
    against = np.zeros((WRONG, 2))
    against[CHANGES] = 30.0
    mirror = np.tile([[2.0, -3.0]], (WRONG, 1))
    _, drive, estimator, node = draw(7)
    x, m = node.x.copy(), len(node.weights)
    x[2 * m + 2 : 2 * m + 4] = x[
        estimator.stack.middle : estimator.stack.middle + 2
    ]  # the middle model's own state
    x[: 2 * m] = np.tile(x[estimator.stack.middle : estimator.stack.middle + 2], (m, 1))
    node = dataclasses.replace(node, x=x, torn=against, mirror=mirror)
    plain = look_ahead(node, drive.axis, estimator.stack.motion, drive.drive.stroke_m, 8)
    found = in_doubt(plain, node, estimator, drive.axis)
    held = np.repeat(np.array([[2.0], [-3.0]]), 8, 1)
    middle = estimator.stack.middle // 2
    right = plain.free_each[middle] + np.einsum("pij,pj->pi", plain.answer_each[middle], held)
    assert np.allclose(found.offsets(held), right, atol=1e-3 * np.abs(right).max())


def drive(kind: str, tendency: float, faults: tuple[Fault, ...] = (), alarm_m: float | None = None):
    toml = copy.deepcopy(DRIVE)
    toml["axis"] = {
        "start": toml["axis"]["start"],
        "horizontal": [{"kind": "line", "length_m": 120.0}],
        "vertical": [{"kind": "grade", "length_m": 120.0, "grade_mm_per_m": 4.0}],
    }
    ground = Ground(
        kind=kind,
        stretches=(Stretch(0.0, (0.6, 0.6), (0.8, -1.2), (tendency, 0.0)),),
        crab_sd_mm_per_m=0.3,
        lag_m=4.0,
    )
    file = parse_drive(drive_toml(toml))
    advised = Advised(file)
    if alarm_m is not None:
        estimator = advised.drive.follower.estimator
        fold, rung = estimator._fold, []

        def ring(before, item):
            node = fold(before, item)
            if isinstance(item, Cell) and item.s_m >= alarm_m and not rung:
                rung.append(item.s_m)
                node.torn[:2] += 8.0
                node.against[:2] += 8.0
            return node

        estimator._fold = ring
    found = drive_whole(
        file, Simulation(Scenario(seed=11, drive=toml, ground=ground, faults=faults)), advised
    )
    told = [e for e in advised.drive.log.events() if e.kind == "advised"]
    assert told
    return found, advised


def test_a_false_alarm_does_not_let_the_ground_carry_the_face_away() -> None:
    """A ground that bends the path by 0.5 mm/m² all along: the cylinders that hold against it are not straightened."""
    found, _ = drive("lagged", 0.5, alarm_m=50.0)
    after = found.chainage_m > 50.0
    assert np.abs(found.line_mm[after]).max() < 40.0


@pytest.mark.parametrize("kind", ["guided", "elastic"])
def test_a_machine_mapped_wrongly_halfway_comes_back(kind: str) -> None:
    """Steered by the feed's settings alone, nobody mending the mapping: at the end the face lies within 50 mm,
    where straightening left it metres off."""
    found, advised = drive(kind, 0.0, faults=(Fault("reversed", 60.0, (1.0, 1.0)),))
    end = found.chainage_m > 110.0
    assert np.abs(found.line_mm[end]).max() < 50.0 and np.abs(found.level_mm[end]).max() < 50.0
    advice = advised.drive.advice()
    assert advice is not None and not advice.trusted
    assert "steering_opposite" in [n.code for n in advice.notices]
