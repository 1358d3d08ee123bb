"""Random drives over machines, axes, grounds and guidance: what a method is tried on so that it suits no
single one.

All ranges are invented (plausible for man-entry and smaller machines), not measured.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.ground.bodies import KINDS
from steer.ground.scenario import CheckShots, Ground, Guidance, Scenario, Stretch

_LAYOUTS = ([60, 180, 300], [45, 135, 225, 315], [30, 90, 150, 210, 270, 330])


def _r(value: float, digits: int = 2) -> float:
    return round(float(value), digits)


def _machine(rng: np.random.Generator, bend_mm_per_m2: float) -> dict[str, Any]:
    front, rear = _r(rng.uniform(1.2, 3.0)), _r(rng.uniform(1.5, 4.0))
    diameter = _r(rng.uniform(900.0, 2600.0), 0)
    circle = _r(0.36 * diameter, 0)
    # enough articulation to hold the design curve at a poor gain (0.4 of the geometry) with half as much in
    # reserve
    needed = bend_mm_per_m2 * (front + rear) / 2.0 / 0.4 * 1.5
    most = _r(max(rng.uniform(18.0, 38.0), needed), 1)
    half = float(np.ceil(circle * most / 1000.0 * rng.uniform(1.0, 1.25)))
    return {
        "front_length_m": front,
        "rear_length_m": rear,
        "outer_diameter_mm": diameter,
        "max_articulation_mm_per_m": most,
        "max_change_mm_per_m": _r(rng.uniform(5.0, 12.0), 1),
        "cylinders": {
            "positions_deg": list(_LAYOUTS[rng.integers(len(_LAYOUTS))]),
            "circle_radius_mm": circle,
            "range_mm": [0.0, 2.0 * half],
            "neutral_mm": half,
            "step_mm": float(rng.choice([0.5, 1.0])),
        },
    }


def _axis(rng: np.random.Generator, curved: bool) -> tuple[dict[str, Any], float]:
    """Axis with the contract's keys, and its tightest curvature in mm/m²."""
    length = float(rng.integers(100, 201))
    grade = _r(rng.uniform(-8.0, 8.0), 1)
    axis: dict[str, Any] = {
        "start": {
            "chainage_m": 0.0,
            "easting_m": 5000.0,
            "northing_m": 2000.0,
            "level_m": 12.34,
            "bearing_deg": _r(rng.uniform(0.0, 360.0), 1),
        }
    }
    if not curved:
        axis["horizontal"] = [{"kind": "line", "length_m": length}]
        axis["vertical"] = [{"kind": "grade", "length_m": length, "grade_mm_per_m": grade}]
        return axis, 0.0
    radius = _r(rng.uniform(450.0, 1200.0), 0)
    turn = str(rng.choice(["left", "right"]))
    line, spiral = _r(rng.uniform(20.0, 40.0), 0), _r(rng.choice([0.0, 10.0, 20.0]), 0)
    arc = length - line - spiral
    axis["horizontal"] = [{"kind": "line", "length_m": line}]
    if spiral:
        axis["horizontal"].append(
            {
                "kind": "spiral",
                "length_m": spiral,
                "radius_start_m": "inf",
                "radius_end_m": radius,
                "turn": turn,
            }
        )
    out = _r(rng.choice([0.0, 25.0]), 0)
    axis["horizontal"].append({"kind": "arc", "length_m": arc - out, "radius_m": radius, "turn": turn})
    if out:
        axis["horizontal"].append({"kind": "line", "length_m": out})
    first = _r(length * 0.4, 0)
    second = min(30.0, length - first)
    end_grade = _r(grade + rng.uniform(-6.0, 6.0), 1)
    axis["vertical"] = [
        {"kind": "grade", "length_m": first, "grade_mm_per_m": grade},
        {
            "kind": "parabola",
            "length_m": second,
            "grade_start_mm_per_m": grade,
            "grade_end_mm_per_m": end_grade,
        },
        {"kind": "grade", "length_m": length - first - second, "grade_mm_per_m": end_grade},
    ]
    return axis, 1000.0 / radius


def draw_drive(rng: np.random.Generator, curved: bool) -> dict[str, Any]:
    """A drive file's dictionary."""
    axis, bend = _axis(rng, curved)
    machine = _machine(rng, bend)
    pipe_length = float(rng.choice([1.2, 1.8, 2.0, 2.5, 3.0]))
    diameter = machine["outer_diameter_mm"] - 20.0
    spread = rng.uniform(0.6, 1.6)
    return {
        "drive": {
            "name": "Drawn drive (invented)",
            "stroke_m": float(rng.choice([0.5, 0.75, 1.0, 1.25, 1.5])),
        },
        "axis": axis,
        "tolerance": {"line_mm": 50.0, "level_mm": 30.0},
        "machine": machine,
        "target": {
            "behind_face_m": _r(rng.uniform(0.5, 1.0) * machine["front_length_m"]),
            "right_mm": _r(rng.uniform(-100.0, 100.0), 0),
            "up_mm": _r(0.16 * diameter * rng.uniform(0.5, 1.5), 0),
        },
        "reference": {
            "kind": "axis" if curved else str(rng.choice(["beam", "beam", "axis"])),
            "right_mm": 0.0,
            "up_mm": _r(0.16 * diameter, 0),
            "right_mm_per_m": 0.0,
            "up_mm_per_m": 0.0,
        },
        "sd": {
            "spot_mm": _r(1.5 * spread),
            "spot_mm_per_100m": _r(0.75 * spread),
            "yaw_mm_per_m": _r(0.7 * spread),
            "pitch_mm_per_m": _r(0.5 * spread),
            "pitch_bias_mm_per_m": 0.3,
            "launch_mm": 4.0,
            "launch_mm_per_m": 1.0,
            "reference_mm": 1.5,
            "reference_mm_per_m": 0.02,
        },
        "pipe": {
            "length_m": pipe_length,
            "outer_diameter_mm": diameter,
            "inner_diameter_mm": _r(0.83 * diameter, 0),
            "max_joint_angle_mm_per_m": _r(max(8.0, 2.5 * bend * pipe_length), 1),
        },
    }


def draw_ground(rng: np.random.Generator, kind: str, length_m: float, machine_length_m: float) -> Ground:
    """Ground of a kind: gains that differ in line and level, crab that wanders and jumps, play, a diving
    weight."""
    dive = -rng.uniform(0.0, 2.5)
    gain = rng.uniform(0.8, 1.0, 2) if kind == "elastic" else rng.uniform(0.35, 0.9, 2)
    stretches, at = [], 0.0
    while at < length_m:
        level = rng.normal(0.0, 1.0) + dive
        bend = rng.normal(0.0, 0.25, 2) if kind == "lagged" else np.zeros(2)
        crab = np.array([rng.normal(0.0, 1.5), level]) * (0.4 if kind == "lagged" else 1.0)
        now = np.clip(gain * rng.uniform(0.8, 1.25, 2), 0.35, 1.0)
        stretches.append(
            Stretch(
                start_m=_r(at),
                gain=(_r(now[0], 3), _r(now[1], 3)),
                crab_mm_per_m=(_r(crab[0], 3), _r(crab[1], 3)),
                tendency_mm_per_m2=(_r(bend[0], 3), _r(bend[1], 3)),
                friction_kpa=_r(rng.uniform(1.0, 8.0), 1),
                face_pressure_kpa=_r(rng.uniform(40.0, 150.0), 0),
            )
        )
        at += rng.uniform(25.0, 70.0)
    lagged = kind == "lagged"
    play = rng.uniform(0.0, 2.0, 2)
    return Ground(
        kind=kind,
        stretches=tuple(stretches),
        play_mm_per_m=(_r(play[0]), _r(play[1])),
        crab_sd_mm_per_m=_r(rng.uniform(0.1, 0.4) if lagged else rng.uniform(0.4, 1.2), 3),
        crab_length_m=_r(rng.uniform(10.0, 40.0), 1),
        tendency_sd_mm_per_m2=_r(rng.uniform(0.05, 0.25) if lagged else 0.0, 3),
        tendency_length_m=_r(rng.uniform(10.0, 40.0), 1),
        share=_r(rng.uniform(0.5, 0.95) if kind == "guided" else rng.uniform(0.1, 0.35)),
        lag_m=_r(rng.uniform(0.5, 1.5) * machine_length_m),
        gap_mm=(_r(rng.uniform(0.0, 3.0)), _r(rng.uniform(0.0, 3.0))) if kind == "elastic" else (0.0, 0.0),
        background=_r(rng.uniform(0.1, 0.4)),
        rear_stiffness=_r(float(np.exp(rng.uniform(np.log(0.5), np.log(3.0))))),
        side_cut=_r(float(rng.choice([0.0, rng.uniform(0.0, 10.0)]))),
        roll_sd_deg=_r(rng.uniform(0.2, 1.0)),
    )


def draw_guidance(rng: np.random.Generator) -> Guidance:
    """Guidance within what [sd] says, at times a little better or worse, white or partly correlated."""
    return Guidance(
        noise_scale=_r(rng.uniform(0.8, 1.2)),
        correlated_share=float(rng.choice([0.0, 0.0, _r(rng.uniform(0.1, 0.5))])),
        correlation_m=_r(rng.uniform(0.2, 1.0)),
        reference_walk_mm_per_m=_r(rng.uniform(0.0, 0.03), 3),
        refraction_k_per_m=(_r(rng.uniform(-0.3, 0.3)), _r(rng.uniform(-0.6, 0.6))),
        dropout_share=_r(rng.uniform(0.0, 0.03), 3),
        wild_share=float(rng.choice([0.0, 0.001, 0.003])),
        rebound_mm=(1.0, 30.0),
    )


def draw_scenario(seed: int, kind: str | None = None, curved: bool | None = None) -> Scenario:
    """The scenario of a seed: the same for ever. `kind` and `curved` narrow the draw (None: three kinds in
    turn by the seed, one drive in three curved)."""
    rng = np.random.default_rng([seed, 77])
    kind = kind or list(KINDS)[seed % 3]
    drawn_curve = bool(rng.random() < 1.0 / 3.0)
    drive = draw_drive(rng, drawn_curve if curved is None else curved)
    length = float(sum(part["length_m"] for part in drive["axis"]["horizontal"]))
    machine = drive["machine"]
    ground = draw_ground(rng, kind, length, machine["front_length_m"] + machine["rear_length_m"])
    return Scenario(
        seed=seed,
        drive=drive,
        ground=ground,
        guidance=draw_guidance(rng),
        shots=CheckShots(
            every_m=30.0, sd_mm=_r(rng.uniform(2.0, 3.0), 1), point=str(rng.choice(["face", "target"]))
        ),
        name=f"{kind} {seed}",
    )
