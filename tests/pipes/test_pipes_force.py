"""Friction against scipy's estimator and against forces made with known friction."""

import numpy as np
import pytest
from scipy.stats import theilslopes

from steer.pipes import face_share_kn, forecast_force, limit_reached, stretches, stroke_forces, theil_sen

GIRTH = np.pi * 1.47


def made(rng: np.random.Generator, friction: list[tuple[float, float]], end: float, noise: float = 15.0):
    """Force on pipe surface alone: (from chainage, kPa) pairs; one stroke a 0.9 m."""
    s = np.arange(0.9, end, 0.9)
    rate = np.array([[k for at, k in friction if at <= x][-1] for x in s])
    return s, np.cumsum(rate * GIRTH * 0.9) + rng.normal(0, noise, len(s))


@pytest.mark.parametrize("seed", range(5))
def test_slope_and_interval_as_scipy(seed: int) -> None:
    """scipy.stats.theilslopes (Sen 1968)."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 90, 60))
    y = 11.0 * x + rng.normal(0, 20, 60)
    y[rng.integers(0, 60, 9)] += 800.0
    slope, low, high, intercept = theil_sen(x, y)
    want = theilslopes(y, x, alpha=0.95)
    assert (slope, low, high, intercept) == pytest.approx(
        (want.slope, want.low_slope, want.high_slope, want.intercept), rel=1e-9
    )
    assert slope == pytest.approx(11.0, abs=0.5)


def test_no_slope_from_one_place() -> None:
    with pytest.raises(ValueError, match="two different chainages"):
        theil_sen(np.ones(5), np.arange(5.0))


def test_one_friction_stays_one_stretch() -> None:
    alone = 0
    for seed in range(40):
        s, force = made(np.random.default_rng(seed), [(0, 3.0)], 100.0)
        alone += len(stretches(s, force, GIRTH)) == 1
    assert alone >= 38


def test_a_change_of_friction_is_found_where_it_was() -> None:
    for seed in range(20):
        s, force = made(np.random.default_rng(seed), [(0, 2.0), (60.0, 6.0)], 120.0)
        found = stretches(s, force, GIRTH)
        assert len(found) == 2
        assert found[1].from_m == pytest.approx(60.0, abs=4.0)
        assert found[0].friction_kpa == pytest.approx(2.0, abs=0.4)
        assert found[1].friction_kpa == pytest.approx(6.0, abs=0.4)


def test_wild_readings_do_not_turn_the_slope() -> None:
    s, force = made(np.random.default_rng(3), [(0, 3.0)], 100.0)
    force[::9] += 2500.0
    found = stretches(s, force, GIRTH)
    assert found[-1].friction_kpa == pytest.approx(3.0, abs=0.5)


def test_interval_holds_the_true_friction() -> None:
    held = 0
    for seed in range(200):
        s, force = made(np.random.default_rng(seed), [(0, 4.0)], 60.0)
        part = stretches(s, force, GIRTH)[-1]
        held += part.friction_low_kpa <= 4.0 <= part.friction_high_kpa
    assert 0.90 <= held / 200 <= 0.99  # 95 %, less what stretches found by chance cost


def test_too_little_says_nothing() -> None:
    assert stretches(np.arange(5.0), np.arange(5.0), GIRTH) == ()
    assert stretches(np.zeros(0), np.zeros(0), GIRTH) == ()


def test_forecast_and_limit() -> None:
    """Without noise: 4 kPa on 1.47 m goes 18.47 kN/m; from 60 m a limit of 1500 kN is met at 81.2 m."""
    s = np.arange(0.9, 60.01, 0.9)
    part = stretches(s, 4.0 * GIRTH * s, GIRTH)[-1]
    ahead = forecast_force(part, 0.0, 150.0)
    assert ahead.force_kn[-1] == pytest.approx(4.0 * GIRTH * 150.0, rel=1e-6)
    forces = stroke_forces(
        [{"chainage_m": x, "jacking_force_kn": 4.0 * GIRTH * x} for x in s.tolist()], 0.0, 0.9
    )
    met = limit_reached("main jacks", 1500.0, forces, ahead)
    assert met.measured_m is None
    assert met.expected_m == pytest.approx(1500.0 / (4.0 * GIRTH), abs=0.11)
    assert met.restart_m == pytest.approx(1500.0 / 1.4 / (4.0 * GIRTH), abs=2.0)  # 58 m: at once, at 59.4 m
    assert limit_reached("main jacks", 5000.0, forces, ahead).expected_m is None
    over = limit_reached("main jacks", 1000.0, forces, ahead)
    assert over.measured_m == pytest.approx(1000.0 / (4.0 * GIRTH), abs=0.91)


def test_readings_become_strokes() -> None:
    """A breaking-away peak counts as the largest, not as the stroke's force; rebound is no new ground."""
    rows = [(0.0, 100, 0, 50), (0.5, 300, 60, 50), (1.0, 310, 60, 60), (0.98, 90, 0, None),
            (0.99, 700, 60, None), (1.5, 330, 60, 70), (2.0, 340, 60, 80), (57.0, 9999, 60, 0)]  # fmt: skip
    bodies = [
        {"chainage_m": s, "jacking_force_kn": f, "advance_mm_per_min": v, "face_pressure_kpa": p}
        for s, f, v, p in rows
    ] + [{"chainage_m": 2.0}]
    found = stroke_forces(bodies, 0.0, 1.0, upto_m=2.0)
    assert found.chainage_m.tolist() == [0.0, 1.0, 2.0]
    assert np.isnan(found.force_kn[0]) and found.force_kn[1:].tolist() == [305.0, 335.0]
    assert found.largest_kn.tolist() == [100.0, 700.0, 340.0]
    assert found.largest_at_m[1] == 0.99
    assert found.face_pressure_kpa[2] == 75.0


def test_face_share() -> None:
    assert float(face_share_kn(np.array(100.0), 2000.0)) == pytest.approx(100.0 * np.pi)
