"""The advice followed to the letter on simulated ground: a curve of R = 450 m, and answers far from what
the estimate begins with. Ground, play and noise are the practice ground's (invented)."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from odd_ground import KINDS, OddDrive

from steer.closed_loop import Advised, Driven, drive_whole
from steer.drivefile import parse_drive
from steer.ground import Ground, Scenario, Simulation, Stretch, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.presets import DRIVE

LENGTH_M = 140.0
LINE = [{"kind": "line", "length_m": LENGTH_M}]
# 2.2 mm/m² asks a machine of 4.8 m for 9 mm/m at 0.6 of the rigid answer; it has 38
CURVE = [
    {"kind": "line", "length_m": 40.0},
    {"kind": "arc", "length_m": 60.0, "radius_m": 450.0, "turn": "right"},
    {"kind": "line", "length_m": 40.0},
]


def driven(kind: str, seed: int, horizontal: list, gain: float, stroke_m: float = 1.0, **ground) -> Driven:
    drive = copy.deepcopy(DRIVE)
    drive["drive"]["stroke_m"] = stroke_m
    start = drive["axis"]["start"]
    drive["axis"] = {
        "start": start,
        "horizontal": horizontal,
        "vertical": [{"kind": "grade", "length_m": LENGTH_M, "grade_mm_per_m": 4.0}],
    }
    drive["reference"] = drive["reference"] | {"kind": "axis", "right_mm_per_m": 0.0, "up_mm_per_m": 0.0}
    drive["machine"] = drive["machine"] | {"max_articulation_mm_per_m": 38.0, "max_change_mm_per_m": 10.0}
    drive["pipe"] = drive["pipe"] | {"length_m": 2.0, "max_joint_angle_mm_per_m": 12.0}
    more = {"play_mm_per_m": (1.0, 1.0), "lag_m": 4.8} | ground
    lagged = kind == "lagged"
    made = Ground(
        kind=kind,
        stretches=(Stretch(0.0, (gain, gain), (0.3, -0.5) if lagged else (0.8, -1.2)),),
        crab_sd_mm_per_m=0.15 if lagged else 0.5,
        tendency_sd_mm_per_m2=0.1 if lagged else 0.0,
        **more,
    )
    scenario = Scenario(seed=seed, drive=drive, ground=made)
    file = parse_drive(drive_toml(drive))
    return drive_whole(file, Simulation(scenario), Advised(file))


@pytest.mark.parametrize(("kind", "gain"), [("elastic", 0.9), ("guided", 0.6), ("lagged", 0.6)])
def test_curve_of_450_m_stays_within_25_mm(kind: str, gain: float) -> None:
    """Through the whole curve, its beginning and its end, with no easing at either."""
    found = driven(kind, 7, CURVE, gain)
    through = found.chainage_m > 30.0
    assert np.abs(found.line_mm[through]).max() < 25.0
    assert np.abs(found.level_mm[through]).max() < 25.0
    middle = found.articulation[55:85, 0].mean()
    assert middle > 4.0  # the design curve's own articulation is held


# the estimate begins with 0.55 of the rigid answer
STRESSED = [
    ("guided", 0.28, 1.5, 2.0, {}),
    ("guided", 1.1, 1.5, 2.0, {}),
    ("elastic", 0.5, 1.5, 2.0, {}),
    ("elastic", 1.2, 1.5, 2.0, {}),
    ("lagged", 0.28, 1.0, 2.0, {"lag_m": 4.8}),
    ("lagged", 0.55, 1.5, 2.0, {"lag_m": 7.2}),
    ("lagged", 1.1, 1.5, 2.0, {"lag_m": 7.2}),
]


@pytest.mark.parametrize(("kind", "gain", "stroke_m", "play", "more"), STRESSED)
def test_stable_at_half_and_twice_the_answer_with_play_and_long_strokes(
    kind: str, gain: float, stroke_m: float, play: float, more: dict
) -> None:
    """Inside 50 mm after 20 m, and not growing: the last third no worse than what came before."""
    found = driven(kind, 8, LINE, gain, stroke_m, play_mm_per_m=(play, play), **more)
    s = found.chainage_m
    for offset in (found.line_mm, found.level_mm):
        before, last = offset[(s > 20.0) & (s < 95.0)], offset[s >= 95.0]
        assert np.abs(offset[s > 20.0]).max() < 50.0
        assert np.sqrt(np.mean(last**2)) < 2.0 * np.sqrt(np.mean(before**2)) + 2.0


@pytest.mark.parametrize(("name", "seed"), [("two lags", 6), ("dead 2 m", 6), ("layers", 32)])
def test_ground_of_another_structure_does_not_swing(name: str, seed: int) -> None:
    """Ground (tests/support/odd_ground.py, invented) on which the rule of thumb swings by 200 mm and more (on
    layers 95), as steering did before two of the models waited for an answer and one let the crab come and go."""
    drive = OddDrive(KINDS[name], seed)
    steerer = Advised(parse_drive(drive_toml(drive.toml)))
    for reading in drive.start():
        steerer.reading(reading)
    while not drive.finished:
        for reading in drive.advance(steerer.stroke_end(drive.chainage_m)):
            steerer.reading(reading)
        for shot in drive.shots():
            steerer.shot(shot)
    assert np.abs(drive.driven()).max() < 60.0


class SpotsAlone(Advised):
    """Follows the advice, which is given neither headings nor cylinders nor roll."""

    def reading(self, reading: dict) -> None:
        missing = ("yaw_mm_per_m", "pitch_mm_per_m", "cylinder_mm", "roll_deg", "time")
        super().reading({name: value for name, value in reading.items() if name not in missing})


def test_a_joint_that_the_bore_has_settled_does_not_take_the_machine_from_line() -> None:
    """Ground that answers 6.6 m late and turns about at 33 m. What the joints behind the face have come to cannot
    be mended: to steer for it first took the machine a metre away, and the joints to 14 mm/m where 8 are allowed.
    It was 0.25 m off the line by 80 m then, and 0.3 m off the level by 140 m, which is as far as is driven."""
    scenario = draw_scenario(50000)
    file = parse_drive(drive_toml(scenario.drive))
    found = drive_whole(file, Simulation(scenario), SpotsAlone(file), round(140.0 / file.drive.stroke_m))
    assert found.chainage_m[-1] > 135.0
    assert np.abs(found.line_mm).max() < 60.0
    assert np.abs(found.level_mm).max() < 60.0
