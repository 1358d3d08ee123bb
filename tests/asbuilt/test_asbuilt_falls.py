"""Grade, backfall and ponding against closed forms."""

import numpy as np
import pytest

from steer.asbuilt.falls import falls, grades, ponds
from steer.axis import Axis, axis_from_spec

S = np.arange(0.0, 100.0 + 1e-9, 0.1)


def axis(grade: float, second: float | None = None) -> Axis:
    vertical = [{"kind": "grade", "length_m": 100.0, "grade_mm_per_m": grade}]
    if second is not None:
        vertical = [
            {
                "kind": "parabola",
                "length_m": 100.0,
                "grade_start_mm_per_m": grade,
                "grade_end_mm_per_m": second,
            }
        ]
    return axis_from_spec(
        {"chainage_m": 0.0, "easting_m": 0.0, "northing_m": 0.0, "level_m": 50.0, "bearing_deg": 30.0},
        [{"kind": "line", "length_m": 100.0}],
        vertical,
    )


@pytest.mark.parametrize("base", [1.8, 10.0])
def test_grade_of_a_parabola_over_any_base_is_that_at_its_middle(base: float) -> None:
    found = grades(axis(-2.0, 8.0), S, 0 * S, base)
    assert found.achieved_mm_per_m == pytest.approx(-2.0 + 0.1 * found.chainage_m, abs=1e-6)
    assert found.design_mm_per_m == pytest.approx(found.achieved_mm_per_m, abs=1e-6)
    assert found.chainage_m[0] >= base / 2 - 1e-6 and found.chainage_m[-1] <= 100 - base / 2 + 1e-6


def test_a_steady_climb_off_the_design_adds_to_its_grade() -> None:
    found = grades(axis(5.0), S, 0.7 * S, 2.0)
    assert found.achieved_mm_per_m == pytest.approx(5.7, abs=1e-3)
    assert found.design_mm_per_m == pytest.approx(5.0, abs=1e-9)


@pytest.mark.parametrize(("grade", "flow"), [(2.0, -1), (-2.0, 1)])
def test_backfall_and_pond_of_a_hump(grade: float, flow: int) -> None:
    """A triangle 12 mm high over 4 m, its sides at 6 mm/m, on a fall of 2 mm/m: on its upper side the pipe
    climbs at 4 mm/m over 2 m, 8 mm; water stands that deep, and 8/2 + 2 = 6 m long in all."""
    hump = np.maximum(12.0 - 6.0 * np.abs(S - 50.0), 0.0)
    found = falls(axis(grade), S, hump, 0.2, 0.5)
    assert found is not None and found.flow == flow
    assert sum(r.length_m for r in found.backfalls) == pytest.approx(2.0, abs=0.2)
    assert found.least_fall_mm_per_m == pytest.approx(-4.0, abs=0.01)
    (pond,) = found.ponds
    assert pond.depth_mm == pytest.approx(8.0, abs=0.05)
    assert pond.run.length_m == pytest.approx(6.0, abs=0.25)
    assert pond.deepest_m == pytest.approx(50.0 - flow * 2.0, abs=0.11)


def test_flat_is_less_than_the_least_fall_asked_for() -> None:
    found = falls(axis(-0.4), S, 0 * S, 2.0, 0.5)
    assert found is not None and not found.backfalls and not found.ponds
    assert sum(r.length_m for r in found.flats) == pytest.approx(98.0, abs=0.2)
    steep = falls(axis(-0.6), S, 0 * S, 2.0, 0.5)
    assert steep is not None and not steep.flats


def test_a_level_design_has_no_flow() -> None:
    found = falls(axis(0.0), S, 3.0 * np.sin(S), 2.0, 0.5)
    assert found is not None and found.flow == 0 and not found.backfalls


def test_shorter_than_a_pipe() -> None:
    assert falls(axis(2.0), S[:5], 0 * S[:5], 2.0, 0.5) is None


def test_ponds_against_filling_by_hand() -> None:
    """Every place's water is the highest invert between it and the outlet."""
    rng = np.random.default_rng(6)
    height = np.cumsum(rng.normal(-0.5, 3, 200))
    found = ponds(np.arange(200.0), height, 1)
    water = np.array([height[i:].max() for i in range(200)])
    depth = water - height
    assert max(p.depth_mm for p in found) == pytest.approx(depth.max())
    for pond in found:
        assert depth[int(pond.deepest_m)] == pytest.approx(pond.depth_mm)
    back = ponds(np.arange(200.0), height[::-1], -1)
    assert sorted(p.depth_mm for p in back) == pytest.approx(sorted(p.depth_mm for p in found))
