"""Intervals against scipy; effects paired on the same grounds; ranges read, refused and read back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from steer.drivefile import parse_drive
from steer.errors import InputRefused
from steer.ground.folder import drive_toml
from steer.ground.from_file import drive_dict
from steer.ground.presets import DRIVE
from steer.study import Outcome, Ranges, Task, answer, load_ranges, ranges_text, tasks_of
from steer.study.answers import report
from steer.study.drawing import draw
from steer.study.intervals import bootstrap, wilson
from steer.study.outputs import csv_text

FILE = parse_drive(drive_toml(DRIVE))


@pytest.mark.parametrize(("hits", "trials"), [(0, 10), (1, 10), (7, 12), (50, 100), (997, 1000), (20, 20)])
def test_wilson_against_scipy(hits: int, trials: int) -> None:
    found = stats.binomtest(hits, trials).proportion_ci(0.95, method="wilson")
    assert wilson(hits, trials) == pytest.approx((found.low, found.high), abs=1e-12)


def test_wilson_for_nothing_tried() -> None:
    assert wilson(0, 0) == (0.0, 1.0)


@pytest.mark.parametrize("statistic", [np.mean, np.std])
def test_bootstrap_against_scipy(statistic) -> None:  # type: ignore[no-untyped-def]
    """Both are random: they agree within a few percent of the interval's width."""
    values = np.random.default_rng(5).gamma(2.0, 3.0, 80)
    theirs = stats.bootstrap(
        (values,), statistic, n_resamples=9999, method="percentile", rng=np.random.default_rng(1)
    ).confidence_interval
    mine = bootstrap(values, statistic)
    assert mine == pytest.approx((theirs.low, theirs.high), abs=0.06 * (theirs.high - theirs.low))
    assert bootstrap(values, statistic) == mine  # the same values, the same interval


def test_bootstrap_interval_holds_the_mean_as_often_as_it_says() -> None:
    rng = np.random.default_rng(9)
    inside = 0
    for _ in range(200):
        low, high = bootstrap(rng.normal(3.0, 1.0, 60))
        inside += low <= 3.0 <= high
    assert 0.89 <= inside / 200 <= 0.99
    assert np.isnan(bootstrap(np.array([1.0]))).all()


def outcome(index: int, seed: int, factor: str = "", level: float = 1.0, **given: float) -> Outcome:
    figures = {
        "end_line_mm": 1.0, "end_level_mm": 1.0, "worst_line_mm": 9.0, "worst_level_mm": 9.0, "rms_line_mm": 3.0,
        "rms_level_mm": 4.0, "outside_m": 0.0, "joint_mm_per_m": 2.0, "change_mm_per_m": 1.0, "force_kn": 500.0,
        "allowed_kn": 900.0, "joint_share": 0.5,
    } | given  # fmt: skip
    return Outcome(Task(index, seed, factor, level), "guided", figures.pop("in_eye", 1.0) > 0, **figures)


def test_counts_by_hand() -> None:
    outcomes = [
        outcome(0, 1),
        outcome(1, 2, in_eye=0.0, outside_m=6.0, joint_mm_per_m=9.0, joint_share=1.1),
        outcome(2, 3),
        outcome(3, 4),
        Outcome(Task(4, 5), failed="ValueError: why"),
    ]
    found = answer(FILE, outcomes)
    values = {f.what: f.value for f in found.planned}
    assert found.drives == 4 and found.failed == 1
    assert values["probability of arriving in the eye"] == 0.75
    assert values["probability of leaving tolerance anywhere"] == 0.25
    assert values["metres outside tolerance, expected"] == 1.5
    assert values["largest joint angle, mean over drives"] == pytest.approx(3.75)
    assert values["probability of a joint angle over 8 mm/m"] == 0.25
    assert values["probability that a joint carries more than it may"] == 0.25
    assert values["most used of a joint's force, mean over drives"] == pytest.approx(65.0)
    assert answer(FILE, outcomes[::-1]) == found  # the order in which drives were done does not matter
    text = "\n".join(report(found))
    assert "1 drives failed" in text and "few" in text
    rows = csv_text(outcomes[::-1]).splitlines()
    assert len(rows) == 6 and rows[5].endswith("ValueError: why") and rows[2].startswith("2,,1,guided,0,")


def test_effects_are_differences_on_the_same_grounds() -> None:
    rng = np.random.default_rng(2)
    hard = rng.uniform(2.0, 30.0, 40)  # grounds differ far more than the effect
    outcomes = [outcome(i, i, rms_line_mm=h, rms_level_mm=h) for i, h in enumerate(hard)]
    outcomes += [
        outcome(40 + i, i, "check spacing", 2.0, rms_line_mm=h + 1.0, rms_level_mm=h + 1.0)
        for i, h in enumerate(hard[:30])
    ]
    [effect] = answer(FILE, outcomes).effects
    assert (effect.factor, effect.level, effect.drives) == ("check spacing", "double", 30)
    rms = effect.figures[3]
    assert rms.value == pytest.approx(1.0, abs=0.2) and rms.low > 0.0  # seen in spite of the spread
    eye = effect.figures[0]  # every one arrived either way: that claims no certainty
    assert eye.value == 0.0 and np.isnan([eye.low, eye.high]).all()
    text = report(answer(FILE, outcomes), Ranges())
    assert any("none differs" in line for line in text) and max(map(len, text)) <= 80


def test_tasks_as_planned_come_first_and_effects_take_their_seeds() -> None:
    tasks = tasks_of(7, 5, ("stroke",), 2)
    assert [t.seed for t in tasks] == [7, 8, 9, 10, 11, 7, 8, 7, 8]
    assert [t.index for t in tasks] == list(range(9))
    assert {t.level for t in tasks[5:]} == {0.5, 2.0}


def test_ranges_are_stated_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "ranges.toml"
    path.write_text(ranges_text(Ranges()))
    assert load_ranges(path) == Ranges()
    path.write_text('kinds = ["guided"]\ngain = 0.5\ncrab_mm_per_m = [-1, 1]\n')
    found = load_ranges(path)
    assert found.gain == (0.5, 0.5) and found.kinds == ("guided",) and found.play_mm_per_m == (0.0, 2.0)


def test_every_problem_of_a_ranges_file_is_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "ranges.toml"
    path.write_text(
        'gian = 1\nplay_mm_per_m = [3, 1]\nkinds = ["granite"]\ngain = "big"\ndropout_share = nan\n'
    )
    with pytest.raises(InputRefused) as refused:
        load_ranges(path)
    problems = refused.value.problems
    assert len(problems) == 5 and "is gain meant?" in problems[0]
    path.write_bytes(b"\xff\xfe = 3")
    with pytest.raises(InputRefused, match="not TOML"):
        load_ranges(path)
    with pytest.raises(InputRefused, match="cannot be read"):
        load_ranges(tmp_path / "nowhere.toml")


def test_what_is_drawn_lies_in_the_ranges_and_a_seed_draws_the_same() -> None:
    ranges, drive = Ranges(), drive_dict(FILE)
    kinds = set()
    for seed in range(60):
        scenario = draw(ranges, drive, seed)
        kinds.add(scenario.ground.kind)
        low, high = ranges.gain_elastic if scenario.ground.kind == "elastic" else ranges.gain
        for stretch in scenario.ground.stretches:
            assert all(low <= g <= high for g in stretch.gain)
            assert ranges.friction_kpa[0] <= stretch.friction_kpa <= ranges.friction_kpa[1]
        assert all(0.0 <= p <= 2.0 for p in scenario.ground.play_mm_per_m)
        assert scenario.shots.every_m == 30.0
    assert kinds == {"elastic", "guided", "lagged"}
    assert draw(ranges, drive, 11) == draw(ranges, drive, 11) != draw(ranges, drive, 12)
