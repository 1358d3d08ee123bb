"""Whether any proposal breaks a limit of the machine, over many short drives. Run by hand:

    python tests/bench/study_limits.py [--drives 1000] [--metres 60] [--first 20000] [--processes 2]

Each seed draws its own machine, axis, ground and guidance; every second drive answers the opposite way from
somewhere on (in line, in level or in both), so that proposals made in doubt are among them. Every proposal is set as
proposed. Counted is what a setting makes at the machine's true roll: magnitude of the articulation, change per
stroke and plane against what was set before, cylinder range, whole steps. Ctrl-C prints what has run.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import signal
import sys
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steer.closed_loop import Advised
from steer.drivefile.load import parse_drive
from steer.ground import Fault, Scenario, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.instruments import articulation_of

ROOM_MM_PER_M = 0.05  # the roll is measured, so a setting makes a little more or less than was computed
LIMITS = ("magnitude", "change", "range", "steps")


@dataclass(frozen=True)
class Ran:
    """One drive: strokes, how often each of LIMITS was broken and by how much at most, mm/m (range and steps:
    mm), how often a limit of the machine was said to give way, rms mm of the face, seconds of processor."""

    seed: int
    turned: bool
    strokes: int
    broken: tuple[int, ...]
    over: tuple[float, ...]
    said: int
    rms_mm: float
    seconds: float


def scenario_of(seed: int) -> Scenario:
    """The scenario of a seed, every second one with a machine that comes to answer the opposite way."""
    drawn = draw_scenario(seed)
    if seed % 2 == 0:
        return drawn
    rng = np.random.default_rng([seed, 8])
    planes = ((1.0, 0.0), (0.0, 1.0), (1.0, 1.0))[int(rng.integers(3))]
    return replace(drawn, faults=(Fault("reversed", float(rng.uniform(0.0, 40.0)), planes),))


def run(given: tuple[int, float]) -> Ran:
    """Drives the first metres of one scenario by the tool's proposals."""
    seed, metres = given
    begun = time.process_time()
    scenario = scenario_of(seed)
    simulation = Simulation(scenario)
    steerer = Advised(parse_drive(drive_toml(scenario.drive)))
    for reading in simulation.start():
        steerer.reading(reading)
    machine = simulation.machine
    last = np.asarray(simulation.cylinder_mm, float)
    broken, over, said, strokes = np.zeros(4, int), np.full(4, -np.inf), 0, 0
    while not simulation.finished and simulation.chainage_m - simulation.start_m < metres:
        wanted = steerer.stroke_end(simulation.chainage_m)
        found = beyond(machine, wanted, last, simulation.roll_deg)
        broken += found > np.array([ROOM_MM_PER_M, ROOM_MM_PER_M, 1e-9, 1e-6])
        over = np.maximum(over, found)
        said += _gave_way(steerer)
        last, strokes = wanted, strokes + 1
        for reading in simulation.advance(wanted):
            steerer.reading(reading)
        for shot in simulation.shots():
            steerer.shot(shot)
    rms = float(np.sqrt(np.mean(simulation.truth().face_mm ** 2)))
    return Ran(
        seed, bool(scenario.faults), strokes, tuple(map(int, broken)), tuple(map(float, over)), said, rms,
        time.process_time() - begun,
    )  # fmt: skip


def beyond(machine: dict[str, Any], wanted: np.ndarray, last: np.ndarray, roll_deg: float) -> np.ndarray:
    """How far (4,) a setting lies beyond each of LIMITS; negative or 0 within."""
    cylinders = machine["cylinders"]
    made = articulation_of(machine, wanted, roll_deg)
    change = made - articulation_of(machine, last, roll_deg)
    low, high = cylinders["range_mm"]
    steps = wanted / cylinders["step_mm"]
    return np.array(
        [
            np.hypot(*made) - machine["max_articulation_mm_per_m"],
            np.abs(change).max() - machine["max_change_mm_per_m"],
            max(low - wanted.min(), wanted.max() - high),
            np.abs(steps - np.round(steps)).max() * cylinders["step_mm"],
        ]
    )


def _gave_way(steerer: Advised) -> int:
    advice = steerer.drive.advice()
    assert advice is not None
    texts = [n.text.lower() for n in advice.notices if n.code == "limit_gave_way"]
    return sum("articulation of" in t or "change of" in t for t in texts)


def report(ran: list[Ran], took: float) -> str:
    """What came of it, as text."""
    lines = [f"{len(ran)} drives, {sum(r.strokes for r in ran)} strokes, {took:.0f} s"]
    for name, of in (
        ("as drawn", [r for r in ran if not r.turned]),
        ("turned", [r for r in ran if r.turned]),
    ):
        if not of:
            continue
        counts = np.sum([r.broken for r in of], axis=0)
        most = np.max([r.over for r in of], axis=0)
        lines.append(
            f"{name:9} {len(of):5d} drives: "
            + ", ".join(
                f"{n} {c} broken (most {m:+.3f})" for n, c, m in zip(LIMITS, counts, most, strict=True)
            )
            + f"; machine's limit said to give way {sum(r.said for r in of)} times"
            + f"; rms mm median {np.median([r.rms_mm for r in of]):.1f},"
            + f" worst {max(r.rms_mm for r in of):.0f}; {np.mean([r.seconds for r in of]):.2f} s of processor a drive"
        )
    worst = [r for r in ran if any(r.broken)]
    lines += [f"  seed {r.seed}: broken {r.broken}, by {np.round(r.over, 3)}" for r in worst[:20]]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=1000)
    parser.add_argument("--metres", type=float, default=60.0)
    parser.add_argument("--first", type=int, default=20_000, help="seed of the first drive")
    parser.add_argument("--processes", type=int, default=2)
    args = parser.parse_args()
    ran: list[Ran] = []
    begun = time.perf_counter()
    tasks = [(args.first + i, args.metres) for i in range(args.drives)]
    # workers must not hear Ctrl-C, else the pool waits for ever
    with multiprocessing.Pool(args.processes, signal.signal, (signal.SIGINT, signal.SIG_IGN)) as pool:
        try:
            for one in pool.imap_unordered(run, tasks):
                ran.append(one)
                if len(ran) % 50 == 0:
                    print(f"{len(ran)} of {args.drives}", file=sys.stderr, flush=True)
        except KeyboardInterrupt:
            pool.terminate()
    print(report(sorted(ran, key=lambda r: r.seed), time.perf_counter() - begun))
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    each = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"memory at most: this process {own:.0f} MB, a worker {each:.0f} MB")


if __name__ == "__main__":
    main()
