"""Two at once, by hand: python tests/bench/load.py [SECONDS] [READINGS A SECOND]

One process writes readings as a feed does, one stores check shots, two read: one polls as a screen does and
reads what is new, one reads the whole log again and again as a report does. Prints waiting times, and whether
every acknowledged event is there, once, in order, in a whole log.
"""

import multiprocessing as mp
import sys
import tempfile
import time
from pathlib import Path

from steer.errors import SteerError
from steer.log import Log
from steer.log.verify import verify

READING = {"chainage_m": 1.0, "spot_right_mm": 1.5, "yaw_mm_per_m": 0.2, "cylinder_mm": [36.0] * 4}


def write(folder, kind, rate, end, out):
    took, errors, count, due = [], [], 0, time.perf_counter()
    with Log.open(folder, write=True) as log:
        while time.time() < end:
            started = time.perf_counter()
            try:
                log.append(kind, {**READING, "n": count})
                count += 1
            except SteerError as error:
                errors.append(str(error))
            took.append(time.perf_counter() - started)
            due += 1 / rate
            time.sleep(max(0.0, due - time.perf_counter()))
    out.put((kind, took, errors, count))


def read(folder, whole, end, out):
    took, errors, after = [], [], 0
    while time.time() < end:
        with Log.open(folder) as log:
            for _ in range(1 if whole else 50):
                started = time.perf_counter()
                try:
                    if whole or log.last_sequence() > after:
                        for event in log.events(0 if whole else after):
                            after = event.sequence
                except SteerError as error:
                    errors.append(str(error))
                took.append(time.perf_counter() - started)
                time.sleep(0.2)
    out.put(("report" if whole else "screen", took, errors, after))


if __name__ == "__main__":
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
    rate = float(sys.argv[2]) if len(sys.argv) > 2 else 500.0
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        Log.open(folder, write=True).close()
        end, out = time.time() + seconds, mp.Queue()
        jobs = [
            mp.Process(target=write, args=(folder, "reading", rate, end, out)),
            mp.Process(target=write, args=(folder, "check_shot", 0.5, end, out)),
            mp.Process(target=read, args=(folder, False, end, out)),
            mp.Process(target=read, args=(folder, True, end, out)),
        ]
        for job in jobs:
            job.start()
        counts = {}
        for _ in jobs:
            name, took, errors, count = out.get()
            counts[name] = count
            took.sort()
            print(
                f"{name}: {len(took)} calls, median {took[len(took) // 2] * 1e3:.2f} ms, 99 % "
                f"{took[len(took) * 99 // 100] * 1e3:.2f} ms, longest {took[-1] * 1e3:.1f} ms, "
                f"{len(errors)} errors {errors[:2]}"
            )
        with Log.open(folder) as log:
            seen = {"reading": [], "check_shot": []}
            for event in log.events():
                seen[event.kind].append(event.body["n"])
            assert verify(log).whole
        for kind, numbers in seen.items():
            assert numbers == list(range(counts[kind])), kind
        total = sum(map(len, seen.values()))
        print(f"{total} events, every acknowledged one there once and in order, log whole")
