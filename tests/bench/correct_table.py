"""The correction against both yardsticks, by ground, machine, stroke and axis. Run by hand:

    python tests/bench/correct_table.py --drives 36 [--first 1000] [--workers 2]

Root mean square offset after the first 15 m against the rule of thumb and the informed controller (same
ground, same noise), largest joint angle and mean change of articulation per stroke against the informed
one: geometric means of the drives' ratios. Then the drives on which a yardstick is better, with what the
drive has of its own.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from closed_loop import STEERERS, Result, drive

from steer.ground import draw_scenario

NAMES = ("rule", "informed", "ours")
TARGETS = "targets: /rule 0.40, /informed 1.25, joint 1.20, change 1.20"


def one(seed: int) -> tuple[int, dict[str, Result]]:
    scenario = draw_scenario(seed)
    return seed, {name: drive(scenario, STEERERS[name])[0] for name in NAMES}


def facts(seed: int) -> dict[str, Any]:
    scenario = draw_scenario(seed)
    d, g = scenario.drive, scenario.ground
    machine = d["machine"]
    length = machine["front_length_m"] + machine["rear_length_m"]
    stroke = d["drive"]["stroke_m"]
    gains = np.array([s.gain for s in g.stretches])
    crab = np.array([s.crab_mm_per_m for s in g.stretches])
    return {
        "ground": g.kind,
        "axis": "curved" if len(d["axis"]["horizontal"]) > 1 else "straight",
        "machine": "below 4.5 m" if length < 4.5 else "4.5 to 5.5 m" if length < 5.5 else "above 5.5 m",
        "stroke": "to 0.75 m" if stroke < 0.8 else "1 m" if stroke < 1.1 else "from 1.25 m",
        "cylinders": f"{len(machine['cylinders']['positions_deg'])} cylinders",
        "step": f"step {machine['cylinders']['step_mm']:g} mm",
        "said": f"L {length:.1f} m, stroke {stroke:g} m, lag {g.lag_m / length if g.kind == 'lagged' else 0:.1f} L, "
        f"gain {gains.min():.2f} to {gains.max():.2f}, play {max(g.play_mm_per_m):.1f}, "
        f"jump of crab {np.abs(np.diff(crab, axis=0)).max(initial=0.0):.1f} mm/m, "
        f"tendency {g.tendency_sd_mm_per_m2:.2f}, step {machine['cylinders']['step_mm']:g} mm",
    }


def mean(values: list[float]) -> float:
    return float(np.exp(np.mean(np.log(values))))


def row(name: str, of: list[dict[str, Result]]) -> str:
    rms = {n: np.sqrt(np.mean([r[n].rms_mm ** 2 for r in of])) for n in NAMES}

    def ratio(field: str, against: str) -> float:
        return mean([getattr(r["ours"], field) / max(getattr(r[against], field), 1e-9) for r in of])

    broken = sum(sum(r["ours"].broken) for r in of)
    return (
        f"{name:14} {len(of):3d} {rms['rule']:7.2f} {rms['informed']:7.2f} {rms['ours']:7.2f}"
        f"   {ratio('rms_mm', 'rule'):5.2f} {ratio('rms_mm', 'informed'):5.2f}"
        f"   {ratio('joint_mm_per_m', 'informed'):5.2f} {ratio('change_mm_per_m', 'informed'):5.2f} {broken:4d}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=36)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.drives)
    with multiprocessing.Pool(args.workers) as pool:
        results = dict(pool.imap_unordered(one, seeds))
    about = {seed: facts(seed) for seed in seeds}
    print(f"{'':14} {'n':>3} {'rule':>7} {'inform.':>7} {'ours':>7}   /rule /inf.   joint change broken")
    show: list[tuple[str, Callable[[int], str]]] = [
        (key, lambda seed, key=key: about[seed][key])
        for key in ("ground", "axis", "machine", "stroke", "cylinders", "step")
    ]
    for _, group in show:
        for name in sorted({group(seed) for seed in seeds}):
            print(row(name, [results[seed] for seed in seeds if group(seed) == name]))
        print()
    print(row("all", [results[seed] for seed in seeds]))
    print(TARGETS)
    for against, most in (("rule", 0.4), ("informed", 1.25)):
        print(f"\nabove {most} times the {against} yardstick's RMS:")
        worse = [s for s in seeds if results[s]["ours"].rms_mm > most * results[s][against].rms_mm]
        for seed in sorted(worse, key=lambda s: -results[s]["ours"].rms_mm / results[s][against].rms_mm):
            mine, other = results[seed]["ours"], results[seed][against]
            print(
                f"  {seed} {about[seed]['ground']:7} {about[seed]['axis']:8} {mine.rms_mm:5.1f} to "
                f"{other.rms_mm:5.1f} mm (worst {mine.worst_mm:.0f}): {about[seed]['said']}"
            )


if __name__ == "__main__":
    main()
