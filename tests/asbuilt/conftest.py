"""Simulated drives with known truth, made once a session."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from steer.asbuilt import AsBuilt, assemble
from steer.drive import Drive
from steer.ground import Simulation
from steer.ground.folder import write_drive_file
from steer.ground.operator import RuleOfThumb
from steer.ground.presets import DRIVE, preset_scenario
from steer.ground.simulator import Truth
from steer.log import Log


@dataclass(frozen=True)
class Driven:
    """A folder with its log, and what really happened."""

    folder: Path
    truth: Truth
    plan: dict[str, Any]

    def record(self) -> AsBuilt:
        with Drive.open(self.folder) as drive:
            return assemble(drive)


def event(found: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    kind = found.get("kind", "reading")
    return kind, {k: v for k, v in found.items() if k != "kind" and v is not None}


def simulate(folder: Path, ground: str, seed: int, plan: dict[str, Any], until_m: float = 1e9) -> Driven:
    """One drive under the rule of thumb, its readings and shots in the log of a new folder."""
    scenario = preset_scenario(ground, seed, plan)
    write_drive_file(plan, folder)
    simulation, operator = Simulation(scenario), RuleOfThumb(plan)
    events = []
    for reading in simulation.start():
        events.append(event(reading))
        operator.reading(reading)
    while not simulation.finished and simulation.chainage_m < until_m - 1e-6:
        new = simulation.advance(operator.stroke_end(simulation.chainage_m))
        for reading in new:
            events.append(event(reading))
            operator.reading(reading)
        for shot in simulation.shots():
            events.append(event(shot))
            operator.shot(shot)
    with Log.open(folder, write=True, sync="stroke") as log:
        log.append_many(events)
    return Driven(folder, simulation.truth(), plan)


def plan(length_m: float = 60.0, **tables: Any) -> dict[str, Any]:
    """A drive file's dictionary: a straight of so many metres, with packer keys."""
    found = copy.deepcopy(DRIVE)
    found["axis"]["horizontal"] = [{"kind": "line", "length_m": length_m}]
    found["axis"]["vertical"] = [{"kind": "grade", "length_m": length_m, "grade_mm_per_m": 4.0}]
    found["pipe"] |= {
        "packer_thickness_mm": 15.0,
        "packer_modulus_mpa": 100.0,
        "packer_width_mm": 100.0,
        "max_joint_stress_mpa": 18.0,
    }
    return found | tables


@pytest.fixture
def simulated() -> Callable[..., Driven]:
    """Make a drive: folder, ground, seed, length, and the tolerance as keywords."""

    def make(folder: Path, ground: str, seed: int, length_m: float, **tolerance: float) -> Driven:
        return simulate(folder, ground, seed, plan(length_m, tolerance=tolerance))

    return make


@pytest.fixture(scope="session")
def curved(tmp_path_factory: pytest.TempPathFactory) -> Driven:
    """60 m complete: a curve, a tight tolerance with a tighter range, limits, pipe surveys, notes, and a
    name that a spreadsheet would take for a formula."""
    made = plan(
        drive={"name": '=2+3 & "Alder Row" (invented)', "stroke_m": 1.0},
        tolerance={
            "line_mm": 20.0,
            "level_mm": 12.0,
            "eye": {"line_mm": 15.0, "level_mm": 10.0},
            "ranges": [{"from_m": 20.0, "to_m": 30.0, "line_mm": 8.0, "level_mm": 6.0}],
        },
        limits={"main_jack_kn": 1500.0},
        report={"client": "Invented Water", "contract": "A-17"},
    )
    made["axis"]["horizontal"] = [
        {"kind": "line", "length_m": 20.0},
        {"kind": "arc", "length_m": 40.0, "radius_m": 600.0, "turn": "right"},
    ]
    made["reference"]["kind"] = "axis"
    driven = simulate(tmp_path_factory.mktemp("curved") / "drive", "mixed face", 3, made)
    truth = driven.truth
    with Log.open(driven.folder, write=True) as log:
        for s, moved in ((40.0, -4.0), (44.0, -3.0), (10.0, 2.0)):
            line, level = (float(np.interp(s, truth.chainage_m, truth.face_mm[:, k])) for k in (0, 1))
            body = {
                "chainage_m": s,
                "point": "pipe",
                "line_mm": line,
                "level_mm": level + moved,
                "sd_mm": 1.0,
            }
            log.append("check_shot", body)
        log.append("note", {"chainage_m": 31.0, "text": '=HYPERLINK("http://x") soft \x1b[31m spot'})
    return driven


@pytest.fixture(scope="session")
def record(curved: Driven) -> AsBuilt:
    return curved.record()
