"""How soon each fault is recognised, and how often a clean drive is told of one. Run by hand:

    python tests/bench/estimate_faults.py --drives 30 --clean 100 [--only CASE …] [--steerer rule]

Drives are drawn over machines, axes and three kinds of ground (`steer.ground`), steered by the tool's
own advice. A fault strikes at a random chainage; the table gives the strokes from it until its notice
is first in an advice, and the notices of other codes that came up with it.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from steer.closed_loop import Advised, MemoryLog, drive_in_memory
from steer.drivefile import DriveFile, parse_drive
from steer.ground import CheckShots, Fault, Scenario, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb
from steer.machine.cylinders import extensions

CLEAN_FROM, FAULTS_FROM = 5000, 6000


@dataclass(frozen=True)
class Case:
    """One fault on one drive: what is simulated, where it begins, what must be said."""

    scenario: Scenario
    at_m: float
    codes: tuple[str, ...]
    distort: Callable[[dict[str, Any]], dict[str, Any]] | None = None  # of a reading, from `at_m` on
    hold_mm_per_m: tuple[float, float] | None = None  # articulation held from `at_m` on
    beyond_m: float = 45.0  # how far the drive goes on after the fault


def _signed(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.choice([-1.0, 1.0]) * rng.uniform(low, high))


def _drawn(seed: int) -> tuple[Scenario, np.random.Generator, float]:
    rng = np.random.default_rng([seed, 5])
    return draw_scenario(seed), rng, float(np.round(rng.uniform(30.0, 60.0), 2))


def _fault(kind: str, codes: tuple[str, ...], value: Callable[[np.random.Generator, Scenario], Any]) -> Any:
    def make(seed: int) -> Case:
        scenario, rng, at = _drawn(seed)
        given = tuple(float(v) for v in value(rng, scenario))
        return Case(scenario.with_(faults=(Fault(kind, at, given),)), at, codes)

    return make


def _knock(rng: np.random.Generator, scenario: Scenario) -> tuple[float, ...]:
    turn, size = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(10.0, 20.0)
    return size * np.cos(turn), size * np.sin(turn), rng.normal(0.0, 0.05), rng.normal(0.0, 0.05)


def _target(rng: np.random.Generator, scenario: Scenario) -> tuple[float, ...]:
    turn, size = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(10.0, 20.0)
    return size * np.cos(turn), size * np.sin(turn), _signed(rng, 6.0, 12.0)


def _cylinder(rng: np.random.Generator, scenario: Scenario) -> tuple[float, ...]:
    count = len(scenario.drive["machine"]["cylinders"]["positions_deg"])
    return float(rng.integers(1, count + 1)), _signed(rng, 10.0, 20.0)


def _lost(seed: int) -> Case:
    scenario, rng, at = _drawn(seed)
    away = ((at, at + rng.uniform(4.0, 8.0)),)
    return Case(scenario.with_(guidance=replace(scenario.guidance, beam_lost=away)), at, ("beam_lost",))


def _wild(seed: int) -> Case:
    scenario, _, at = _drawn(seed)
    rng = np.random.default_rng([seed, 6])

    def distort(reading: dict[str, Any]) -> dict[str, Any]:
        if rng.random() > 0.15 or reading["spot_right_mm"] is None:
            return reading
        name = str(rng.choice(["spot_right_mm", "spot_up_mm"]))
        return reading | {name: reading[name] + _signed(rng, 20.0, 60.0)}

    return Case(scenario, at, ("reading_refused",), distort)


def _drift(seed: int) -> Case:
    """The direction turns by 0.1 mm/m in 20 m; check shots show it, so strokes count from the first one after."""
    scenario, rng, at = _drawn(seed)
    given = (_signed(rng, 0.004, 0.008), _signed(rng, 0.004, 0.008))
    return Case(
        scenario.with_(faults=(Fault("reference_drift", at, given),)), at,
        ("reference_drifting", "shot_disagrees"), beyond_m=90.0,
    )  # fmt: skip


def _reversed(planes: tuple[float, float], hold: bool) -> Any:
    def make(seed: int) -> Case:
        scenario, rng, at = _drawn(seed)
        scenario.drive["drive"]["stroke_m"] = 1.0
        wanted = (_signed(rng, 5.0, 8.0), _signed(rng, 5.0, 8.0)) if hold else None
        return Case(
            scenario.with_(faults=(Fault("reversed", at, planes),)), at, ("steering_opposite",), None, wanted
        )

    return make


def _from_launch(seed: int) -> Case:
    scenario, _, _ = _drawn(seed)
    scenario.drive["drive"]["stroke_m"] = 1.0
    return Case(
        scenario.with_(faults=(Fault("reversed", -1.0, (1.0, 1.0)),)),
        scenario.start_m,
        ("steering_opposite",),
    )


def _ground(seed: int) -> Case:
    """Crab jumps by 8 to 14 mm/m in one plane at once (lagged ground: tendency by 1 to 2 mm/m²)."""
    scenario, rng, at = _drawn(seed)
    plane, lagged = int(rng.integers(2)), scenario.ground.kind == "lagged"
    stretches = scenario.ground.stretches
    now = [s for s in stretches if s.start_m <= at][-1]
    crab, bend = list(now.crab_mm_per_m), list(now.tendency_mm_per_m2)
    if lagged:
        bend[plane] += _signed(rng, 1.0, 2.0)
    else:
        crab[plane] += _signed(rng, 8.0, 14.0)
    new = replace(now, start_m=at, crab_mm_per_m=tuple(crab), tendency_mm_per_m2=tuple(bend))
    kept = tuple(s for s in stretches if s.start_m <= at)
    return Case(
        scenario.with_(ground=replace(scenario.ground, stretches=(*kept, new))), at, ("ground_changed",)
    )


def _weak(seed: int) -> Case:
    """The answer falls to a fifth (elastic: 0.12) of the geometry in both planes."""
    scenario, _, at = _drawn(seed)
    stretches = scenario.ground.stretches
    now = [s for s in stretches if s.start_m <= at][-1]
    new = replace(now, start_m=at, gain=(0.12, 0.12))
    kept = tuple(s for s in stretches if s.start_m <= at)
    return Case(
        scenario.with_(ground=replace(scenario.ground, stretches=(*kept, new))), at, ("steering_weak",)
    )


def _counter(back: bool) -> Any:
    def make(seed: int) -> Case:
        scenario, rng, at = _drawn(seed)
        step = -rng.uniform(5.0, at - 10.0) if back else rng.uniform(5.0, 20.0)

        def distort(reading: dict[str, Any]) -> dict[str, Any]:
            return reading | {"chainage_m": round(reading["chainage_m"] + step, 4)}

        return Case(scenario, at, ("chainage_jumped",), distort)

    return make


def _no_survey(seed: int) -> Case:
    scenario, _, _ = _drawn(seed)
    scenario.drive["sd"]["reference_mm_per_m"] = 0.1
    return Case(
        scenario.with_(shots=CheckShots(every_m=0.0)), scenario.start_m, ("survey_due",), beyond_m=500.0
    )


CASES: dict[str, Callable[[int], Case]] = {
    "wild readings, 15 %": _wild,
    "beam lost": _lost,
    "reference moved": _fault("beam_knock", ("reference_moved",), _knock),
    "reference drifting": _drift,
    "target knocked": _fault("target_knock", ("target_knocked",), _target),
    "yaw stuck": _fault("yaw_stuck", ("yaw_stuck",), lambda rng, sc: ()),
    "pitch stuck": _fault("pitch_stuck", ("pitch_stuck",), lambda rng, sc: ()),
    "cylinder misread": _fault("cylinder_misread", ("cylinder_misread",), _cylinder),
    "opposite, held 5 to 8 mm/m": _reversed((1.0, 1.0), True),
    "opposite line, held": _reversed((1.0, 0.0), True),
    "opposite level, held": _reversed((0.0, 1.0), True),
    "opposite, steered": _reversed((1.0, 1.0), False),
    "opposite from launch": _from_launch,
    "weak answer": _weak,
    "ground changed": _ground,
    "counter forward": _counter(False),
    "counter reset": _counter(True),
    "no check shots": _no_survey,
}


class Watched(Advised):
    """The tool's advice, and the codes of every stroke."""

    def __init__(self, file: DriveFile, log: MemoryLog) -> None:
        super().__init__(file)
        self.log = log
        self.drive = drive_in_memory(file, log)
        self.said: list[tuple[float, dict[str, str]]] = []
        self.articulation: list[np.ndarray] = []

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        """As the tool advises."""
        out = super().stroke_end(chainage_m)
        advice = self.drive.advice()
        assert advice is not None
        self.said.append((chainage_m, {n.code: n.text for n in advice.notices}))
        self.articulation.append(np.array([advice.now_right_mm_per_m, advice.now_up_mm_per_m]))
        return out


def record(
    case: Case, steerer: str = "ours", beyond_m: float = 45.0
) -> tuple[DriveFile, Watched, Simulation]:
    """Drive a case to `beyond_m` after its fault (or to the end)."""
    scenario = case.scenario
    file = parse_drive(drive_toml(scenario.drive))
    watched, simulation = Watched(file, MemoryLog()), Simulation(scenario)
    rule = RuleOfThumb(scenario.drive) if steerer == "rule" else None

    def tell(readings: list[dict[str, Any]]) -> None:
        for reading in readings:
            if rule is not None:
                rule.reading(reading)
            after = case.distort is not None and reading["chainage_m"] >= case.at_m
            watched.reading(case.distort(reading) if after and case.distort else reading)

    tell(simulation.start())
    while not simulation.finished and simulation.chainage_m < case.at_m + case.beyond_m:
        wanted = watched.stroke_end(simulation.chainage_m)
        if rule is not None:
            wanted = rule.stroke_end(simulation.chainage_m)
        if case.hold_mm_per_m is not None and simulation.chainage_m >= case.at_m - 0.5:
            exact = extensions(*case.hold_mm_per_m, simulation.roll_deg, file.machine.cylinders)
            wanted = np.clip(exact, *file.machine.cylinders.range_mm)
        tell(simulation.advance(wanted))
        for shot in simulation.shots():
            if rule is not None:
                rule.shot(shot)
            watched.shot(shot)
    watched.stroke_end(simulation.chainage_m)
    return file, watched, simulation


def first_said(said: list[tuple[float, dict[str, str]]], at_m: float, codes: tuple[str, ...]) -> int | None:
    """Strokes from the fault until one of the codes: 1 is the first stroke's end after it."""
    after = [notices for s, notices in said if s > at_m]
    return next((i + 1 for i, now in enumerate(after) if any(c in now for c in codes)), None)


def anew(said: list[tuple[float, dict[str, str]]], from_m: float = -1e9) -> list[tuple[str, float]]:
    """Each code, and where (m) it came up anew."""
    found: list[tuple[str, float]] = []
    before: set[str] = set()
    for s, notices in said:
        if s > from_m:
            found += [(code, s) for code in sorted(set(notices) - before)]
        before = set(notices)
    return found


def _true_change(scenario: Scenario, s_m: float) -> str:
    """What the drawn ground itself did in the last 15 m: no drawn drive is without changes of ground."""
    stretches = scenario.ground.stretches
    for before, now in pairwise(stretches):
        gone = s_m - now.start_m
        if 0.0 <= gone < 15.0:
            crab = np.subtract(now.crab_mm_per_m, before.crab_mm_per_m).round(1)
            bend = np.subtract(now.tendency_mm_per_m2, before.tendency_mm_per_m2).round(1)
            return f"; {gone:.0f} m after a true change, crab by {crab} mm/m, bend by {bend} mm/m²"
    return ""


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--drives", type=int, default=30)
    parser.add_argument("--clean", type=int, default=100)
    parser.add_argument("--only", nargs="*", default=None)
    parser.add_argument("--steerer", default="ours")
    given = parser.parse_args()
    if given.clean:
        alarms, false = Counter[str](), Counter[str]()
        for seed in range(CLEAN_FROM, CLEAN_FROM + given.clean):
            scenario = draw_scenario(seed)
            _, watched, _ = record(Case(scenario, 1e9, ()), given.steerer)
            came = anew(watched.said)
            alarms.update({code for code, _ in came})
            # a change of ground that is said where the drawn ground did change is no false alarm
            false.update({c for c, s in came if c != "ground_changed" or not _true_change(scenario, s)})
            for code, s in came:
                print(
                    f"  seed {seed} ({scenario.ground.kind}) {code} at {s:.1f} m{_true_change(scenario, s)}"
                )
        print(
            f"{given.clean} clean drives, drives on which each notice came up: {dict(alarms)}; without ground"
        )
        print(f"changes within 15 m behind a drawn one: {dict(false)}", flush=True)
    print(f"{'fault':28} found  strokes: median  90 %  most   other notices that came up")
    for name, make in CASES.items():
        if given.only and name not in given.only:
            continue
        strokes: list[int | None] = []
        others: Counter[str] = Counter()
        for seed in range(FAULTS_FROM, FAULTS_FROM + given.drives):
            case = make(seed)
            _, watched, _ = record(case, given.steerer)
            strokes.append(first_said(watched.said, case.at_m, case.codes))
            others.update({code for code, _ in anew(watched.said, case.at_m)} - set(case.codes))
        found = [v for v in strokes if v is not None]
        figures = "     -     -     -" if not found else (
            f"{np.median(found):6.0f}{np.percentile(found, 90):6.0f}{max(found):6d}"
        )  # fmt: skip
        print(f"{name:28} {len(found):3}/{len(strokes):<3}         {figures}   {dict(others)}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
