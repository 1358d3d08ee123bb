"""Scatter of 5,000 adjusted networks against the stated sd (should agree to 5 %), and time for 9,800 sights.

Run by hand:  python tests/bench/survey_monte_carlo.py
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "survey"))
from conftest import SHAPES, Made

from steer.survey import reduce_network
from steer.survey.network import fitted, prepared


def scatter(name: str, repeats: int) -> None:
    base, control = SHAPES[name](3, 0.0)
    fit = fitted(prepared(base.observations, control, base.k))
    random = np.random.default_rng(11)
    found = []
    begun = time.perf_counter()
    for _ in range(repeats):
        noisy = [replace(o, value=o.value + o.sd * random.standard_normal()) for o in base.observations]
        found.append(fitted(prepared(noisy, control, base.k)).solution.position)
    free = fit.problem.unknown >= 0
    stated = np.sqrt(np.diagonal(fit.blocks, axis1=1, axis2=2))[free]
    ratio = np.std(np.array(found), axis=0, ddof=1)[free] / stated
    print(
        f"{name}: {repeats} networks, {free.sum()} coordinates, scatter over stated sd "
        f"{ratio.min():.3f} to {ratio.max():.3f}, {1e3 * (time.perf_counter() - begun) / repeats:.1f} ms each"
    )


def large(side: int) -> None:
    random = np.random.default_rng(1)
    places = {
        f"G{i}_{j}": (
            50.0 * i + random.uniform(-9, 9),
            50.0 * j + random.uniform(-9, 9),
            random.uniform(-3, 3),
        )
        for i in range(side)
        for j in range(side)
    }
    made = Made(places, 1, 1.0, 0.13)
    for i in range(side):
        for j in range(side):
            for k, m in ((i + 1, j), (i, j + 1), (i - 1, j), (i, j - 1)):
                if f"G{k}_{m}" in places:
                    made.see(f"G{i}_{j}", f"G{k}_{m}")
    control = made.control("G0_0", f"G{side - 1}_0", f"G0_{side - 1}", f"G{side - 1}_{side - 1}")
    begun = time.perf_counter()
    result = reduce_network(made.observations, control, 0.13)
    print(
        f"{len(places)} points, {made.row - 1} sights, {len(made.observations)} observations: "
        f"{time.perf_counter() - begun:.1f} s, variance factor {result.variance_factor:.3f}, "
        f"{len(result.suspect_rows)} suspect rows (chance: {0.001 * len(made.observations):.0f})"
    )


if __name__ == "__main__":
    for shape in ("mixed", "closed traverse", "free stations", "resection"):
        scatter(shape, 5000)
    large(20)
    large(50)
