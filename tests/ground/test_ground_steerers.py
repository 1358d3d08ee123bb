"""The practice ground's two steerers keep the limits and do what they are for; presets and sample."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sample_surveys
from steer.drivefile import parse_drive
from steer.errors import FolderUnusable
from steer.ground import Scenario, Simulation, draw_scenario
from steer.ground.folder import drive_toml, write_drive_file
from steer.ground.informed import Informed
from steer.ground.instruments import articulation_of
from steer.ground.operator import RuleOfThumb
from steer.ground.presets import DRIVE, PRESETS, preset_scenario
from steer.ground.sample import COLUMNS, PLACE, read_settings, write_sample


def steered(scenario: Scenario, steerer_of: type) -> tuple[Simulation, list[np.ndarray]]:
    simulation = Simulation(scenario)
    steerer = Informed(simulation) if steerer_of is Informed else RuleOfThumb(scenario.drive)
    for reading in simulation.start():
        steerer.reading(reading)
    settings = []
    while not simulation.finished:
        settings.append(np.array(steerer.stroke_end(simulation.chainage_m)))
        for reading in simulation.advance(settings[-1]):
            steerer.reading(reading)
        for shot in simulation.shots():
            steerer.shot(shot)
    return simulation, settings


def rms(simulation: Simulation) -> float:
    truth = simulation.truth()
    return float(np.sqrt(np.mean(truth.face_mm[truth.chainage_m >= 15.0] ** 2)))


@pytest.mark.parametrize("kind", ["elastic", "guided", "lagged"])
def test_steering_beats_not_steering_and_knowing_beats_the_rule(kind: str) -> None:
    scenario = draw_scenario(7, kind=kind)
    idle = Simulation(scenario)
    while not idle.finished:
        idle.advance(idle.cylinder_mm)
    rule, informed = steered(scenario, RuleOfThumb)[0], steered(scenario, Informed)[0]
    assert rms(informed) < rms(rule) < rms(idle)


@pytest.mark.parametrize("name", list(PRESETS))
def test_what_is_foreseen_of_the_ground_to_come_is_what_comes(name: str) -> None:
    """A look ahead over 12 strokes (coarser steps) against the drive itself, cylinders held, set without error."""
    scenario = preset_scenario(name, seed=4)
    ground = replace(scenario.ground, setting_sd_mm=0.0, play_mm_per_m=(0.0, 0.0), roll_sd_deg=0.0)
    simulation = Simulation(scenario.with_(ground=ground))
    simulation.start()
    held = np.array([18.0, 19.0, 22.0, 21.0])
    for _ in range(20):
        simulation.advance(held)
    foreseen = simulation.preview(simulation.standing, 12, foreseen=True)
    as_today = simulation.preview(simulation.standing, 12)
    came = np.array([_face_after(simulation, held) for _ in range(12)])
    moved = np.abs(came - came[0]).max()
    assert np.abs(foreseen - came).max() < 0.01 * moved
    assert np.abs(as_today - came).max() > 3 * np.abs(foreseen - came).max()


def _face_after(simulation: Simulation, cylinder_mm: np.ndarray) -> np.ndarray:
    simulation.advance(cylinder_mm)
    face: np.ndarray = simulation.truth().face_mm[-1]
    return face


@pytest.mark.parametrize("name", ["mixed face", "boulders"])
def test_who_is_told_the_ground_to_come_steers_better_and_calmer(name: str) -> None:
    def driven(foreseen: bool) -> tuple[float, float]:
        simulation = Simulation(preset_scenario(name, seed=5))
        steerer, set_mm = Informed(simulation, foreseen=foreseen), [simulation.cylinder_mm]
        while not simulation.finished:
            set_mm.append(steerer.stroke_end(simulation.chainage_m))
            simulation.advance(set_mm[-1])
        return rms(simulation), float(np.abs(np.diff(set_mm, axis=0)).mean())

    told, knows = driven(False), driven(True)
    assert knows[0] < 0.7 * told[0] and knows[1] < told[1]


@pytest.mark.parametrize("steerer", [RuleOfThumb, Informed])
@pytest.mark.parametrize("seed", [3, 4, 5])
def test_limits_are_kept_after_rounding(steerer: type, seed: int) -> None:
    scenario = draw_scenario(seed)
    simulation, settings = steered(scenario, steerer)
    machine = simulation.machine
    low, high = machine["cylinders"]["range_mm"]
    step = machine["cylinders"]["step_mm"]
    before = np.full_like(settings[0], machine["cylinders"]["neutral_mm"])
    for now in settings:
        assert low <= now.min()
        assert now.max() <= high
        assert np.allclose(now / step, np.round(now / step))
        bent, was = articulation_of(machine, now, 0.0), articulation_of(machine, before, 0.0)
        assert np.hypot(*bent) <= machine["max_articulation_mm_per_m"] + 1e-9
        # sizes in both planes together: roll turns the planes by up to 2°
        assert np.abs(bent - was).max() <= machine["max_change_mm_per_m"] * 1.04 + 0.1
        before = now


@pytest.mark.parametrize("name", list(PRESETS))
def test_a_preset_can_be_driven_and_says_that_it_is_invented(name: str) -> None:
    assert "invented" in PRESETS[name].about
    simulation, _ = steered(preset_scenario(name, seed=2), Informed)
    assert rms(simulation) < 30.0


def test_presets_differ_in_what_they_ask() -> None:
    """Soft clay sinks the nose; mixed face pushes to both sides; boulders throw hard and seldom."""
    crab = {}
    for name in PRESETS:
        simulation = Simulation(preset_scenario(name, seed=2))
        while not simulation.finished:
            simulation.advance(simulation.cylinder_mm)
        crab[name] = simulation.truth().crab
    assert crab["soft clay"][:, 1].mean() < -0.4
    assert crab["mixed face"][:, 0].min() < -1.0
    assert crab["mixed face"][:, 0].max() > 1.0
    hard = np.abs(crab["boulders"][:, 0]) > 2.5
    assert 0.005 < hard.mean() < 0.2


def test_the_practice_drive_file_is_sound() -> None:
    file = parse_drive(drive_toml(DRIVE))
    assert not file.warnings
    assert file.machine.cylinders.positions_deg == (45, 135, 225, 315)


def test_a_drive_file_is_never_overwritten(tmp_path: Path) -> None:
    write_drive_file(DRIVE, tmp_path)
    with pytest.raises(FileExistsError):
        write_drive_file(DRIVE, tmp_path)


def test_a_broken_dictionary_makes_a_file_that_is_refused() -> None:
    broken = {**DRIVE, "machine": {**DRIVE["machine"], "front_length_m": -1.0}}
    with pytest.raises(FolderUnusable, match="front_length_m"):
        parse_drive(drive_toml(broken))


def test_the_committed_sample_is_what_the_script_makes(tmp_path: Path) -> None:
    """So that a change of the ground shows as a change of the sample; who steered is in settings.csv."""
    committed = Path(sample_surveys.__file__).parent / PLACE
    write_sample(tmp_path, read_settings(committed / "settings.csv"))
    for name in ("drive.toml", "shots.csv", "settings.csv"):
        assert (tmp_path / name).read_text() == (committed / name).read_text()
    with open(tmp_path / "readings.csv") as a, open(committed / "readings.csv") as b:
        made, kept = list(csv.DictReader(a)), list(csv.DictReader(b))
    assert len(made) == len(kept)
    assert tuple(kept[0]) == COLUMNS
    for one, two in zip(made, kept, strict=True):
        for name in ("chainage_m", "spot_right_mm", "yaw_mm_per_m", "cylinder_3_mm"):
            # not to the last digit: another processor may round a sum differently
            assert (one[name] == "") == (two[name] == "")
            assert one[name] == "" or float(one[name]) == pytest.approx(float(two[name]), abs=0.02)


def test_the_sample_says_that_it_is_invented_and_holds_what_it_should() -> None:
    committed = Path(sample_surveys.__file__).parent / PLACE
    assert "nvented" in (committed / "drive.toml").read_text()
    with open(committed / "readings.csv") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["note"] == "invented data"
    chainage = np.array([float(r["chainage_m"]) for r in rows])
    assert 99.0 < chainage.max() < 101.0
    assert (np.diff(chainage) < 0).sum() > 100  # the string's rebound at every stroke
    lost = np.array([r["spot_right_mm"] == "" for r in rows])
    assert lost[(chainage > 41.0) & (chainage < 43.5)].all()
    assert 0.02 < lost.mean() < 0.06
