"""What knowing the ground would be worth to the correction where it answers late. Run by hand:

    python tests/bench/correct_told.py [--drives 10] [--first 1000] [--firm 1 0.7]

Lagged ground only, since there the estimator's own model can be told all of it: lag, gains, share, and how crab and
tendency wander. Beside the tool as it is stands the same tool with that one model, which still has to find the machine
from its readings. `--firm` multiplies the distances of return. Ratios to the informed controller, which is told
where the machine is as well: geometric means over the drives.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from closed_loop import STEERERS, Result, drive

from steer.correct import advise
from steer.drivefile import DriveFile
from steer.estimate.estimator import Estimator
from steer.estimate.motion import D, G, H
from steer.estimate.tuning import Answer
from steer.ground import Ground, Scenario, draw_scenario

JUMP_CRAB, JUMP_TENDENCY, JUMP_M = 0.6, 0.25, 47.5  # of the drawn lagged ground: sds, and mean distance apart
GAIN_SD = 0.12  # of a stretch's gain about the drive's mean, as a share


@dataclass(frozen=True)
class Told:
    """Makes an estimator that knows how `ground` answers."""

    ground: Ground

    def __call__(self, file: DriveFile) -> Estimator:
        g, length = self.ground, file.machine.front_length_m + file.machine.rear_length_m
        crab = np.sqrt(2.0 * (g.crab_sd_mm_per_m**2 / g.crab_length_m + JUMP_CRAB**2 / JUMP_M))
        bend = np.sqrt(2.0 * (g.tendency_sd_mm_per_m2**2 / g.tendency_length_m + JUMP_TENDENCY**2 / JUMP_M))
        made = Estimator(file, (Answer(g.lag_m / length, 0.0, 0.0, 0.02, float(crab), float(bend)),))
        gain = np.mean([stretch.gain for stretch in g.stretches], axis=0) * 2.0 / length
        x, p = made.start.x.copy(), made.start.p.copy()
        x[:, G], x[:, H], x[:, D] = gain[made.stack.plane], g.share, 0.0
        for state, sd in ((G, GAIN_SD * gain.mean()), (H, 0.02), (D, 0.005)):
            p[:, state, :], p[:, :, state] = 0.0, 0.0
            p[:, state, state] = sd * sd
        made.start = replace(made.start, x=x, p=p, x_before=x, p_before=p)
        return made


def ours(scenario: Scenario, firm: float, told: bool) -> Result:
    """The tool on a drive, its distances of return times `firm`."""
    lengths, strokes, lag = advise.RETURN_LENGTHS, advise.RETURN_STROKES, advise.PER_LAG
    knows = Told(scenario.ground) if told else Estimator
    with (
        patch("steer.estimate.follow.Estimator", knows),
        patch.multiple(
            advise, RETURN_LENGTHS=firm * lengths, RETURN_STROKES=firm * strokes, PER_LAG=firm * lag
        ),
    ):
        return drive(scenario, STEERERS["ours"])[0]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--drives", type=int, default=10)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--firm", type=float, nargs="+", default=[1.0, 0.7])
    given = parser.parse_args()
    drawn = [draw_scenario(seed, kind="lagged") for seed in range(given.first, given.first + given.drives)]
    yard = [drive(scenario, STEERERS["informed"])[0] for scenario in drawn]
    print(f"{'':32} RMS/informed  joint  change")
    for firm in given.firm:
        for told in (False, True):
            found = [ours(scenario, firm, told) for scenario in drawn]
            ratios = [
                [mine.rms_mm / best.rms_mm, mine.joint_mm_per_m / best.joint_mm_per_m,
                 mine.change_mm_per_m / best.change_mm_per_m]
                for mine, best in zip(found, yard, strict=True)
            ]  # fmt: skip
            rms, joint, change = np.exp(np.log(ratios).mean(axis=0))
            name = f"{'told the ground' if told else 'as it is'}, distances x {firm:g}"
            print(f"{name:32} {rms:12.2f} {joint:6.2f} {change:7.2f}", flush=True)


if __name__ == "__main__":
    main()
