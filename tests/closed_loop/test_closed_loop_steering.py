"""The tool steering the simulated ground in one process: same answers as over the feed, true measures."""

from __future__ import annotations

import copy
import io
import json
from pathlib import Path

import numpy as np
import pytest

from steer.closed_loop import Advised, MemoryLog, drive_in_memory, drive_whole, measure
from steer.drive import Drive
from steer.drivefile import DriveFile, parse_drive
from steer.feed import serve
from steer.ground import Scenario, Simulation
from steer.ground.folder import drive_toml, write_drive_file
from steer.ground.from_file import drive_dict
from steer.ground.informed import Informed
from steer.ground.presets import DRIVE, preset_scenario
from steer.log import Event


def short(preset: str = "dense sand", seed: int = 4, length_m: float = 25.0) -> tuple[DriveFile, Scenario]:
    drive = copy.deepcopy(DRIVE)
    drive["axis"]["horizontal"][0]["length_m"] = drive["axis"]["vertical"][0]["length_m"] = length_m
    return parse_drive(drive_toml(drive)), preset_scenario(preset, seed, drive)


def test_same_answers_as_the_feed_over_a_folder(tmp_path: Path) -> None:
    file, scenario = short("boulders")
    write_drive_file(scenario.drive, tmp_path / "fed")
    steerer, simulation = Advised(file), Simulation(scenario)
    with Drive.open(tmp_path / "fed", write=True, sync="stroke") as fed:

        def feed(lines: list[dict]) -> list[dict]:
            text = "".join(json.dumps(line) + "\n" for line in lines)
            return list(serve(fed, io.BytesIO(text.encode())))

        news = simulation.start()
        while not simulation.finished:
            for line in news:
                (steerer.shot if line["kind"] == "check_shot" else steerer.reading)(line)
            answers = feed([*news, {"kind": "stroke_end", "chainage_m": round(simulation.chainage_m, 4)}])
            wanted = steerer.stroke_end(simulation.chainage_m)
            assert answers[-1]["correction"]["cylinder_mm"] == pytest.approx(list(wanted), abs=1e-3)
            news = [*simulation.advance(wanted), *simulation.shots()]


def test_the_tool_lies_between_leaving_the_cylinders_and_being_told_the_ground() -> None:
    file, scenario = short("mixed face", length_m=60.0)

    class Idle:
        def reading(self, reading: dict) -> None: ...
        def shot(self, shot: dict) -> None: ...
        def stroke_end(self, chainage_m: float) -> np.ndarray:
            return np.full(4, 20.0)

    idle = drive_whole(file, Simulation(scenario), Idle()).measures.rms_mm
    ours = drive_whole(file, Simulation(scenario), Advised(file)).measures.rms_mm
    told_ground = Simulation(scenario)
    told = drive_whole(file, told_ground, Informed(told_ground)).measures.rms_mm
    assert ours < 0.5 * idle
    assert told < idle
    assert ours < 3.0 * told


def test_driving_stops_after_the_strokes_asked_for() -> None:
    file, scenario = short()
    heard: list[int] = []
    went = drive_whole(file, Simulation(scenario), Advised(file), 5, heard.append)
    assert heard == [1, 2, 3, 4, 5]
    assert went.chainage_m[-1] == pytest.approx(5.0)
    assert went.measures.in_eye is None  # it has not arrived


def test_a_memory_log_gives_events_after_a_sequence_and_refuses_an_older_one() -> None:
    log = MemoryLog()
    log.put(Event(3, "", "note", {"text": "a"}))
    assert log.append("note", {"text": "b"}).sequence == 4
    assert [e.sequence for e in log.events(after=3)] == [4]
    assert log.last_sequence() == 4
    with pytest.raises(ValueError):
        log.put(Event(4, "", "note", {}))


def test_a_drive_in_memory_without_readings_advises_nothing() -> None:
    file, _ = short()
    assert drive_in_memory(file).advice() is None


def test_measures_of_a_sine_against_its_closed_form() -> None:
    """y = a·sin(ks): root mean square a/√2 over whole waves; the joint angle of pipes of length p at a crest
    is |y(s+p) − 2y(s) + y(s−p)|/p = 2a·(1 − cos kp)/p; a/2 is exceeded in two thirds of a wave."""
    file, _ = short()
    a, wave = 40.0, 20.0
    s = np.arange(0.0, 4 * wave + 1e-9, 0.02)
    k = 2 * np.pi / wave
    line = a * np.sin(k * s)
    found = measure(file, s, line, np.zeros_like(s))
    pipe = file.pipe.length_m
    assert found.rms_line_mm == pytest.approx(a / np.sqrt(2.0), rel=1e-4)
    assert found.rms_level_mm == 0.0
    assert found.worst_line_mm == pytest.approx(a, rel=1e-6)
    assert found.joint_mm_per_m == pytest.approx(2 * a * (1 - np.cos(k * pipe)) / pipe, rel=2e-3)
    narrow = parse_drive(drive_toml(DRIVE | {"tolerance": {"line_mm": a / 2, "level_mm": 10.0}}))
    assert measure(narrow, s, line, np.zeros_like(s)).outside_m == pytest.approx(4 * wave * 2 / 3, rel=2e-3)


def test_measures_do_not_weigh_uneven_spacing() -> None:
    file, _ = short()
    s = np.array([0.0, 0.1, 0.2, 0.3, 10.0, 20.0])
    found = measure(file, s, np.where(s < 1.0, 0.0, 10.0), np.zeros(6))
    assert found.rms_line_mm == pytest.approx(10.0 * np.sqrt((10.0 + 9.7 / 2) / 20.0), rel=1e-6)


def test_a_landxml_like_axis_is_cut_into_pieces_that_keep_bearing_and_grade() -> None:
    """What comes in as another form of axis must steer the same: pieces against elements."""
    from steer.ground import from_file
    from steer.ground.course import Course

    drive = copy.deepcopy(DRIVE)
    drive["axis"]["horizontal"] = [
        {"kind": "line", "length_m": 20.0},
        {"kind": "spiral", "length_m": 20.0, "radius_start_m": "inf", "radius_end_m": 400.0, "turn": "left"},
        {"kind": "arc", "length_m": 40.0, "radius_m": 400.0, "turn": "left"},
    ]
    drive["axis"]["vertical"] = [
        {"kind": "grade", "length_m": 30.0, "grade_mm_per_m": 4.0},
        {"kind": "parabola", "length_m": 50.0, "grade_start_mm_per_m": 4.0, "grade_end_mm_per_m": -3.0},
    ]
    file = parse_drive(drive_toml(drive))
    at = np.arange(0.0, 80.0, 0.5)
    whole = Course(drive_dict(file)["axis"], at)
    pieces = Course(from_file._pieces(file), at)
    assert np.abs(pieces.direction - whole.direction).max() < 0.7  # half a metre of the curvature
    assert np.abs(pieces.offset - whole.offset).max() < 0.001 * np.abs(whole.offset).max() + 1.0
