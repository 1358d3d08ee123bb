"""Makes the sample drive of `sample_surveys/`: an invented 150 m drive, two thirds driven. Run by hand:

    python -m steer.ground.sample [FOLDER]

Everything in it is invented; the machine is steered by the rule of thumb on the ground of this package.
"""

from __future__ import annotations

import copy
import csv
import sys
from pathlib import Path
from typing import Any

from steer.ground.folder import INVENTED, write_drive_file
from steer.ground.operator import RuleOfThumb
from steer.ground.presets import DRIVE
from steer.ground.scenario import CheckShots, Ground, Guidance, Scenario, Stretch
from steer.ground.simulator import Simulation

PLACE = "quillbeck_lane"
LENGTH_M, DRIVEN_M = 150.0, 99.9
COLUMNS = (
    "time", "chainage_m", "spot_right_mm", "spot_up_mm", "yaw_mm_per_m", "pitch_mm_per_m", "roll_deg",
    "cylinder_1_mm", "cylinder_2_mm", "cylinder_3_mm", "cylinder_4_mm",
    "jacking_force_kn", "face_pressure_kpa", "advance_mm_per_min", "lubricant_l", "note",
)  # fmt: skip
SHOT_COLUMNS = ("time", "chainage_m", "point", "line_mm", "level_mm", "sd_mm")


def sample_scenario() -> Scenario:
    """Clay for 60 m, then sand and gravel; beam lost once, a few wild readings."""
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


def drive_sample(scenario: Scenario, to_m: float) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Readings and check shots up to a chainage, steered by the rule of thumb."""
    simulation, operator = Simulation(scenario), RuleOfThumb(scenario.drive)
    readings, shots = simulation.start(), []
    for reading in readings:
        operator.reading(reading)
    while simulation.chainage_m < to_m - 1e-6:
        new = simulation.advance(operator.stroke_end(simulation.chainage_m))
        readings += new
        for reading in new:
            operator.reading(reading)
        for shot in simulation.shots():
            shots.append(shot)
            operator.shot(shot)
    return readings, shots


def write_sample(folder: Path) -> None:
    """Writes drive.toml, readings.csv and shots.csv into a folder, replacing the files that this script
    made."""
    scenario = sample_scenario()
    readings, shots = drive_sample(scenario, DRIVEN_M)
    (folder / "drive.toml").unlink(missing_ok=True)
    write_drive_file(scenario.drive, folder, INVENTED)
    with open(folder / "readings.csv", "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(COLUMNS)
        for number, reading in enumerate(readings):
            cylinders = {f"cylinder_{i + 1}_mm": value for i, value in enumerate(reading["cylinder_mm"])}
            row = {**reading, **cylinders, "note": "invented data" if number == 0 else None}
            table.writerow(["" if row.get(name) is None else row[name] for name in COLUMNS])
    with open(folder / "shots.csv", "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(SHOT_COLUMNS)
        table.writerows([shot[name] for name in SHOT_COLUMNS] for shot in shots)


if __name__ == "__main__":
    here = Path(__file__).resolve().parents[2] / "sample_surveys" / PLACE
    write_sample(Path(sys.argv[1]) if len(sys.argv) > 1 else here)
