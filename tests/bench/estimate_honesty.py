"""Whether the estimate knows how well it knows. Run by hand:

    python tests/bench/estimate_honesty.py [--runs 100] [--drives 60] [--first 7000] [--without roll_deg]

Matched: the truth follows the motion model itself (`tests/support/matched.py`), one model at a time; NEES
and NIS beside their 95 % chi-square bounds, and the error of the whole stack, told nothing, over that of a
filter told the true model and its true answer to steering. Mismatched: three kinds of simulated ground. The strokes
of a drive err together (its reference has one error), so a share is as sure as its scatter from drive to drive says.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from matched import drive_of, straight_drive, told

from steer.closed_loop.memory import MemoryLog
from steer.drivefile import parse_drive
from steer.estimate.estimator import Estimator
from steer.estimate.follow import Follower
from steer.estimate.motion import H, T, Y
from steer.estimate.nodes import CellReport
from steer.estimate.shots import Shot
from steer.estimate.tuning import MODELS
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb

STATES = 12


def matched(runs: int, length_m: float = 60.0) -> None:
    """NEES, NIS and the price of not knowing the model, by model."""
    from scipy.stats import chi2

    print("matched: model, mean NEES (12 states), bounds, mean NIS, bounds, rmse stack / told, inside 95 %")
    for k, model in enumerate(m for m in MODELS if m.delay == 0.0):  # the truth is drawn without a delay
        nees, nis, own, best, inside = [], [], [], [], []
        for run in range(runs):
            rng = np.random.default_rng([run, k])
            drive = straight_drive(run)
            items, truths = drive_of(model, drive, rng, length_m, 30.0)
            single, stack = Estimator(drive, (model,)), Estimator(drive)
            for e in (single, stack, best_of := told(Estimator(drive, (model,)), truths[0])):
                for item in items:
                    e.put(item)
                e.run()
            at = len(items) - 1 - isinstance(items[-1], Shot)
            off = single.nodes[at].x[:2] - truths[at]
            p = single.nodes[at].p[:2]
            nees.append(np.mean([off[i] @ np.linalg.solve(p[i], off[i]) for i in (0, 1)]))
            report = single.nodes[at].report
            assert isinstance(report, CellReport)
            nis.append(np.mean((report.innovation / report.innovation_sd) ** 2))
            for i in range(40, len(items), 8):
                x, cov = stack.nodes[i].blend()
                error = x[:, Y] - truths[i][:, Y]
                own.append(error**2)
                inside.append(np.abs(error) <= 1.96 * np.sqrt(cov[:, Y, Y]))
                best.append((best_of.nodes[i].x[:2, Y] - truths[i][:, Y]) ** 2)
        n = 2 * runs
        bounds = chi2.ppf([0.025, 0.975], STATES * n) / n
        few = chi2.ppf([0.025, 0.975], 4 * runs) / (4 * runs)
        print(
            f"  {k}: {np.mean(nees):6.2f} [{bounds[0]:.2f}, {bounds[1]:.2f}]  {np.mean(nis):5.2f} "
            f"[{few[0]:.2f}, {few[1]:.2f}]  {np.sqrt(np.mean(own) / np.mean(best)):.3f}  {np.mean(inside):.3f}",
            flush=True,
        )


def mismatched(drives: int, first: int, left_out: frozenset[str] = frozenset()) -> None:
    """Share of 95 % intervals that hold the truth, by kind of ground and before and after the first shot.
    `left_out`: fields that no reading has."""
    found: dict[tuple[str, str], list[np.ndarray]] = {}  # of a drive: (strokes, 4) whether each is inside
    error: dict[str, list[np.ndarray]] = {}
    for seed in range(first, first + drives):
        scenario = draw_scenario(seed)
        file = parse_drive(drive_toml(scenario.drive))
        follower, log, simulation = Follower(file), MemoryLog(), Simulation(scenario)
        steerer = RuleOfThumb(scenario.drive)
        surveyed = False

        def add(kind: str, body: dict, log: MemoryLog = log, follower: Follower = follower) -> None:
            follower.take(log.append(kind, {k: v for k, v in body.items() if k != "kind" and v is not None}))

        rows = []
        readings = simulation.start()
        while True:
            for reading in readings:
                steerer.reading(reading)
                add("reading", {k: v for k, v in reading.items() if k not in left_out})
            for shot in simulation.shots():
                steerer.shot(shot)
                add("check_shot", shot)
                surveyed = True
            s = simulation.chainage_m
            add("stroke_end", {"chainage_m": s})
            follower.bring_up()
            node = follower.node()
            x, p = node.blend()
            a = node.articulation
            heading = x[:, T] + x[:, H] * a
            row = np.zeros((2, x.shape[1]))
            row[:, T], row[:, H] = 1.0, a
            rows.append((node.s_m, surveyed, x[:, Y], np.sqrt(p[:, Y, Y]), heading,
                         np.sqrt(np.einsum("pi,pij,pj->p", row, p, row))))  # fmt: skip
            if simulation.finished:
                break
            readings = simulation.advance(steerer.stroke_end(s))
        truth = simulation.truth()
        inside: dict[bool, list[np.ndarray]] = {}
        for s, after, y, y_sd, h, h_sd in rows[1:]:
            i = int(np.argmin(np.abs(truth.chainage_m - s)))
            off, turned = y - truth.face_mm[i], h - truth.heading[i]
            held = np.concatenate([np.abs(off) <= 1.96 * y_sd, np.abs(turned) <= 1.96 * h_sd])
            inside.setdefault(after, []).append(held)
            error.setdefault(scenario.ground.kind, []).append(off)
        for after, rows_held in inside.items():
            for kind in (scenario.ground.kind, "all"):
                found.setdefault((kind, "after" if after else "before"), []).append(np.array(rows_held))
    print("mismatched: ground, when, inside 95 %: line, level, heading line, heading level")
    for (kind, when), of_drives in sorted(found.items()):
        strokes = np.concatenate(of_drives)
        share, counts = strokes.mean(0), np.array([[len(d)] for d in of_drives])
        off = counts * (np.array([d.mean(0) for d in of_drives]) - share)
        sd = np.sqrt((off**2).sum(0)) / len(strokes)
        print(f"  {kind:8} {when} the first shot  {share.round(3)} ± {sd.round(3)}  ({len(strokes)} strokes)")
    for kind, off in sorted(error.items()):
        print(f"  {kind:8} rmse line, level {np.sqrt(np.mean(np.square(off), 0)).round(2)} mm")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--drives", type=int, default=60)
    parser.add_argument("--first", type=int, default=7000, help="seed of the first drive")
    parser.add_argument("--without", nargs="*", default=[], help="fields that no reading has, as roll_deg")
    given = parser.parse_args()
    if given.runs:
        matched(given.runs)
    if given.drives:
        mismatched(given.drives, given.first, frozenset(given.without))
