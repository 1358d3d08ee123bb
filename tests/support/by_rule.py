"""A simulated drive steered by the rule of thumb, with an estimate that follows it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from steer.closed_loop.memory import MemoryLog
from steer.drivefile import parse_drive
from steer.estimate.follow import Follower
from steer.ground import Scenario, Simulation
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb


def strokes(scenario: Scenario, told: dict[str, Any], to_m: float) -> Iterator[tuple[Follower, np.ndarray]]:
    """After each stroke the estimate, which is told the drive file `told`, and where the face truly is (2,) mm."""
    simulation, log = Simulation(scenario), MemoryLog()
    follower, rule = Follower(parse_drive(drive_toml(told))), RuleOfThumb(scenario.drive)

    def add(kind: str, body: dict[str, Any]) -> None:
        follower.take(log.append(kind, {k: v for k, v in body.items() if k != "kind" and v is not None}))

    readings = simulation.start()
    while True:
        for reading in readings:
            rule.reading(reading)
            add("reading", reading)
        for shot in simulation.shots():
            rule.shot(shot)
            add("check_shot", shot)
        add("stroke_end", {"chainage_m": simulation.chainage_m})
        follower.bring_up()
        yield follower, simulation.truth().face_mm[-1]
        if simulation.finished or simulation.chainage_m > to_m:
            return
        readings = simulation.advance(rule.stroke_end(simulation.chainage_m))
