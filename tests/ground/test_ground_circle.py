"""The steady circle of each ground against its closed form, and what must be conserved.

With play, gap and crab at zero a machine whose articulation is held runs into a circle. Its curvature follows
from equilibrium (derived in `steer.ground.bodies`); here the integrals of the elastic ground are taken by
scipy's quadrature and its two unknowns solved as they stand, which the simulation's own grid weights know
nothing of. Asked: 1 %.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from steer.ground import Ground, Guidance, Scenario, Simulation, Stretch, draw_scenario
from steer.ground.instruments import cylinders_for

BENT = np.array([6.0, -3.0])  # articulation, mm/m


def still(ground: Ground, front_m: float = 2.2, rear_m: float = 2.6, step_m: float = 0.05) -> Scenario:
    """A straight 120 m drive on this ground with nothing random in the motion."""
    base = draw_scenario(3, curved=False)
    drive = {name: dict(section) for name, section in base.drive.items()}
    drive["machine"] |= {"front_length_m": front_m, "rear_length_m": rear_m}
    drive["sd"] |= {"launch_mm": 0.0, "launch_mm_per_m": 0.0}
    drive["drive"]["stroke_m"] = 1.0
    drive["axis"]["horizontal"] = [{"kind": "line", "length_m": 120.0}]
    drive["axis"]["vertical"] = [{"kind": "grade", "length_m": 120.0, "grade_mm_per_m": 2.0}]
    calm = replace(ground, roll_sd_deg=0.0, setting_sd_mm=0.0)
    return Scenario(seed=1, drive=drive, ground=calm, guidance=Guidance(), step_m=step_m)


def path(scenario: Scenario, articulation: np.ndarray) -> Simulation:
    simulation = Simulation(scenario)
    settings = cylinders_for(simulation.machine, articulation, 0.0)
    while not simulation.finished:
        simulation.advance(settings)
    return simulation


def end_curvature(simulation: Simulation) -> np.ndarray:
    """Curvature over the last 20 m, mm/m², by fitting a parabola."""
    truth = simulation.truth()
    last = truth.chainage_m > truth.chainage_m[-1] - 20.0
    return np.array([2.0 * np.polyfit(truth.chainage_m[last], truth.face_mm[last, k], 2)[0] for k in (0, 1)])


def elastic_curvature(front: float, rear: float, ratio: float, side_cut: float) -> float:
    """κ/A of the elastic ground from moment and side force, unknowns κ and d = direction − heading.

    δ(x) = d·x − κ·x²/2 + (x − front)₊;  ∫k·x·δ = 0;  d = −side_cut/L²·∫k·δ.
    """
    length = front + rear

    def integral(power: int, bend: bool) -> float:
        def body(x: float) -> float:
            stiffness = 1.0 if x < front else ratio
            return stiffness * x**power * (max(x - front, 0.0) if bend else 1.0)

        return float(quad(body, 0.0, length, points=[front], epsabs=1e-12)[0])

    side = side_cut / length**2
    matrix = [
        [integral(2, False), -integral(3, False) / 2.0],
        [1.0 + side * integral(1, False), -side * integral(2, False) / 2.0],
    ]
    right = [-integral(1, True), -side * integral(0, True)]
    return float(np.linalg.solve(matrix, right)[1])


@pytest.mark.parametrize(
    ("front", "rear", "ratio", "side_cut"),
    [(2.0, 2.0, 1.0, 0.0), (1.37, 3.21, 2.5, 0.0), (2.9, 1.6, 0.5, 6.0), (1.2, 1.5, 1.0, 9.0)],
)
def test_elastic_circle(front: float, rear: float, ratio: float, side_cut: float) -> None:
    stretch = (Stretch(0.0, gain=(0.9, 0.7)),)
    ground = Ground("elastic", stretch, rear_stiffness=ratio, side_cut=side_cut)
    expected = elastic_curvature(front, rear, ratio, side_cut) * np.array([0.9, 0.7]) * BENT
    got = end_curvature(path(still(ground, front, rear), BENT))
    assert got == pytest.approx(expected, rel=0.01)


def test_elastic_circle_of_equal_bodies_is_five_sixths() -> None:
    """Uniform support, equal bodies, no side cut: κ = (5/6)·A/L, by hand in `bodies`."""
    assert elastic_curvature(2.0, 2.0, 1.0, 0.0) == pytest.approx(5.0 / 6.0 / 4.0, rel=1e-9)
    assert elastic_curvature(2.0, 2.0, 1.0, 1e9) == pytest.approx(1.5 / 4.0, rel=1e-6)


def test_front_body_turns_at_once_by_five_sixteenths() -> None:
    """Equal bodies on uniform support, straight bore: heading = A·∫x(x − L/2)₊/∫x² = 5/16·A."""
    ground = Ground("elastic", (Stretch(0.0, gain=(1.0, 1.0)),))
    simulation = Simulation(still(ground, 2.0, 2.0))
    simulation.advance(cylinders_for(simulation.machine, BENT, 0.0))
    assert simulation.truth().heading[1] == pytest.approx(BENT * 5.0 / 16.0, rel=0.01)


@pytest.mark.parametrize("kind", ["guided", "lagged"])
def test_circle_of_the_other_grounds(kind: str) -> None:
    """κ = 2·g·A/L, g the stretch's gain: a share of the rigid geometry."""
    ground = Ground(kind, (Stretch(0.0, gain=(0.6, 0.45)),), share=0.7, lag_m=5.0)
    expected = 2.0 * np.array([0.6, 0.45]) * BENT / 4.8
    assert end_curvature(path(still(ground), BENT)) == pytest.approx(expected, rel=0.01)


def grounds_with_everything() -> list[Ground]:
    return [
        replace(draw_scenario(seed, kind=kind).ground, crab_sd_mm_per_m=0.0, tendency_sd_mm_per_m2=0.0)
        for seed, kind in ((21, "elastic"), (22, "guided"), (23, "lagged"))
    ]


@pytest.mark.parametrize("ground", grounds_with_everything(), ids=lambda g: g.kind)
def test_mirrored_ground_mirrors_the_path(ground: Ground) -> None:
    """Crab, tendency and articulation with the other sign: the path with the other sign, play and gap
    included."""

    def other(pair: tuple[float, float]) -> tuple[float, float]:
        return (-pair[0], -pair[1])

    turned = tuple(
        replace(s, crab_mm_per_m=other(s.crab_mm_per_m), tendency_mm_per_m2=other(s.tendency_mm_per_m2))
        for s in ground.stretches
    )
    one = path(still(ground), BENT).truth().face_mm
    two = path(still(replace(ground, stretches=turned)), -BENT).truth().face_mm
    assert np.abs(one).max() > 100.0
    assert one == pytest.approx(-two, abs=1e-6)


@pytest.mark.parametrize("kind", ["elastic", "guided", "lagged"])
def test_half_the_step_gives_the_same_path(kind: str) -> None:
    """A whole drawn drive, crab wandering, play, gap, steered left and right: within 1 % of its own size."""
    paths = []
    for step in (0.05, 0.025):
        scenario = draw_scenario(31, kind=kind, curved=False).with_(step_m=step)
        simulation = Simulation(scenario)
        number = 0
        while not simulation.finished:
            wanted = 8.0 * np.array([np.sin(0.5 * number), np.cos(0.4 * number)])
            simulation.advance(cylinders_for(simulation.machine, wanted, 0.0))
            number += 1
        paths.append(simulation.truth().face_mm[:: round(0.05 / step)])
    size = np.abs(paths[0]).max()
    assert size > 100.0
    assert np.abs(paths[0] - paths[1]).max() < 0.01 * size
