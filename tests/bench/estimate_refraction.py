"""Refraction of 1 K/m across the beam over 250 m, check shots every 30 m: is the face inside its interval? Run by hand:

python tests/bench/estimate_refraction.py [--drives 12] [--k-per-m 1.0]
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from refracted import refracted


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--drives", type=int, default=12)
    parser.add_argument("--k-per-m", type=float, default=1.0)
    given = parser.parse_args()
    print("seed   K/m   level inside 95 %   furthest, sd   rms, mm")
    shares = []
    for i in range(given.drives):
        sign = -1.0 if i % 2 else 1.0
        off, sd = refracted(9000 + i, sign * given.k_per_m)
        far = np.abs(off[1:, 1] / sd[1:, 1])
        shares.append(float(np.mean(far <= 1.96)))
        print(f"{9000 + i}  {sign * given.k_per_m:+.1f}   {shares[-1]:17.3f}   {far.max():12.1f}   "
              f"{np.sqrt(np.mean(off[:, 1] ** 2)):7.1f}", flush=True)  # fmt: skip
    print(f"all        {np.mean(shares):17.3f}")


if __name__ == "__main__":
    main()
