"""Makes the sample drive of `sample_surveys/`: an invented 150 m drive, two thirds driven. Run by hand:

    python -m steer.ground.sample [FOLDER]

Everything in it is invented. The machine is steered by the settings in settings.csv, so that what is made
depends on the ground of this package and on nothing else; `steer.closed_loop.sample_crew` decides on them.
"""

from __future__ import annotations

import copy
import csv
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from steer.ground.folder import INVENTED, write_drive_file
from steer.ground.presets import DRIVE
from steer.ground.scenario import CheckShots, Ground, Guidance, Scenario, Stretch
from steer.ground.simulator import Simulation

PLACE = "quillbeck_lane"
LENGTH_M, DRIVEN_M = 150.0, 99.9
COLUMNS = (
    "time", "chainage_m", "spot_right_mm", "spot_up_mm", "yaw_mm_per_m", "pitch_mm_per_m", "roll_deg",
    "cylinder_1_mm", "cylinder_2_mm", "cylinder_3_mm", "cylinder_4_mm",
    "jacking_force_kn", "face_pressure_kpa", "torque_knm", "advance_mm_per_min", "lubricant_l", "note",
)  # fmt: skip
SETTING_COLUMNS = ("time", "chainage_m", *COLUMNS[7:11])
SHOT_COLUMNS = ("time", "chainage_m", "point", "line_mm", "level_mm", "sd_mm")


def sample_scenario() -> Scenario:
    """Clay for 60 m, then sand, and gravel that throws the machine just before the end of what is driven; beam
    lost once, a few wild readings."""
    drive = copy.deepcopy(DRIVE)
    drive["drive"] = {"name": "Quillbeck Lane, shaft 2 to shaft 3 (invented)", "stroke_m": 0.9}
    drive["axis"]["horizontal"] = [{"kind": "line", "length_m": LENGTH_M}]
    drive["axis"]["vertical"] = [{"kind": "grade", "length_m": LENGTH_M, "grade_mm_per_m": 5.0}]
    drive["pipe"] |= {
        "length_m": 1.8,
        "packer_thickness_mm": 15.0,
        "packer_modulus_mpa": 100.0,
        "packer_width_mm": 100.0,
        "max_joint_stress_mpa": 18.0,
    }
    drive["limits"] = {"main_jack_kn": 4000.0, "thrust_wall_kn": 2400.0}
    drive["report"] = {
        "client": "Invented Water",
        "contractor": "Invented Tunnels",
        "contract": "INV-2031-07",
    }
    ground = Ground(
        kind="elastic",
        stretches=(
            Stretch(0.0, (0.9, 0.85), (0.5, -1.2), friction_kpa=2.5, face_pressure_kpa=70.0, name="clay"),
            Stretch(61.0, (1.0, 0.95), (-0.9, -0.3), friction_kpa=4.0, face_pressure_kpa=110.0, name="sand"),
            Stretch(96.3, (0.9, 0.9), (2.2, 1.2), friction_kpa=4.5, face_pressure_kpa=120.0, name="gravel"),
        ),
        play_mm_per_m=(0.8, 0.8),
        crab_sd_mm_per_m=0.5,
        crab_length_m=18.0,
        gap_mm=(1.0, 1.5),
        background=0.3,
        side_cut=2.0,
    )
    guidance = Guidance(
        reference_walk_mm_per_m=0.02,
        refraction_k_per_m=(0.0, 0.3),
        dropout_share=0.01,
        beam_lost=((41.0, 43.5),),
        wild_share=0.002,
    )
    return Scenario(7, drive, ground, guidance, CheckShots(30.0, 2.0, "face"), name="sample")


@dataclass(frozen=True)
class Setting:
    """What the crew set for the stroke that begins there: cylinder extensions (N,) mm; None where nothing
    has been decided yet."""

    time: str
    chainage_m: float
    cylinder_mm: np.ndarray | None


def read_settings(path: Path) -> list[Setting]:
    """The rows of a settings.csv, oldest first; the last one, without extensions, is where the drive stands."""
    with open(path, newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    return [
        Setting(time, float(chainage), np.array(extensions, float) if extensions[0] else None)
        for time, chainage, *extensions in rows
    ]


def write_settings(path: Path, settings: list[Setting]) -> None:
    """Writes settings.csv, replacing it."""
    empty = [""] * (len(SETTING_COLUMNS) - 2)
    _write(
        path, SETTING_COLUMNS,
        [[s.time, s.chainage_m, *(empty if s.cylinder_mm is None else s.cylinder_mm)] for s in settings],
    )  # fmt: skip


def drive_sample(
    scenario: Scenario, settings: list[Setting]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Readings and check shots of a drive with these settings, a stroke each."""
    simulation = Simulation(scenario)
    readings, shots = simulation.start(), []
    for setting in settings:
        if setting.cylinder_mm is not None:
            readings += simulation.advance(setting.cylinder_mm)
            shots += simulation.shots()
    return readings, shots


def write_sample(folder: Path, settings: list[Setting]) -> None:
    """Writes drive.toml, readings.csv, shots.csv and settings.csv into a folder, replacing the files that
    this script made."""
    scenario = sample_scenario()
    readings, shots = drive_sample(scenario, settings)
    (folder / "drive.toml").unlink(missing_ok=True)
    write_drive_file(scenario.drive, folder, INVENTED)
    readings[0] |= {"note": "invented data"}
    _write(folder / "readings.csv", COLUMNS, [reading_row(reading) for reading in readings])
    _write(folder / "shots.csv", SHOT_COLUMNS, [[shot[name] for name in SHOT_COLUMNS] for shot in shots])
    write_settings(folder / "settings.csv", settings)


def reading_row(reading: dict[str, Any]) -> list[Any]:
    """A reading under COLUMNS; what was not read stays empty."""
    cylinders = {f"cylinder_{i + 1}_mm": value for i, value in enumerate(reading["cylinder_mm"])}
    row = {**reading, **cylinders}
    return ["" if row.get(name) is None else row[name] for name in COLUMNS]


def _write(path: Path, columns: tuple[str, ...], rows: list[list[Any]]) -> None:
    with open(path, "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(columns)
        table.writerows(rows)


HERE = Path(__file__).resolve().parents[2] / "sample_surveys" / PLACE

if __name__ == "__main__":
    write_sample(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE, read_settings(HERE / "settings.csv"))
