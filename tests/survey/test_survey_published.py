"""The adjustment against published networks and worked reductions."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from steer.survey import ControlPoint, Observation, read_control, read_observations, reduce_network
from steer.survey.observations import ARC_SECOND

DATA = Path(__file__).parent / "data"
TENTH_MM = 1e-4


def published(name: str):
    return read_observations(DATA / f"{name}_observations.csv"), read_control(DATA / f"{name}_control.csv")


def angle(d: int, m: int, s: float) -> float:
    return math.radians(d + m / 60 + s / 3600)


def test_textbook_network_with_its_blunder():
    """Ghilani 2010, problem 21.10 (data/SOURCES.md); results computed with scipy's least_squares."""
    result = reduce_network(*published("network_textbook"))
    for name, easting, northing in (("C", 9787.8250, 8038.5354), ("D", 9260.8604, 4843.9341)):
        assert result.point(name).easting_m == pytest.approx(easting, abs=TENTH_MM)
        assert result.point(name).northing_m == pytest.approx(northing, abs=TENTH_MM)
    assert result.degrees_of_freedom == 9
    assert result.variance_factor == pytest.approx(95.9, abs=0.05)
    assert result.passed is False
    # The angle A to B at D closes its triangle by 62 seconds: the directions of set 1 at D, no others.
    assert sorted(result.suspect_rows) == [14, 15]


def test_textbook_network_without_the_blunder():
    observations, control = published("network_textbook")
    result = reduce_network([o for o in observations if o.row not in (14, 15)], control)
    expected = {"C": (9787.8386, 8038.4862, 10.3, 18.1), "D": (9260.8829, 4843.8755, 10.5, 16.4)}
    for name, (easting, northing, sd_easting, sd_northing) in expected.items():
        point = result.point(name)
        assert point.easting_m == pytest.approx(easting, abs=TENTH_MM)
        assert point.northing_m == pytest.approx(northing, abs=TENTH_MM)
        assert point.sd_mm[0] == pytest.approx(sd_easting, rel=0.01)
        assert point.sd_mm[1] == pytest.approx(sd_northing, rel=0.01)
    assert result.degrees_of_freedom == 8
    assert result.variance_factor == pytest.approx(1.34, abs=0.005)
    assert result.passed is True
    assert result.suspect_rows == ()


def test_what_leaving_the_suspects_out_would_give_is_the_network_without_them():
    result = reduce_network(*published("network_textbook"))
    assert result.without_suspects is not None
    c = next(p for p in result.without_suspects.points if p.point == "C")
    assert (c.easting_m, c.northing_m) == pytest.approx((9787.8386, 8038.4862), abs=TENTH_MM)


def test_network_in_gon():
    """Niemeier 2008, pp. 156 to 162 (data/SOURCES.md)."""
    result = reduce_network(*published("network_gon"))
    for name, easting, northing in (("Z108", 40759.3769, 27816.1166), ("Z110", 41373.0193, 27904.0042)):
        assert result.point(name).easting_m == pytest.approx(easting, abs=TENTH_MM)
        assert result.point(name).northing_m == pytest.approx(northing, abs=TENTH_MM)
    assert result.degrees_of_freedom == 8
    assert result.variance_factor == pytest.approx(0.9664**2, abs=0.001)
    assert result.suspect_rows == ()


def polar(bearing_rad, sd_sec, length_m, sd_m, **more):
    """A known station that sights one very distant, perfectly known mark due north, and one new point."""
    control = [ControlPoint("S", 0.0, 0.0, 0.0), ControlPoint("MARK", 0.0, 1e6, None)]
    observations = [
        Observation(2, "S", "MARK", "direction", 0.0, 1e-6 * ARC_SECOND, "1"),
        Observation(3, "S", "P", "direction", bearing_rad, sd_sec * ARC_SECOND, "1"),
        Observation(3, "S", "P", "slope" if more else "distance", length_m, sd_m, **more),
    ]
    return observations, control


def test_polar_point_with_its_errors():
    """Ghilani and Wolf, Adjustment Computations, example 8.1: 456.87 ± 0.02 ft, azimuth 23°35′26″ ± 9″.

    Inputs from the book, results by its equations 8.1 to 8.3; the foot serves as the metre here."""
    point = reduce_network(*polar(angle(23, 35, 26), 9.0, 456.87, 0.02)).point("P")
    assert point.northing_m == pytest.approx(418.6888, abs=TENTH_MM)
    assert point.easting_m == pytest.approx(182.8384, abs=TENTH_MM)
    assert point.sd_mm[1] == pytest.approx(19.99, rel=0.001)
    assert point.sd_mm[0] == pytest.approx(19.95, rel=0.001)
    assert point.covariance_mm2[0, 1] == pytest.approx(9.56e-7 * 1e6, abs=0.005)


def test_slope_reduction_with_instrument_and_target_heights():
    """Zenith 83.186944°, slope 145.145 m, instrument 1.62, target 0.05 m: horizontal 144.12006, height
    difference 18.78858 m (GeodePy, Geoscience Australia, its survey test: no curvature or refraction)."""
    heights = {"instrument_height_m": 1.62, "target_height_m": 0.05}
    observations, control = polar(math.radians(30.0), 1.0, 145.145, 0.001, **heights)
    observations.append(
        Observation(3, "S", "P", "zenith", math.radians(83.186944), ARC_SECOND, "", 1.62, 0.05)
    )
    point = reduce_network(observations, control, None).point("P")
    assert math.hypot(point.easting_m, point.northing_m) == pytest.approx(144.12006, abs=1e-5)
    assert point.level_m == pytest.approx(18.78858, abs=1e-5)


@pytest.mark.parametrize("length_m, fall_m", [(100.0, 0.00078), (1000.0, 0.07846)])
def test_curvature_and_refraction_lift_the_level(length_m, fall_m):
    """Fall of the sphere below a tangent plane (accelerator alignment proposal, table t71_a: 100 m 0.00078,
    1000 m 0.07846 m); refraction takes the share K of it away."""
    level = {}
    for k in (None, 0.0, 0.13):
        observations, control = polar(0.5, 1.0, length_m, 0.001, instrument_height_m=0.0)
        observations.append(Observation(3, "S", "P", "zenith", math.pi / 2, ARC_SECOND))
        level[k] = reduce_network(observations, control, k).point("P").level_m
    assert level[None] == pytest.approx(0.0, abs=1e-9)
    assert level[0.0] == pytest.approx(fall_m, rel=5e-4, abs=5e-6)
    assert level[0.13] == pytest.approx(0.87 * fall_m, rel=5e-4, abs=5e-6)


@pytest.mark.parametrize("legs, total_m, sd_sec, expected_mm", [(5, 300.0, 5.0, 10.79)])
def test_open_traverse_spreads_sideways_as_published(legs, total_m, sd_sec, expected_mm):
    """Lateral sd s·σ·sqrt(n/3 + 1/2 + 1/(6n)) of an open traverse (Chrzanowski, Canadian Surveyor 35(1),
    1981; the formula from memory, 10.79 mm computed for n = 5, s = 300 m, σ = 5″). σ: of an
    angle; s: the whole length."""
    names = ["BACK"] + [f"T{k}" for k in range(legs + 1)]
    control = [ControlPoint("BACK", 0.0, -1e6, None), ControlPoint("T0", 0.0, 0.0, None)]
    sd = sd_sec / math.sqrt(2.0) * ARC_SECOND
    observations = []
    for k in range(1, legs + 1):
        observations += [
            Observation(2 * k, names[k], names[k - 1], "direction", math.pi, sd, "1"),
            Observation(2 * k + 1, names[k], names[k + 1], "direction", 0.0, sd, "1"),
            Observation(2 * k + 1, names[k], names[k + 1], "distance", total_m / legs, 0.001),
        ]
    point = reduce_network(observations, control).point(f"T{legs}")
    formula = total_m * 1e3 * sd_sec * ARC_SECOND * math.sqrt(legs / 3 + 0.5 + 1 / (6 * legs))
    assert formula == pytest.approx(expected_mm, abs=0.005)
    assert point.sd_mm[0] == pytest.approx(expected_mm, rel=0.001)
    assert point.northing_m == pytest.approx(total_m, abs=1e-6)
    assert np.isnan(point.sd_mm[2]) and point.level_m is None
