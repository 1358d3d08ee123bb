"""A scenario from ranges and a seed: the same for ever, on whichever machine it is drawn."""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.ground import CheckShots, Ground, Guidance, Scenario, Stretch
from steer.study.ranges import Ranges


def draw(ranges: Ranges, drive: dict[str, Any], seed: int) -> Scenario:
    """One ground and guidance for `drive` (drive.toml's keys)."""
    rng = np.random.default_rng([seed, 401])

    def one(name: str) -> float:
        low, high = getattr(ranges, name)
        return float(rng.uniform(low, high))

    def two(name: str) -> tuple[float, float]:
        return one(name), one(name)

    kind = ranges.kinds[int(rng.integers(len(ranges.kinds)))]
    machine = drive["machine"]
    length = machine["front_length_m"] + machine["rear_length_m"]
    start = float(drive["axis"]["start"]["chainage_m"])
    end = start + sum(part["length_m"] for part in drive["axis"]["horizontal"])
    dive = one("dive_mm_per_m")
    stretches, at = [], start
    while at < end:
        gain = two("gain_elastic" if kind == "elastic" else "gain")
        line, level = two("crab_mm_per_m")
        bend = two("ground_bend_mm_per_m2")
        share = 0.4 if kind == "lagged" else 1.0  # its bend does the rest
        stretches.append(
            Stretch(
                at, gain, (share * line, share * (level - dive)), bend if kind == "lagged" else (0.0, 0.0),
                one("friction_kpa"), one("face_pressure_kpa"),
            )
        )  # fmt: skip
        at += one("stretch_m")
    wander = one("crab_wander_mm_per_m")
    ground = Ground(
        kind=kind,
        stretches=tuple(stretches),
        play_mm_per_m=two("play_mm_per_m"),
        crab_sd_mm_per_m=share * wander,
        crab_length_m=one("crab_length_m"),
        tendency_sd_mm_per_m2=0.1 * wander if kind == "lagged" else 0.0,
        share=float(rng.uniform(0.5, 0.95) if kind == "guided" else rng.uniform(0.1, 0.35)),
        lag_m=one("lag_lengths") * length,
        gap_mm=two("gap_mm") if kind == "elastic" else (0.0, 0.0),
        background=0.25,
        roll_sd_deg=one("roll_sd_deg"),
    )
    guidance = Guidance(
        noise_scale=one("noise_scale"),
        dropout_share=one("dropout_share"),
        reference_walk_mm_per_m=one("reference_walk_mm_per_m"),
        refraction_k_per_m=two("refraction_k_per_m"),
    )
    shots = CheckShots(every_m=one("check_every_m"), sd_mm=one("check_sd_mm"))
    return Scenario(seed=seed, drive=drive, ground=ground, guidance=guidance, shots=shots, name=kind)
