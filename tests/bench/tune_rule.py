"""Searches the rule-of-thumb steerer's five figures on drives of their own seeds, so that the yardstick is a
good one.

    nice python tests/bench/tune_rule.py [--tries 60] [--drives 18]

Random search, then the printed best is written into `RuleOfThumb` by hand. The measure is the mean logarithm
of the drives' RMS offsets, so that no single kind of ground rules.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from closed_loop import drive
from yardsticks import RuleOfThumb

from steer.ground import draw_scenario

FIRST_SEED = 50_000


def measure(figures: dict[str, Any], drives: int) -> tuple[float, list[float]]:
    logs: dict[str, list[float]] = {}
    for seed in range(FIRST_SEED, FIRST_SEED + drives):
        scenario = draw_scenario(seed)
        result, _ = drive(scenario, lambda s, _: RuleOfThumb(s.drive, **figures))
        logs.setdefault(result.kind, []).append(float(np.log(result.rms_mm)))
    kinds = [float(np.exp(np.mean(v))) for v in logs.values()]
    return float(np.exp(np.mean(np.log(kinds)))), kinds


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--tries", type=int, default=60)
    parser.add_argument("--drives", type=int, default=18)
    args = parser.parse_args()
    rng = np.random.default_rng(5)
    best, best_figures = np.inf, {}  # type: tuple[float, dict[str, float]]
    for number in range(args.tries):
        if number < args.tries // 3 or not best_figures:
            figures = {
                "back_lengths": rng.uniform(2.5, 7.0),
                "most_mm_per_m": rng.uniform(3.0, 10.0),
                "quick": rng.uniform(0.8, 3.0),
                "slow": float(np.exp(rng.uniform(np.log(0.1), np.log(0.8)))),
                "act_m": rng.uniform(0.7, 2.0),
            }
        else:
            figures = {
                name: value * float(np.exp(rng.normal(0.0, 0.2))) for name, value in best_figures.items()
            }
        got, kinds = measure(figures, args.drives)
        if got < best:
            best, best_figures = got, figures
            shown = ", ".join(f"{name}={value:.2f}" for name, value in figures.items())
            print(f"{number:3d}  {got:6.2f} mm ({' '.join(f'{k:.1f}' for k in kinds)})  {shown}", flush=True)


if __name__ == "__main__":
    main()
