"""The correction where drive file or readings are not what they are said to be, beside the yardsticks:

    python tests/bench/told_otherwise.py [--drives 4] [--first 50000] [--only "noise x3"]

The drive is simulated as it is; the tool is told another file, or given fewer readings. The yardsticks are
told the truth and given every reading.
"""

from __future__ import annotations

import argparse
import copy
import multiprocessing
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from closed_loop import STEERERS, drive

from steer.closed_loop import Advised
from steer.drivefile import parse_drive
from steer.ground import Scenario, draw_scenario
from steer.ground.folder import drive_toml

Reading = dict[str, Any]


def _same(scenario: Scenario) -> Scenario:
    return scenario


def _truth(keys: tuple[str, ...], times: float) -> Callable[[Scenario], Scenario]:
    """The drive with errors drawn from `times` what [sd] says of them."""

    def made(scenario: Scenario) -> Scenario:
        own = copy.deepcopy(scenario.drive)
        for key in keys:
            own["sd"][key] *= times
        return scenario.with_(drive=own)

    return made


def _guidance(**other: Any) -> Callable[[Scenario], Scenario]:
    return lambda scenario: scenario.with_(guidance=replace(scenario.guidance, **other))


def _told(table: str, **times: float) -> Callable[[dict[str, Any]], None]:
    def change(told: dict[str, Any]) -> None:
        for key, factor in times.items():
            place = told["machine"]["cylinders"] if table == "cylinders" else told[table]
            place[key] *= factor

    return change


def _without(*keys: str) -> Callable[[Reading, int, int], Reading | None]:
    return lambda reading, i, n: {k: v for k, v in reading.items() if k not in keys}


def _few(of_a_stroke: int) -> Callable[[Reading, int, int], Reading | None]:
    return lambda reading, i, n: reading if (n - 1 - i) % max(1, n // of_a_stroke) == 0 else None


@dataclass(frozen=True)
class Case:
    """How the simulated drive differs, what the tool is told otherwise, what it is given of a stroke's readings."""

    truth: Callable[[Scenario], Scenario] = _same
    told: Callable[[dict[str, Any]], None] = lambda told: None
    given: Callable[[Reading, int, int], Reading | None] = lambda reading, i, n: reading


CASES = {
    "as said": Case(),
    "noise x3": Case(_guidance(noise_scale=3.0)),
    "noise x0.3": Case(_guidance(noise_scale=0.3)),
    "noise shared over 3 m": Case(_guidance(correlated_share=0.9, correlation_m=3.0)),
    "5 % wild": Case(_guidance(wild_share=0.05)),
    "launch x5": Case(_truth(("launch_mm", "launch_mm_per_m"), 5.0)),
    "reference x5": Case(_truth(("reference_mm", "reference_mm_per_m"), 5.0)),
    "reference walks x3": Case(_guidance(reference_walk_mm_per_m=0.06)),
    "1.5 and 2 K/m": Case(_guidance(refraction_k_per_m=(1.5, 2.0))),
    "pitch zero x5": Case(_truth(("pitch_bias_mm_per_m",), 5.0)),
    "cylinder circle x1.25": Case(told=_told("cylinders", circle_radius_mm=1.25)),
    "bodies x1.3, x0.8": Case(told=_told("machine", front_length_m=1.3, rear_length_m=0.8)),
    "one reading a stroke": Case(given=_few(1)),
    "no yaw, no pitch": Case(given=_without("yaw_mm_per_m", "pitch_mm_per_m")),
    "no cylinders": Case(given=_without("cylinder_mm")),
    "no roll": Case(given=_without("roll_deg")),
    "spots alone": Case(given=_without("yaw_mm_per_m", "pitch_mm_per_m", "cylinder_mm", "roll_deg", "time")),
}


class Given(Advised):
    """The tool's advice from what a case lets through."""

    def __init__(self, scenario: Scenario, case: Case) -> None:
        told = copy.deepcopy(scenario.drive)
        case.told(told)
        super().__init__(parse_drive(drive_toml(told)))
        self.case = case
        self.stroke: list[Reading] = []

    def reading(self, reading: Reading) -> None:
        self.stroke.append(reading)

    def shot(self, shot: dict[str, Any]) -> None:
        self._give()
        super().shot(shot)

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        self._give()
        return super().stroke_end(chainage_m)

    def _give(self) -> None:
        n = len(self.stroke)
        for i, reading in enumerate(self.stroke):
            let_through = self.case.given(reading, i, n)
            if let_through is not None:
                super().reading(let_through)
        self.stroke = []


def went(asked: tuple[str, int]) -> list[Any]:
    """rms (mm) of the rule of thumb, the informed controller and the tool; share of 95 % intervals that held."""
    name, seed = asked
    case, scenario = CASES[name], draw_scenario(seed)
    truth = case.truth(scenario)
    rule, informed = (drive(truth, STEERERS[who])[0].rms_mm for who in ("rule", "informed"))
    ours = drive(truth, lambda sc, sim: Given(scenario, case))[0]
    return [rule, informed, ours.rms_mm, *ours.inside]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=4)
    parser.add_argument("--first", type=int, default=50_000)
    parser.add_argument("--only", choices=CASES)
    args = parser.parse_args()
    print(f"{'':24}{'rms mm, rule':>22} | {'informed':>16} | {'ours':>22} | 95 % held line, level")
    with multiprocessing.Pool(2) as pool:
        for name in [args.only] if args.only else CASES:
            rows = np.array(
                pool.map(went, [(name, args.first + n) for n in range(args.drives)], chunksize=1), float
            )
            rule, informed, ours = (" ".join(f"{v:.0f}" for v in rows[:, k]) for k in (0, 1, 2))
            held = rows[:, 3:].mean(0)
            print(
                f"{name:24}{rule:>22} | {informed:>16} | {ours:>22} | {held[0]:.2f} {held[1]:.2f}", flush=True
            )


if __name__ == "__main__":
    main()
