"""Drives for the tests of check shots: invented, on simulated ground, short."""

from __future__ import annotations

import copy
import json
import shutil
from itertools import takewhile
from pathlib import Path
from typing import Any

import pytest

from steer.cli.demo import make
from steer.drive import Drive
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb
from steer.ground.presets import DRIVE
from steer.ground.scenario import CheckShots, Ground, Guidance, Scenario, Stretch
from steer.ground.simulator import Simulation
from steer.log import Log


def scenario(length_m: float = 45.0, **changes: Any) -> Scenario:
    """A straight, quiet drive whose target sits 350 mm high and whose machine rolls."""
    drive = copy.deepcopy(DRIVE)
    drive["axis"]["horizontal"] = [{"kind": "line", "length_m": length_m}]
    drive["axis"]["vertical"] = [{"kind": "grade", "length_m": length_m, "grade_mm_per_m": 4.0}]
    drive["target"] = {"behind_face_m": 1.6, "right_mm": 0.0, "up_mm": 350.0}
    drive["reference"]["up_mm"] = 350.0
    ground = Ground("elastic", (Stretch(0.0, (0.9, 0.9), (0.3, -0.4)),), roll_sd_deg=1.5, roll_length_m=10.0)
    return Scenario(3, drive, ground, Guidance(), CheckShots(0.0, 2.0, "face"), **changes)


def driven(case: Scenario, to_m: float) -> tuple[Simulation, list[dict[str, Any]]]:
    """The simulation after the drive, and its readings."""
    simulation, operator = Simulation(case), RuleOfThumb(case.drive)
    readings = simulation.start()
    while simulation.chainage_m < to_m - 1e-6:
        new = simulation.advance(operator.stroke_end(simulation.chainage_m))
        readings += new
        for reading in new:
            operator.reading(reading)
    return simulation, readings


class Made:
    """A drive to make folders of: `truth` of the machine, `readings` to put in."""

    def __init__(self, case: Scenario, to_m: float) -> None:
        self.case = case
        self.simulation, self.readings = driven(case, to_m)
        self.truth = self.simulation.truth()
        self.toml = drive_toml(case.drive)

    def folder(self, at: Path) -> Path:
        """A drive folder without a log."""
        at.mkdir(parents=True)
        (at / "drive.toml").write_text(self.toml, encoding="utf-8")
        return at

    def open(self, at: Path, events: list[tuple[str, dict[str, Any]]]) -> Drive:
        """A drive folder with these events, opened for writing."""
        drive = Drive.open(self.folder(at), write=True)
        drive.log.append_many(events)
        drive.refresh()
        return drive

    def as_events(self, upto: int | None = None) -> list[tuple[str, dict[str, Any]]]:
        """The readings as events."""
        bodies = json.loads(json.dumps(self.readings[:upto]))
        return [("reading", {k: v for k, v in body.items() if k != "kind"}) for body in bodies]

    def face(self, chainage_m: float) -> tuple[float, float]:
        """Where the face truly was."""
        k = int(abs(self.truth.chainage_m - chainage_m).argmin())
        return float(self.truth.face_mm[k, 0]), float(self.truth.face_mm[k, 1])

    def shot(self, chainage_m: float, off: tuple[float, float] = (0.0, 0.0), **more: Any) -> dict[str, Any]:
        """A shot of the face at a chainage, wrong by `off` mm."""
        line, level = self.face(chainage_m)
        return {
            "chainage_m": chainage_m, "point": "face", "line_mm": line + off[0], "level_mm": level + off[1],
            "sd_mm": 2.0, **more,
        }  # fmt: skip


@pytest.fixture(scope="session")
def made() -> Made:
    return Made(scenario(), 30.0)


@pytest.fixture(scope="session")
def made_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sample") / "demo"
    make(folder)
    return folder


def cut(whole: Path, at: Path, to_m: float) -> Path:
    """The beginning of a drive: a folder with the events of another one's log until the face has come to `to_m`."""
    at.mkdir()
    shutil.copyfile(whole / "drive.toml", at / "drive.toml")
    with Log.open(whole) as log:
        events = [(e.kind, e.body) for e in log.events()]
    begun = takewhile(lambda e: e[0] != "reading" or e[1]["chainage_m"] <= to_m, events)
    with Log.open(at, write=True) as log:
        log.append_many(begun)
    return at


@pytest.fixture(scope="session")
def made_early(made_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return cut(made_demo, tmp_path_factory.mktemp("early") / "demo", 32.0)


@pytest.fixture(scope="session")
def made_halfway(made_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return cut(made_demo, tmp_path_factory.mktemp("halfway") / "demo", 62.0)


@pytest.fixture
def whole_demo(made_demo: Path, tmp_path: Path) -> Path:
    """The sample drive, copied: to make it takes seconds."""
    return Path(shutil.copytree(made_demo, tmp_path / "demo"))


@pytest.fixture
def early_demo(made_early: Path, tmp_path: Path) -> Path:
    """The sample drive's first 32 m with one check shot, at 30.6 m: every command works it out anew."""
    return Path(shutil.copytree(made_early, tmp_path / "demo"))


@pytest.fixture
def halfway_demo(made_halfway: Path, tmp_path: Path) -> Path:
    """The sample drive's first 62 m with two check shots, the second at 60.3 m."""
    return Path(shutil.copytree(made_halfway, tmp_path / "demo"))
