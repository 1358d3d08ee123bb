"""How often the forecast's bands hold the truth, steered by the advice and with the cylinders left alone.

    python tests/bench/correct_forecast.py --drives 12 [--first 1000] [--kind lagged]

Steered: each forecast against the face of the same drive, driven on by later advice. Left alone: every few
strokes the simulated drive is copied and driven on with the cylinders as they stand. A band of 80 % is the
forecast ± 1.28 of its sd; printed is the share of truths inside, by strokes ahead, and the standardised
error's root mean square (1 is honest).
"""

from __future__ import annotations

import argparse
import copy
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from closed_loop import OurSteerer

from steer.ground import Simulation, draw_scenario

AHEAD = (1, 2, 4, 6, 9, 12)
EIGHTY = 1.2816


def drive(seed: int, kind: str | None, every: int) -> tuple[list, list, list]:
    """Rows (strokes ahead, standardised error line, level) with and without; and (probability, arrived)."""
    scenario = draw_scenario(seed, kind=kind)
    simulation = Simulation(scenario)
    ours = OurSteerer(scenario)
    for reading in simulation.start():
        ours.reading(reading)
    steered, alone, promised, shown = [], [], [], []
    stroke = 0
    while not simulation.finished:
        wanted = ours.stroke_end(simulation.chainage_m)
        advice = ours.drive.advice()
        shown.append(advice)
        if stroke % every == every - 1:
            copied = copy.deepcopy(simulation)
            for k in range(1, max(AHEAD) + 1):
                if copied.finished:
                    break
                copied.advance(copied.cylinder_mm)
                if k in AHEAD and k <= len(advice.forecast_unchanged):
                    _note(alone, k, advice.forecast_unchanged[k - 1], copied)
        for reading in simulation.advance(wanted):
            ours.reading(reading)
        for shot in simulation.shots():
            ours.shot(shot)
        stroke += 1
    truth = simulation.truth()
    for advice in shown:
        for k in AHEAD:
            if k <= len(advice.forecast):
                point = advice.forecast[k - 1]
                at = int(np.argmin(np.abs(truth.chainage_m - point.chainage_m)))
                steered.append((k, *_standard(point, truth.face_mm[at])))
    eye = ours.drive.file.tolerance.eye or ours.drive.file.tolerance
    end = np.abs(truth.face_mm[-1])
    arrived = bool(end[0] <= eye.line_mm and end[1] <= eye.level_mm)
    for advice in shown:
        if advice.eye_probability is not None:
            promised.append(
                (ours.drive.file.axis.end_chainage_m - advice.chainage_m, advice.eye_probability, arrived)
            )
            last = advice.at_reception
            steered.append((99, *_standard(last, truth.face_mm[-1])))
    return steered, alone, promised


def _standard(point, face) -> tuple[float, float]:
    return (point.line_mm - face[0]) / point.line_sd_mm, (point.level_mm - face[1]) / point.level_sd_mm


def _note(rows: list, k: int, point, simulation) -> None:
    rows.append((k, *_standard(point, simulation.truth().face_mm[-1])))


def show(name: str, rows: list) -> None:
    table = np.array(rows)
    print(name)
    for k in (*AHEAD, 99):
        of = table[table[:, 0] == k, 1:]
        if len(of):
            inside, size = (np.abs(of) <= EIGHTY).mean(0), np.sqrt((of**2).mean(0))
            ahead = "at the reception" if k == 99 else f"{k:2d} strokes ahead"
            print(
                f"  {ahead:17} line {100 * inside[0]:5.1f} %  level {100 * inside[1]:5.1f} %   "
                f"standardised {size[0]:.2f} {size[1]:.2f}   ({len(of)})"
            )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=12)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--kind", choices=["elastic", "guided", "lagged"])
    parser.add_argument("--every", type=int, default=9, help="strokes between two copies left alone")
    args = parser.parse_args()
    kinds: dict[str, tuple[list, list, list]] = {}
    for seed in range(args.first, args.first + args.drives):
        found = drive(seed, args.kind, args.every)
        kind = draw_scenario(seed, kind=args.kind).ground.kind
        for name in (kind, "all"):
            mine = kinds.setdefault(name, ([], [], []))
            for into, rows in zip(mine, found, strict=True):
                into.extend(rows)
    for name, (steered, alone, promised) in kinds.items():
        print(f"== {name}")
        show("steered by the advice", steered)
        show("left alone", alone)
        table = np.array(promised)
        print(f"eye: promised {100 * table[:, 1].mean():.1f} %, arrived {100 * table[:, 2].mean():.1f} %")


if __name__ == "__main__":
    main()
