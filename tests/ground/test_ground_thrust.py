"""The force in the string against closed forms and a general solver of differential equations."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from steer.ground import Simulation
from steer.ground.presets import DRIVE, preset_scenario
from steer.ground.thrust import along, bends, joint_angles

STEP = 0.05


def test_belt_equation_of_euler_and_eytelwein() -> None:
    """Without skin friction N(0) = F·exp(μ·Σβ): 40 joints of 5 mm/m on 2 m pipes, μ 0.3 (any text on statics)."""
    angle = np.full(1601, 5.0)  # 80 m
    force = along(1000.0, np.zeros(1601), bends(angle, 2.0, STEP, 0.3), STEP)
    assert force[0] == pytest.approx(1000.0 * np.exp(0.3 * 40 * 0.005), rel=1e-9)
    assert force[-1] == 1000.0


def test_friction_and_bends_against_scipy() -> None:
    s = np.arange(0.0, 60.0 + 1e-9, STEP)
    angle, skin = 3.0 + 2.0 * np.sin(s / 7.0), 10.0 + 4.0 * np.cos(s / 11.0)
    force = along(300.0, skin, bends(angle, 3.0, STEP, 0.4), STEP)

    def rate(at: float, n: np.ndarray) -> np.ndarray:  # from the face (60 m) back to the shaft
        here = 60.0 - at
        beta = (3.0 + 2.0 * np.sin(here / 7.0)) / 1000.0
        return np.array([10.0 + 4.0 * np.cos(here / 11.0) + 0.4 * beta / 3.0 * n[0]])

    found = solve_ivp(rate, (0.0, 60.0), [300.0], rtol=1e-10, atol=1e-9, t_eval=60.0 - s[::-200])
    assert force[::-200] == pytest.approx(found.y[0], rel=1e-5)


def test_joint_angles_on_a_circle() -> None:
    """On curvature κ pipes of length L turn by κ·L against each other: R = 400 m, L = 2 m: 5 mm/m."""
    s = np.arange(0.0, 30.0, STEP)
    circle = np.column_stack([1000.0 * s**2 / (2.0 * 400.0), np.zeros_like(s)])
    angle = joint_angles(circle, 40, STEP)
    assert angle[40:-40] == pytest.approx(5.0, rel=1e-9)
    assert not angle[:40].any() and not angle[-40:].any()


def _driven(hand: float, mu: float) -> Simulation:
    """A drive in which the crew swings from side to side by `hand` mm of cylinder every ten strokes."""
    scenario = preset_scenario("dense sand", 3, copy.deepcopy(DRIVE))
    simulation = Simulation(scenario.with_(ground=replace(scenario.ground, bend_mu=mu)))
    simulation.start()
    while not simulation.finished:
        swing = hand * (1.0 if simulation.stroke // 10 % 2 else -1.0)
        simulation.advance(20.0 + swing * np.array([-1.0, -1.0, 1.0, 1.0]))
    return simulation


def test_who_swings_from_side_to_side_pays_for_it_in_thrust() -> None:
    calm, wild = (_driven(hand, 0.3).string_force_kn() for hand in (1.0, 9.0))
    assert wild[0] > 1.01 * calm[0]
    assert wild[-1] == pytest.approx(calm[-1])  # at the face it is the pressure on it alone
    calm, wild = (_driven(hand, 0.0).string_force_kn() for hand in (1.0, 9.0))
    assert wild == pytest.approx(calm)


def test_what_the_jacks_read_is_what_the_string_carries_at_the_shaft() -> None:
    simulation = _driven(6.0, 0.3)
    last = Simulation(simulation.scenario)
    readings = last.start()
    while not last.finished:
        swing = 6.0 * (1.0 if last.stroke // 10 % 2 else -1.0)
        readings = last.advance(20.0 + swing * np.array([-1.0, -1.0, 1.0, 1.0]))
    moving = [r["jacking_force_kn"] for r in readings if r["advance_mm_per_min"] > 0]
    # 18 readings with 3 % noise (sd), over the last metre of some 118 driven
    assert np.mean(moving) == pytest.approx(last.string_force_kn()[0], rel=0.025)
