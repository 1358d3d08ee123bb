"""Grounds to practise on, by names of the trade. **Every figure is invented**: chosen so that each kind asks
for another habit of the operator, not measured, and no prediction for a site.

soft clay     answers slowly and weakly, the machine dives; smooth.
dense sand    answers well and at once, dry friction, little wander.
mixed face    the crab jumps and changes sign every 15 to 30 m, the gain with it.
boulders      quiet ground, and now and then a short hard throw to one side; the reference gets a knock.

Friction is that of a string that is lubricated all along.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.ground.scenario import CheckShots, Fault, Ground, Guidance, Scenario, Stretch


@dataclass(frozen=True)
class Preset:
    """`about` is one line for a person; `kind` the ground's physics."""

    name: str
    kind: str
    about: str


PRESETS: dict[str, Preset] = {
    p.name: p
    for p in (
        Preset("soft clay", "lagged", "answers late and weakly, and the nose sinks (invented figures)"),
        Preset("dense sand", "elastic", "answers well, high friction, little wander (invented figures)"),
        Preset("mixed face", "guided", "pushes one way, then the other, every 15 to 30 m (invented figures)"),
        Preset(
            "boulders",
            "elastic",
            "quiet, then a hard throw to one side; the beam gets a knock (invented figures)",
        ),
    )
}

DRIVE: dict[str, Any] = {
    "drive": {"name": "Practice drive (invented)", "stroke_m": 1.0},
    "axis": {
        "start": {
            "chainage_m": 0.0,
            "easting_m": 5000.0,
            "northing_m": 2000.0,
            "level_m": 12.34,
            "bearing_deg": 47.5,
        },
        "horizontal": [{"kind": "line", "length_m": 120.0}],
        "vertical": [{"kind": "grade", "length_m": 120.0, "grade_mm_per_m": 4.0}],
    },
    "tolerance": {"line_mm": 50.0, "level_mm": 30.0, "eye": {"line_mm": 30.0, "level_mm": 20.0}},
    "machine": {
        "front_length_m": 2.0,
        "rear_length_m": 2.4,
        "outer_diameter_mm": 1490.0,
        "max_articulation_mm_per_m": 32.0,
        "max_change_mm_per_m": 8.0,
        "cylinders": {
            "positions_deg": [45, 135, 225, 315],
            "circle_radius_mm": 540.0,
            "range_mm": [0.0, 40.0],
            "neutral_mm": 20.0,
            "step_mm": 0.5,
        },
    },
    "target": {"behind_face_m": 1.6, "right_mm": 0.0, "up_mm": 250.0},
    "reference": {
        "kind": "beam",
        "right_mm": 0.0,
        "up_mm": 250.0,
        "right_mm_per_m": 0.0,
        "up_mm_per_m": 0.0,
    },
    "sd": {
        "spot_mm": 1.5,
        "spot_mm_per_100m": 0.75,
        "yaw_mm_per_m": 0.7,
        "pitch_mm_per_m": 0.5,
        "pitch_bias_mm_per_m": 0.3,
        "launch_mm": 4.0,
        "launch_mm_per_m": 1.0,
        "reference_mm": 1.5,
        "reference_mm_per_m": 0.02,
    },
    "pipe": {
        "length_m": 2.0,
        "outer_diameter_mm": 1470.0,
        "inner_diameter_mm": 1200.0,
        "max_joint_angle_mm_per_m": 8.0,
        "packer_thickness_mm": 15.0,
        "packer_modulus_mpa": 100.0,
        "packer_width_mm": 100.0,
        "max_joint_stress_mpa": 18.0,
    },
}


def _stretches(rng: np.random.Generator, name: str, length_m: float) -> tuple[Stretch, ...]:
    if name == "soft clay":
        return (
            Stretch(0.0, (0.45, 0.4), (0.3, -0.8), (0.02, -0.15), 1.5, 60.0, "soft clay"),
            Stretch(0.55 * length_m, (0.38, 0.35), (-0.3, -1.0), (0.05, -0.25), 2.0, 70.0, "softer clay"),
        )
    if name == "dense sand":
        return (Stretch(0.0, (1.0, 0.95), (0.4, -0.3), (0.0, 0.0), 4.0, 120.0, "dense sand"),)
    found, at, side = [], 0.0, float(rng.choice([-1.0, 1.0]))
    while at < length_m:
        if name == "mixed face":
            crab = (side * rng.uniform(1.5, 3.0), rng.uniform(-2.5, 0.5))
            gain = (rng.uniform(0.45, 0.8), rng.uniform(0.4, 0.7))
            found.append(
                Stretch(at, gain, crab, (0.0, 0.0), rng.uniform(2.0, 4.0), rng.uniform(70.0, 130.0), name)
            )
            side, at = -side, at + rng.uniform(15.0, 30.0)
        else:  # boulders
            found.append(Stretch(at, (0.95, 0.9), (0.3, -0.5), (0.0, 0.0), 2.5, 90.0, "gravel"))
            at += rng.uniform(12.0, 25.0)
            throw = (
                rng.choice([-1.0, 1.0]) * rng.uniform(3.0, 6.0),
                rng.choice([-1.0, 1.0]) * rng.uniform(2.0, 5.0),
            )
            found.append(Stretch(at, (0.6, 0.6), throw, (0.0, 0.0), 3.5, 140.0, "boulder"))
            at += rng.uniform(0.8, 1.6)
    return tuple(found)


def preset_scenario(name: str, seed: int = 1, drive: dict[str, Any] | None = None) -> Scenario:
    """A preset on a drive (`DRIVE` unless another drive file's dictionary is given). Raises KeyError for a
    name that PRESETS does not have."""
    preset, drive = PRESETS[name], drive or DRIVE
    length = float(sum(part["length_m"] for part in drive["axis"]["horizontal"]))
    machine_m = drive["machine"]["front_length_m"] + drive["machine"]["rear_length_m"]
    rng = np.random.default_rng([seed, 5])
    wander = {"soft clay": 0.3, "dense sand": 0.4, "mixed face": 0.7, "boulders": 0.4}[name]
    ground = Ground(
        kind=preset.kind,
        stretches=_stretches(rng, name, length),
        play_mm_per_m={"soft clay": (0.5, 0.5), "dense sand": (1.0, 1.0)}.get(name, (1.5, 1.5)),
        crab_sd_mm_per_m=wander,
        crab_length_m=20.0,
        tendency_sd_mm_per_m2=0.1 if preset.kind == "lagged" else 0.0,
        share=0.8 if preset.kind == "guided" else 0.2,
        lag_m=1.2 * machine_m,
        gap_mm=(1.0, 1.5) if preset.kind == "elastic" else (0.0, 0.0),
        background=0.3,
        roll_sd_deg=1.0 if name == "boulders" else 0.6,
    )
    knock = Fault("beam_knock", round(0.62 * length, 1), (7.0, -4.0, 0.0, 0.0))
    return Scenario(
        seed=seed,
        drive=drive,
        ground=ground,
        guidance=Guidance(reference_walk_mm_per_m=0.02, dropout_share=0.01, wild_share=0.001),
        shots=CheckShots(every_m=30.0, sd_mm=2.0),
        faults=(knock,) if name == "boulders" else (),
        name=name,
    )
