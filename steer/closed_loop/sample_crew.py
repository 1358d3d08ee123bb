"""Steers the sample drive of `sample_surveys/` anew and writes all its files. Run by hand, when the ground of the
sample has changed:

    python -m steer.closed_loop.sample_crew
    python -m steer.ground.sample_shots

The crew sets what the tool proposes, but never moves a cylinder by more than `MOST_MM` at a time: what asks
for more is gone half way, and the log calls that an own setting.
"""

from __future__ import annotations

import numpy as np

from steer.closed_loop.advised import body_of
from steer.closed_loop.from_files import decide
from steer.closed_loop.memory import drive_in_memory
from steer.drivefile import parse_drive
from steer.ground.folder import drive_toml
from steer.ground.sample import DRIVEN_M, HERE, Setting, sample_scenario, write_sample, write_settings
from steer.ground.sample_shots import GOES_ON_TO_M, SURVEYS, TURNED_SETTINGS, turned_scenario
from steer.ground.scenario import Scenario
from steer.ground.simulator import Simulation

MOST_MM = 2.5


def crew_settings(scenario: Scenario, to_m: float) -> list[Setting]:
    """What the crew set for each stroke up to a chainage, and a last one without extensions there."""
    drive = drive_in_memory(parse_drive(drive_toml(scenario.drive)))
    simulation = Simulation(scenario)
    cylinders = drive.file.machine.cylinders
    standing = np.full(len(cylinders.positions_deg), cylinders.neutral_mm)
    settings: list[Setting] = []
    readings = simulation.start()
    while True:
        for reading in readings:
            drive.add("reading", body_of(reading))
        for shot in simulation.shots():
            drive.add("check_shot", body_of(shot))
        at, time = round(simulation.chainage_m, 4), readings[-1]["time"]
        if settings:
            drive.stroke_end(at)
        if at > to_m - 1e-6:
            return [*settings, Setting(time, at, None)]
        advice = drive.advice()
        assert advice is not None
        wanted = np.array(advice.correction.cylinder_mm)
        if np.abs(wanted - standing).max() > MOST_MM:
            wanted = np.round((standing + wanted) / 2.0 / cylinders.step_mm) * cylinders.step_mm
        decide(drive, wanted)
        standing = wanted
        settings.append(Setting(time, at, standing))
        readings = simulation.advance(standing)


if __name__ == "__main__":
    driven = crew_settings(sample_scenario(), DRIVEN_M)
    write_sample(HERE, driven)
    # the beam turns only from there on, so what was set before is the same
    goes_on = crew_settings(turned_scenario(), GOES_ON_TO_M)[len(driven) - 1 :]
    write_settings(SURVEYS / TURNED_SETTINGS, goes_on)
