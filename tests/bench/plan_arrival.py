"""Where simulated drives come out, against the standard deviation that their survey plan foretold. By hand:

    python tests/bench/plan_arrival.py --drives 40

Each drive is steered by the tool's own advice; its check shots are those of the scenario. Prints the arrival's
rms over the foretold sd (1: honest; below: the plan promises too little) and the share inside 1.96 sd.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from closed_loop import STEERERS, drive

from steer.drivefile import parse_drive
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml
from steer.survey_plan.course import Rehearsal, Survey


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=40)
    parser.add_argument("--first", type=int, default=3000, help="seed of the first drive")
    args = parser.parse_args()
    off, sds = [], []
    for seed in range(args.first, args.first + args.drives):
        scenario = draw_scenario(seed)
        _, simulation = drive(scenario, STEERERS["ours"])
        off.append(simulation.truth().face_mm[-1])
        file = parse_drive(drive_toml(scenario.drive))
        every, sd = scenario.shots.every_m, scenario.shots.sd_mm
        at = np.arange(scenario.start_m + every, file.axis.end_chainage_m, every) if every > 0 else []
        sds.append(Rehearsal(file, [Survey(float(s), sd, sd) for s in at]).arrival_sd_mm)
        print(seed, scenario.ground.kind, np.round(off[-1], 1), np.round(sds[-1], 1), flush=True)
    ratio = np.array(off) / np.array(sds)
    for plane, name in enumerate(("line", "level")):
        each = ratio[:, plane]
        print(f"{name}: arrival over foretold sd, rms {np.sqrt(np.mean(each**2)):.2f}, mean {each.mean():+.2f}, "
              f"inside 1.96 sd {100 * np.mean(np.abs(each) <= 1.96):.0f} % of {len(each)}")  # fmt: skip


if __name__ == "__main__":
    main()
