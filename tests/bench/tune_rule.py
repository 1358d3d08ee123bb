"""Searches the rule-of-thumb steerer's three gains on drives of their own seeds, its habits held as they are.

    nice python tests/bench/tune_rule.py [--tries 25] [--drives 12]

A walk at random from the present gains; the best is written into `RuleOfThumb` by hand. The measure is the
mean logarithm of the drives' RMS offsets, by kind of ground, so that no single kind rules.
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
    parser.add_argument("--tries", type=int, default=25)
    parser.add_argument("--drives", type=int, default=12)
    args = parser.parse_args()
    rng = np.random.default_rng(5)
    figures: dict[str, Any] = {"quick": 1.2, "slow": 0.27, "lead_lengths": 0.75}
    best, best_figures = np.inf, dict(figures)
    for number in range(args.tries):
        got, kinds = measure(figures, args.drives)
        if got < best:
            best, best_figures = got, figures
            shown = ", ".join(f"{name}={value:.2f}" for name, value in figures.items())
            print(f"{number:3d}  {got:6.2f} mm ({' '.join(f'{k:.1f}' for k in kinds)})  {shown}", flush=True)
        figures = {name: value * float(np.exp(rng.normal(0.0, 0.3))) for name, value in best_figures.items()}


if __name__ == "__main__":
    main()
