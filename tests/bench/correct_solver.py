"""Time of the programme's solver on the random problems of tests/correct, processor time of one core:

python tests/bench/correct_solver.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "correct"))
from test_correct_solver import problem

from steer.correct.programme import within


def main() -> None:
    times: dict[str, list[float]] = {}
    within(*problem(0)[1:])  # loads the library
    for seed in range(501):
        kind, *stated = problem(seed)
        begun = time.process_time()
        within(*stated)
        times.setdefault(kind, []).append(1e3 * (time.process_time() - begun))
    for kind, each in times.items():
        print(f"{kind:11} median {np.median(each):.2f} ms, worst {max(each):.1f} ms ({len(each)})")


if __name__ == "__main__":
    main()
