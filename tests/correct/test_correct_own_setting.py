"""An own setting: the whole steps that make most nearly what was typed, and what is shown is what they make.

Held against every combination of whole steps near it, each turned back by least squares (numpy's).
"""

from __future__ import annotations

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from steer.correct.own_setting import try_setting
from steer.drivefile import parse_drive
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml
from steer.machine.cylinders import extension_rows, extensions


def machine_of(**cylinders):
    toml = draw_scenario(3).drive
    toml["machine"] |= {"max_articulation_mm_per_m": 38.0, "max_change_mm_per_m": 20.0}
    toml["machine"]["cylinders"] |= {
        "positions_deg": [45, 135, 225, 315], "circle_radius_mm": 600.0, "range_mm": [0.0, 40.0],
        "neutral_mm": 20.0, "step_mm": 0.5,
    } | cylinders  # fmt: skip
    return parse_drive(drive_toml(toml)).machine


def made_of(machine, cylinder_mm, roll_deg: float) -> np.ndarray:
    rows = extension_rows(roll_deg, machine.cylinders)
    return np.linalg.lstsq(rows, np.asarray(cylinder_mm) - machine.cylinders.neutral_mm, rcond=None)[0]


def standing(machine, cylinder_mm, roll_deg: float = 0.0) -> SimpleNamespace:
    right, up = made_of(machine, cylinder_mm, roll_deg)
    return SimpleNamespace(
        roll_deg=roll_deg, cylinder_now_mm=tuple(cylinder_mm), now_right_mm_per_m=right, now_up_mm_per_m=up
    )


@pytest.mark.parametrize(
    "stands",
    [
        (20.5, 20.5, 20.5, 20.0),
        (20.03, 20.29, 19.92, 20.17),
        (23.0, 19.5, 18.0, 21.0),
        (14.0, 12.5, 13.0, 15.0),
    ],
)
def test_what_is_typed_as_it_stands_leaves_the_cylinders(stands: tuple[float, ...]) -> None:
    machine = machine_of()
    advice = standing(machine, stands, 2.0)
    now = (advice.now_right_mm_per_m, advice.now_up_mm_per_m)
    tried = try_setting(machine, advice, round(now[0], 1), round(now[1], 1))
    assert tried.cylinder_mm == stands and not tried.problems
    assert (tried.right_mm_per_m, tried.up_mm_per_m) == pytest.approx(now)


def test_one_plane_asked_anew_keeps_the_other_as_it_stands() -> None:
    machine = machine_of(step_mm=0.1)
    advice = standing(machine, (20.74, 19.32, 18.21, 21.35))
    now = (advice.now_right_mm_per_m, advice.now_up_mm_per_m)
    tried = try_setting(machine, advice, round(now[0], 1), now[1] + 2.0)
    assert np.mod(np.array(tried.cylinder_mm) / 0.1 + 1e-6, 1.0) == pytest.approx(0.0, abs=1e-5)
    assert (tried.right_mm_per_m, tried.up_mm_per_m) == pytest.approx((now[0], now[1] + 2.0), abs=0.045)


@pytest.mark.parametrize("seed", range(12))
def test_no_combination_of_whole_steps_is_nearer(draw, seed: int) -> None:
    rng, drive, *_ = draw(seed)
    machine = with_room(drive.machine)
    if len(machine.cylinders.positions_deg) > 4:
        machine = machine_of(step_mm=float(rng.choice([0.5, 1.0, 2.0])))
    roll = float(rng.uniform(-8.0, 8.0))
    cyl = machine.cylinders
    stands = np.round((cyl.neutral_mm + rng.normal(size=len(cyl.positions_deg))) / cyl.step_mm) * cyl.step_mm
    advice = standing(machine, stands.tolist(), roll)
    wanted = made_of(machine, stands, roll) + rng.uniform(0.2, 1.0, 2)
    tried = try_setting(machine, advice, *wanted)
    base = np.round(extensions(*wanted, roll, cyl) / cyl.step_mm)
    every = (base + np.array(list(itertools.product(range(-3, 4), repeat=len(base))))) * cyl.step_mm
    least = min(np.hypot(*(made_of(machine, one, roll) - wanted)) for one in every)
    made = made_of(machine, tried.cylinder_mm, roll)
    assert (tried.right_mm_per_m, tried.up_mm_per_m) == pytest.approx(tuple(made))
    assert np.hypot(*(made - wanted)) <= least + 0.03 * 1000.0 * cyl.step_mm / cyl.circle_radius_mm


def with_room(machine):
    """The machine with room on all sides: it is the rounding that is looked at."""
    cylinders = machine.cylinders.model_copy(update={"range_mm": (-200.0, 200.0)})
    return machine.model_copy(update={"cylinders": cylinders, "max_articulation_mm_per_m": 100.0})


def test_limits_are_those_of_what_is_made() -> None:
    machine = machine_of(step_mm=3.0)
    advice = standing(machine, (21.0,) * 4)
    most = machine.max_change_mm_per_m
    kept = try_setting(machine, advice, most, 0.0)
    assert not kept.problems and kept.right_mm_per_m <= most + 1e-9
    beyond = try_setting(machine, advice, most + 3.0, 0.0)
    assert beyond.right_mm_per_m > most and not beyond.problems
    assert [limit.code for limit in beyond.beyond] == ["line_change"]
    far = try_setting(machine, advice, 99.0, 99.0).problems
    assert any("both planes" in p for p in far) and any("cylinder" in p for p in far)


def test_a_mean_that_the_range_does_not_allow_is_left_for_neutral() -> None:
    machine = machine_of()
    advice = standing(machine, (38.0,) * 4)
    tried = try_setting(machine, advice, 10.0, 0.0)
    assert not tried.problems and max(tried.cylinder_mm) <= 40.0
    assert abs(tried.right_mm_per_m - 10.0) < 0.5
