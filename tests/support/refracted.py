"""A drive of 250 m by a beam that the air bends, surveyed every 30 m: what the estimate makes of it.

1 K/m across a beam at 20 °C bends it by 0.93e-3 mm/m² (dn/dT of -0.93e-6 1/K: Barrell and Sears, from memory):
29 mm at 250 m. The simulated ground bends it by its own sums.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steer.drivefile import parse_drive
from steer.estimate.follow import Follower
from steer.estimate.motion import Y
from steer.ground import CheckShots, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb

LENGTH_M = 250.0


@dataclass(frozen=True)
class Event:
    sequence: int
    kind: str
    body: dict[str, Any]


def refracted(seed: int, k_per_m: float, shots_every_m: float = 30.0) -> tuple[np.ndarray, np.ndarray]:
    """Error of the estimated face (strokes, 2) in mm and its sd (strokes, 2) at each stroke's end, with `k_per_m` of
    temperature gradient across the beam in level."""
    scenario = draw_scenario(seed, curved=False)
    drive = scenario.drive
    drive["reference"]["kind"] = "beam"
    drive["axis"]["horizontal"] = [{"kind": "line", "length_m": LENGTH_M}]
    drive["axis"]["vertical"] = [{"kind": "grade", "length_m": LENGTH_M, "grade_mm_per_m": 4.0}]
    scenario = scenario.with_(
        guidance=replace(scenario.guidance, refraction_k_per_m=(0.0, k_per_m), reference_walk_mm_per_m=0.0),
        shots=CheckShots(every_m=shots_every_m, sd_mm=2.5),
    )
    follower, simulation = Follower(parse_drive(drive_toml(drive))), Simulation(scenario)
    steerer = RuleOfThumb(drive)
    number, rows = 0, []

    def take(kind: str, body: dict[str, Any]) -> None:
        nonlocal number
        number += 1
        follower.take(Event(number, kind, body))

    readings = simulation.start()
    while True:
        for reading in readings:
            steerer.reading(reading)
            take("reading", reading)
        for shot in simulation.shots():
            steerer.shot(shot)
            take("check_shot", shot)
        follower.bring_up()
        x, p = follower.node().blend()
        rows.append((simulation.chainage_m, x[:, Y], np.sqrt(p[:, Y, Y])))
        if simulation.finished:
            break
        readings = simulation.advance(steerer.stroke_end(simulation.chainage_m))
    truth = simulation.truth()
    at = [int(np.argmin(np.abs(truth.chainage_m - s))) for s, _, _ in rows]
    return np.array([y for _, y, _ in rows]) - truth.face_mm[at], np.array([sd for _, _, sd in rows])
