"""As-built records of simulated drives against their truth. Run by hand, figures printed:

    python tests/bench/asbuilt_truth.py [--drives 50] [--first 0]

Drives are drawn at random (steer.ground.draw), steered by the rule of thumb, and judged against a
tolerance near what they reach, so that the verdict is not easy.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from pathlib import Path

import numpy as np

from steer.asbuilt import AsBuilt, assemble
from steer.asbuilt.conformance import Verdict
from steer.drive import Drive
from steer.estimate.possible import possible_paths
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import write_drive_file
from steer.ground.operator import RuleOfThumb
from steer.ground.simulator import Truth
from steer.log import Log
from steer.pipes import joint_angles

SHARP = 6.0  # mm/m


def driven(seed: int, folder: Path) -> tuple[AsBuilt, Truth]:
    """One drive: its record and its truth."""
    scenario = draw_scenario(seed)
    plan = scenario.drive
    plan["tolerance"] = {"line_mm": 25.0, "level_mm": 15.0}
    write_drive_file(plan, folder)
    simulation, operator = Simulation(scenario), RuleOfThumb(plan)
    events = [("reading", reading) for reading in simulation.start()]
    while not simulation.finished:
        new = simulation.advance(operator.stroke_end(simulation.chainage_m))
        events += [("reading", reading) for reading in new]
        for reading in new:
            operator.reading(reading)
        for shot in simulation.shots():
            events.append(("check_shot", shot))
            operator.shot(shot)
    with Log.open(folder, write=True, sync="stroke") as log:
        log.append_many(
            (kind, {k: v for k, v in body.items() if k != "kind" and v is not None}) for kind, body in events
        )
    with Drive.open(folder) as drive:
        return assemble(drive), simulation.truth()


def main() -> None:
    """Drive, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drives", type=int, default=50)
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    rows, angles, worst, covered, seconds = [], [], [], [], 0.0
    below, capped, moved, chance, sharpest = [], [], [], [], []
    for seed in range(args.first, args.first + args.drives):
        folder = Path(tempfile.mkdtemp(prefix="steer_asbuilt_")) / "drive"
        begun = time.perf_counter()
        record, truth = driven(seed, folder)
        seconds += time.perf_counter() - begun
        m = record.metres
        at = m.lie.chainage_m
        true = np.column_stack([np.interp(at, truth.chainage_m, truth.face_mm[:, k]) for k in (0, 1)])
        beyond = np.abs(true) > m.tolerance_mm
        inside, outside = m.verdict == Verdict.INSIDE, m.verdict == Verdict.OUTSIDE
        rows.append(
            [inside.sum(), (inside & beyond).sum(), outside.sum(), (outside & ~beyond).sum(), m.verdict.size,
             (m.naive_outside != beyond).sum()]
        )  # fmt: skip
        covered.append(np.mean(np.abs(m.lie.offset_mm - true) <= 1.96 * m.lie.sd_mm))
        chance.append(expected_coverage(folder, m.lie.chainage_m))
        shutil.rmtree(folder.parent)
        joints = record.joints.along
        pipe = record.file.pipe
        really = joint_angles(
            record.file.axis, truth.chainage_m, truth.face_mm[:, 0], truth.face_mm[:, 1], pipe.length_m,
            pipe.outer_diameter_mm, joints.chainage_m,
        )  # fmt: skip
        both = np.isfinite(joints.angle_mm_per_m) & np.isfinite(really.angle_mm_per_m)
        angles.append(np.sqrt(np.mean((joints.angle_mm_per_m[both] - really.angle_mm_per_m[both]) ** 2)))
        top = really.angle_mm_per_m[both].max()
        sharpest.append(top)
        worst.append(joints.angle_mm_per_m[both].max() / top)
        below.append(record.joints.so_far_high_mm_per_m[-1] / top)
        capped.append(np.mean(really.angle_mm_per_m[both] <= record.joints.high_mm_per_m[both]))
        moved.append(len(record.joints.jumps))
    total = np.sum(rows, axis=0)
    told, passed, failed = total[4], total[0], total[2]

    def per_cent(part: float, whole: float) -> str:
        return f"{part} ({100.0 * part / max(whole, 1):.2f} %)"

    print(f"{args.drives} drives, {told} verdicts (line and level), {seconds / args.drives:.2f} s a drive")
    print(f"inside: {passed}, of them truly outside {per_cent(total[1], passed)}")
    print(f"outside: {failed}, of them truly inside {per_cent(total[3], failed)}")
    print(f"cannot tell: {per_cent(told - passed - failed, told)}")
    print(f"verdicts that ignore uncertainty: wrong at {per_cent(total[5], told)}")
    share = 100 * np.array(covered)
    print(f"95 % band held the truth at {share.mean():.1f} % (worst drive {share.min():.1f} %)")
    rehearsed = np.sort(100 * np.array(chance), axis=0)  # drives by draws: each draw taken for the truth
    at = [np.quantile(rehearsed[0], q) for q in (0.05, 0.5, 0.95)]
    print(
        f"  were it exact, the worst of {args.drives} would hold {at[1]:.1f} % ({at[0]:.1f} to {at[2]:.1f})"
    )
    low, middle, high = np.quantile(worst, [0.05, 0.5, 0.95])
    print(
        f"joint angle: RMS error {np.mean(angles):.2f} mm/m; below its upper limit {100 * np.mean(capped):.1f} %"
    )
    print(f"largest angle found over largest true: 5 % {low:.2f}, median {middle:.2f}, 95 % {high:.2f}")
    sharp = np.array(worst)[np.array(sharpest) >= SHARP]
    if sharp.size:
        print(
            f"  on the {sharp.size} drives with a joint of {SHARP:g} mm/m or more: least {sharp.min():.2f}, "
            f"median {np.median(sharp):.2f}"
        )
    held = np.array(below)
    print(
        f"upper limit of the largest held the true one in {(held >= 1.0).sum()} of {args.drives} drives; over it "
        f"median {np.median(held):.2f}, least {held.min():.2f}; sudden turns found {sum(moved)}"
    )
    print(
        f"seeds to look at: least covered {args.first + int(share.argmin())}, "
        f"least of its largest angle found {args.first + int(np.argmin(worst))}"
    )


def expected_coverage(folder: Path, at_m: np.ndarray, count: int = 100) -> np.ndarray:
    """Share of metres (count,) that the 95 % band would hold if the truth were one of the drawn paths."""
    with Drive.open(folder) as drive:
        path = drive.smoothed()
        found = possible_paths(drive.follower.estimator, count)
    held = []
    for draw in found.draws_mm:
        off = [np.interp(at_m, found.chainage_m, draw[:, k]) for k in (0, 1)]
        sd = [np.interp(at_m, path.chainage_m, v) for v in (path.line_sd_mm, path.level_sd_mm)]
        held.append(np.mean([np.abs(o) <= 1.96 * s for o, s in zip(off, sd, strict=True)]))
    return np.array(held)


if __name__ == "__main__":
    main()
