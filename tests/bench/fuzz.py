"""Mutation fuzzing at length, by hand: python tests/bench/fuzz.py [CASES] [FIRST SEED] [FORMAT]

For every format: how many mutants were taken and refused, what broke, the slowest, the peak memory. Broken is
also a mutant that costs over 2 s or brings the process over 500 MB. Seconds are the processor's, since the clock
on the wall tells what else the computer does.
"""

import contextlib
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from mutate import formats, new_folder, one_case

from steer.errors import SteerError

MOST_S, MOST_MB = 2.0, 500

cases = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
with tempfile.TemporaryDirectory() as folder:
    every = formats(new_folder(Path(folder) / "drive"))
    if len(sys.argv) > 3:
        every = {sys.argv[3]: every[sys.argv[3]]}
    broken = 0
    for number, (name, (seeds, take)) in enumerate(every.items()):
        drive = new_folder(Path(folder) / f"drive{number}")
        found: Counter[str] = Counter()
        slowest = (0.0, 0)
        with contextlib.suppress(SteerError):  # unchanged and unmeasured: the first one pays for the imports
            take(drive, seeds[0])
        for seed in range(first, first + cases // len(every)):
            started = time.process_time()
            try:
                found[one_case(drive, name, seeds, take, seed)] += 1
            except AssertionError as error:
                found["BROKEN"] += 1
                if found["BROKEN"] <= 5:
                    print(f"  {str(error)[:600]}")
            spent = time.process_time() - started
            slowest = max(slowest, (spent, seed))
            if spent > MOST_S:
                found["BROKEN"] += 1
                print(f"  {name} {seed}: took {spent:.2f} s")
        broken += found["BROKEN"]
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        print(
            f"{name}: {dict(found)}, slowest {slowest[0]:.2f} s (seed {slowest[1]}), peak {peak} MB",
            flush=True,
        )
        broken += peak > MOST_MB
sys.exit(bool(broken))
