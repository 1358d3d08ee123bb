"""How a study scales with its processes, and what a drive costs. Run by hand, on a machine with nothing else to do:

    python tests/bench/study_scaling.py [--drives 24] [--processes 1 2]

Prints drives a second and seconds a drive for each number of processes, start-up counted apart, and whether
the results are the same.
"""

from __future__ import annotations

import argparse
import os
import time

from steer.drivefile import parse_drive
from steer.ground.folder import drive_toml
from steer.ground.from_file import drive_dict
from steer.ground.presets import DRIVE
from steer.study import Plan, Ranges, Spread, tasks_of
from steer.study.outputs import csv_text


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--drives", type=int, default=24)
    parser.add_argument("--processes", type=int, nargs="+", default=[1, 2])
    args = parser.parse_args()
    file = parse_drive(drive_toml(DRIVE))
    plan = Plan(file, drive_dict(file), Ranges())
    tasks = tasks_of(1, args.drives, (), 0)
    print(f"{args.drives} drives of 120 m, 120 strokes; load before {os.getloadavg()[0]:.1f}")
    texts = set()
    first = None
    for processes in args.processes:
        begun = time.perf_counter()
        with Spread(processes) as spread:
            up = time.perf_counter()
            own = time.process_time()
            outcomes = list(spread.run(plan, tasks))
            took, own = time.perf_counter() - up, time.process_time() - own
        texts.add(csv_text(outcomes))
        first = first or took
        cpu = f", {own / len(tasks):.2f} s of processor a drive" if processes == 1 else ""
        print(
            f"{processes} processes: {len(tasks) / took:.2f} drives a second, {took * processes / len(tasks):.2f} s a drive"
            f"{cpu}, {first / took:.2f} times the first; start-up {up - begun:.1f} s"
        )
    print("same results" if len(texts) == 1 else "RESULTS DIFFER")


if __name__ == "__main__":
    main()
