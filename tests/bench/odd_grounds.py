"""The correction on grounds of another structure than the practice ground's, beside the rule of thumb:

    python tests/bench/odd_grounds.py [--drives 3] [--first 10] [--only "two lags"]

Seeds 0 and 1 of the kinds with a dead distance were used to choose the models that wait.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from odd_ground import KINDS, STEP_M, OddDrive

from steer.closed_loop import Advised
from steer.drivefile import parse_drive
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb

AWAY_MM = 3000.0  # no drive any more


def went(name: str, seed: int, who: str) -> tuple[float, float, float, float]:
    """rms and worst offset (mm), largest joint angle (mm/m), mean change of articulation a stroke (mm/m)."""
    drive = OddDrive(KINDS[name], seed)
    steerer = RuleOfThumb(drive.toml) if who == "rule" else Advised(parse_drive(drive_toml(drive.toml)))
    for reading in drive.start():
        steerer.reading(reading)
    changes, was = [], drive.cylinder_mm
    while not drive.finished and np.abs(drive.face[drive.k]).max() < AWAY_MM:
        mm = np.asarray(steerer.stroke_end(drive.chainage_m), float)
        changes.append(float(np.hypot(*(drive.articulation(mm) - drive.articulation(was)))))
        was = mm
        for reading in drive.advance(mm):
            steerer.reading(reading)
        for shot in drive.shots():
            steerer.shot(shot)
    off, pipe = drive.driven(), round(drive.toml["pipe"]["length_m"] / STEP_M)
    kink = (off[2 * pipe :] - 2.0 * off[pipe:-pipe] + off[: -2 * pipe]) / drive.toml["pipe"]["length_m"]
    return (
        float(np.sqrt((off**2).mean())),
        float(np.abs(off).max()),
        float(np.hypot(*kink.T).max(initial=0.0)),
        float(np.mean(changes)),
    )


def one(case: tuple[str, int]) -> tuple[str, int, list[tuple[float, float, float, float]]]:
    return (*case, [went(*case, who) for who in ("rule", "ours")])


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=3)
    parser.add_argument("--first", type=int, default=10)
    parser.add_argument("--only", choices=KINDS)
    args = parser.parse_args()
    names = [args.only] if args.only else list(KINDS)
    cases = [(name, args.first + n) for name in names for n in range(args.drives)]
    print(
        "ground                rms mm (worst) of each drive: rule | ours          joint, change: rule | ours"
    )
    with multiprocessing.Pool(2) as pool:
        found = pool.map(one, cases, chunksize=1)
    for name in names:
        rows = np.array([figures for kind, _, figures in found if kind == name])
        said = [" ".join(f"{r:.0f} ({w:.0f})" for r, w in rows[:, who, :2]) for who in (0, 1)]
        joint, change = rows[..., 2].max(0), rows[..., 3].mean(0)
        print(
            f"{name:20s} {said[0]:28s} | {said[1]:28s} {joint[0]:5.1f} {change[0]:4.1f} | {joint[1]:5.1f} {change[1]:4.1f}"
        )


if __name__ == "__main__":
    main()
