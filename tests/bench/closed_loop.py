"""Drives many scenarios in closed loop and prints how each steerer did. Run by hand:

    python tests/bench/closed_loop.py --drives 60 --steerers rule informed ours [--kind elastic] [--first 0]

A steerer is any object with `reading(dict)`, `shot(dict)` and `stroke_end(chainage_m) -> cylinder_mm`; after
`stroke_end` it may carry `estimate` = (line_mm, line_sd_mm, level_mm, level_sd_mm) for the coverage column.
New ones go into STEERERS: name -> function of (scenario, simulation). `ours` is the tool's
advice in this process, `feed` is `steer feed` behind real pipes.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from feed import FeedSteerer
from yardsticks import Informed, RuleOfThumb

from steer.closed_loop import Advised
from steer.drivefile.load import parse_drive
from steer.ground import Scenario, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.instruments import articulation_of


class OurSteerer(Advised):
    """The tool's own advice, in this process: the feed's answer without pipes and disk."""

    name = "ours"

    def __init__(self, scenario: Scenario) -> None:
        super().__init__(parse_drive(drive_toml(scenario.drive)))


STEERERS: dict[str, Callable[[Scenario, Simulation], Any]] = {
    "rule": lambda scenario, simulation: RuleOfThumb(scenario.drive),
    "informed": lambda scenario, simulation: Informed(simulation),
    "ours": lambda scenario, simulation: OurSteerer(scenario),
    "feed": lambda scenario, simulation: FeedSteerer(
        scenario, tempfile.mkdtemp(prefix="steer_feed_"), "--sync", "stroke"
    ),
}


@dataclass(frozen=True)
class Result:
    """How one drive went. rms over line and level of the face after the first 15 m, mm; joint angle of the
    bore as driven, both planes together, mm/m; change of articulation per stroke (mean size), mm/m; counts of
    limits broken: articulation, change, cylinder range; inside: share of 95 % intervals that held the face
    (line, level)."""

    kind: str
    seed: int
    rms_mm: float
    worst_mm: float
    joint_mm_per_m: float
    joint_limit_mm_per_m: float
    change_mm_per_m: float
    broken: tuple[int, int, int]
    inside: tuple[float, float]
    seconds: float


def joint_angle(simulation: Simulation, from_m: float = 0.0) -> float:
    """Largest |y(s+L) − 2y(s) + y(s−L)|/L of the bore as driven, both planes together, design curve
    included."""
    truth = simulation.truth()
    design = simulation.course.offset[-len(simulation.course.offset) :]
    first = int(np.argmin(np.abs(simulation.course.along_m)))
    path = truth.face_mm + design[first : first + len(truth.face_mm)]
    pipe = float(simulation.scenario.drive["pipe"]["length_m"])
    k = round(pipe / simulation.step_m)
    at = truth.chainage_m[k:-k] - simulation.start_m
    kink = (path[2 * k :] - 2.0 * path[k:-k] + path[: -2 * k]) / pipe
    return float(np.hypot(kink[:, 0], kink[:, 1])[at >= from_m].max(initial=0.0))


def drive(scenario: Scenario, make: Callable[[Scenario, Simulation], Any]) -> tuple[Result, Simulation]:
    """One whole drive under one steerer."""
    simulation = Simulation(scenario)
    begun = time.perf_counter()
    steerer = make(scenario, simulation)
    for reading in simulation.start():
        steerer.reading(reading)
    machine, cylinders = simulation.machine, simulation.machine["cylinders"]
    last = np.asarray(simulation.cylinder_mm, float)
    changes: list[float] = []
    broken = [0, 0, 0]
    errors: list[tuple[float, ...]] = []
    while not simulation.finished:
        wanted = np.asarray(steerer.stroke_end(simulation.chainage_m), float)
        _note_error(steerer, simulation, errors)
        new = articulation_of(machine, wanted, simulation.roll_deg)
        change = new - articulation_of(machine, last, simulation.roll_deg)
        changes.append(float(np.hypot(*change)))
        broken[0] += int(np.hypot(*new) > machine["max_articulation_mm_per_m"] + 0.05)
        broken[1] += int(np.abs(change).max() > machine["max_change_mm_per_m"] + 0.05)
        low, high = cylinders["range_mm"]
        broken[2] += int(wanted.min() < low - 1e-9 or wanted.max() > high + 1e-9)
        last = wanted
        for reading in simulation.advance(wanted):
            steerer.reading(reading)
        for shot in simulation.shots():
            steerer.shot(shot)
    if hasattr(steerer, "close"):
        steerer.close()
    truth = simulation.truth()
    after = truth.chainage_m - simulation.start_m >= 15.0
    off = truth.face_mm[after]
    inside = (float("nan"), float("nan"))
    if errors:
        table = np.array(errors)
        inside = (
            float(np.mean(table[:, 0] <= 1.96 * table[:, 1])),
            float(np.mean(table[:, 2] <= 1.96 * table[:, 3])),
        )
    result = Result(
        kind=scenario.ground.kind,
        seed=scenario.seed,
        rms_mm=float(np.sqrt(np.mean(off**2))),
        worst_mm=float(np.abs(off).max()),
        joint_mm_per_m=joint_angle(simulation),
        joint_limit_mm_per_m=float(scenario.drive["pipe"]["max_joint_angle_mm_per_m"]),
        change_mm_per_m=float(np.mean(changes)),
        broken=(broken[0], broken[1], broken[2]),
        inside=inside,
        seconds=time.perf_counter() - begun,
    )
    return result, simulation


def _note_error(steerer: Any, simulation: Simulation, errors: list[tuple[float, ...]]) -> None:
    estimate = getattr(steerer, "estimate", None)
    if estimate is None or simulation.chainage_m - simulation.start_m < 2.0:
        return
    line, line_sd, level, level_sd = estimate
    face = simulation.truth().face_mm[-1]
    errors.append((abs(line - face[0]), line_sd, abs(level - face[1]), level_sd))


def table(results: dict[str, list[Result]], kinds: list[str]) -> str:
    """The figures as text: a block a kind of ground, a line a steerer, then our ratios to the others."""
    lines = []
    head = f"{'':10} {'rms mm':>19} {'worst':>6} {'joint':>7} {'over':>5} {'change':>7} {'broken':>9}"
    head += f" {'95 % line level':>16} {'s':>6}"
    driven = {result.kind for all_of in results.values() for result in all_of}
    for kind in [*(k for k in kinds if k in driven), "all"]:
        lines.append(f"{kind}")
        lines.append(head)
        for name, all_of in results.items():
            of = [r for r in all_of if kind in ("all", r.kind)]
            if not of:
                continue
            rms = np.array([r.rms_mm for r in of])
            covered = np.array([r.inside for r in of])
            share = " ".join(f"{100 * v:7.1f}" for v in covered.mean(axis=0))
            lines.append(
                f"{name:10} {np.sqrt(np.mean(rms**2)):7.2f} (med {np.median(rms):5.2f})"
                f" {max(r.worst_mm for r in of):6.1f} {np.mean([r.joint_mm_per_m for r in of]):7.2f}"
                f" {sum(r.joint_mm_per_m > r.joint_limit_mm_per_m for r in of):5d}"
                f" {np.mean([r.change_mm_per_m for r in of]):7.2f}"
                f" {'/'.join(str(sum(r.broken[k] for r in of)) for k in range(3)):>9} {share:>16}"
                f" {np.mean([r.seconds for r in of]):6.2f}"
            )
        for a, b in (("ours", "rule"), ("ours", "informed"), ("feed", "informed"), ("informed", "rule")):
            if a in results and b in results:
                pairs = [
                    (x, y) for x, y in zip(results[a], results[b], strict=True) if kind in ("all", x.kind)
                ]
                if pairs:
                    lines.append(f"  {a}/{b}: {_ratios(pairs)}")
        lines.append("")
    return "\n".join(lines)


def _ratios(pairs: list[tuple[Result, Result]]) -> str:
    out = []
    for name in ("rms_mm", "joint_mm_per_m", "change_mm_per_m"):
        first = np.array([getattr(a, name) for a, _ in pairs])
        second = np.array([getattr(b, name) for _, b in pairs])
        each = first / np.maximum(second, 1e-9)
        pooled = np.sqrt(np.mean(first**2) / np.mean(second**2))
        out.append(
            f"{name.split('_')[0]} {pooled:.2f} (median {np.median(each):.2f}, worst {each.max():.2f})"
        )
    return ", ".join(out)


def run(
    drives: int, steerers: list[str], kind: str | None, first: int, curved: bool | None = None
) -> dict[str, list[Result]]:
    results: dict[str, list[Result]] = {name: [] for name in steerers}
    for seed in range(first, first + drives):
        scenario = draw_scenario(seed, kind=kind, curved=curved)
        for name in steerers:
            results[name].append(drive(scenario, STEERERS[name])[0])
    return results


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=30)
    parser.add_argument("--first", type=int, default=1000, help="seed of the first drive")
    parser.add_argument("--kind", choices=["elastic", "guided", "lagged"])
    parser.add_argument("--curved", choices=["yes", "no"])
    parser.add_argument("--each", action="store_true", help="a line a drive as well")
    parser.add_argument("--steerers", nargs="+", default=["rule", "informed"], choices=list(STEERERS))
    args = parser.parse_args()
    curved = None if args.curved is None else args.curved == "yes"
    results = run(args.drives, args.steerers, args.kind, args.first, curved)
    if args.each:
        for i in range(args.drives):
            row = " ".join(f"{name} {results[name][i].rms_mm:6.2f} mm" for name in args.steerers)
            print(f"{results[args.steerers[0]][i].kind:8} {args.first + i:5d} {row}")
    print(table(results, [args.kind] if args.kind else ["elastic", "guided", "lagged"]))


if __name__ == "__main__":
    main()
