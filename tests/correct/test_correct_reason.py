"""The reason's signs and directions, the page and the JSON."""

from __future__ import annotations

import dataclasses
import json
import re

import numpy as np
import pytest

from steer.advice import Advice, Correction, FaceEstimate, ForecastPoint, Notice
from steer.correct.advise import make_advice
from steer.correct.reason import say_why
from steer.says import advice_object, page

AHEAD = np.arange(41.0, 53.0)


def estimate(line=0.0, level=0.0, yaw=0.0, pitch=0.0) -> FaceEstimate:
    return FaceEstimate(line, 1.0, level, 1.0, yaw, 0.3, pitch, 0.3)


def fading(line: float, level: float) -> np.ndarray:
    fade = np.exp(-np.arange(12) / 2.0)
    return np.array([[line], [level]]) * fade


@pytest.mark.parametrize(
    ("line", "level", "change", "said"),
    [
        (8.0, 0.0, (-3.0, 0.0), "8 mm right: left by 3.0 mm/m"),
        (-8.0, 0.0, (3.0, 0.0), "8 mm left: right by 3.0 mm/m"),
        (0.0, 8.0, (0.0, -3.0), "8 mm high: down by 3.0 mm/m"),
        (0.0, -8.0, (0.0, 3.0), "8 mm low: up by 3.0 mm/m"),
    ],
)
def test_directions(line, level, change, said) -> None:
    planned = np.repeat(np.array(change)[:, None], 12, 1)
    planned[:, 2:] = 0.0
    text = say_why(estimate(line, level), np.zeros(2), planned, False, AHEAD, fading(line, level))
    assert text.startswith(said)
    assert "for 2 strokes" in text
    assert "back on " + ("line" if line else "level") in text
    assert "%" not in text and "gain" not in text


def test_both_planes_are_spoken_of_when_both_change_the_larger_first() -> None:
    planned = np.repeat(np.array([[-1.0], [4.0]]), 12, 1)
    text = say_why(
        estimate(5.0, -12.0, yaw=0.9, pitch=-1.2), np.zeros(2), planned, False, AHEAD, fading(5.0, -12.0)
    )
    assert text.index("12 mm low, nose down: up by 4.0 mm/m") < text.index(
        "5 mm right, nose right: left by 1.0 mm/m"
    )


def test_no_direction_is_claimed_within_the_doubt() -> None:
    text = say_why(estimate(0.6, 0.2, yaw=0.2), np.zeros(2), np.zeros((2, 12)), True, AHEAD, fading(0.6, 0.2))
    assert text.startswith("On line within 2 mm. Hold:") and "nose" not in text  # the page: ± 2


def test_what_is_no_correction_promises_no_return() -> None:
    planned = np.zeros((2, 12))
    text = say_why(estimate(30.0), np.array([9.0, 0.0]), planned, False, AHEAD, fading(30.0, 0), True)
    assert text.startswith("Not a correction") and "mapping" in text and "back on" not in text


def made(cylinders: int, hold: bool, **more) -> Advice:
    mm = tuple(36.0 + i for i in range(cylinders))
    ahead = tuple(ForecastPoint(float(s), 4.0, 3.0, -2.0, 2.5) for s in AHEAD)
    advice = Advice(
        41, 40.0, estimate(12.3, -33.3, 1.25, -0.8), Correction(-12.34, 10.4, mm, hold), ahead, (),
        reason="33 mm low, nose down: up by 10 mm/m for 3 strokes, back on level near 46 m. "
        "12 mm right, nose right: left by 12 mm/m, back on line near 45 m.",
        forecast_unchanged=ahead, cylinder_now_mm=tuple(v - 3.5 for v in mm), now_right_mm_per_m=-10.2,
        now_up_mm_per_m=12.7, eye_probability=0.87, at_reception=ahead[-1],
        joint="joints ahead turn 5.5 mm/m, bear 12340 kN", next_survey_m=62.0,
    )  # fmt: skip
    return dataclasses.replace(advice, **more)


@pytest.mark.parametrize("cylinders", [3, 4, 6, 8])
@pytest.mark.parametrize("hold", [False, True])
def test_page_fits_the_terminal(cylinders: int, hold: bool) -> None:
    """80 columns; twelve lines for up to four cylinders, a line more for each further row of them."""
    rows = page("Willow Lane, shaft 3 to shaft 4", made(cylinders, hold), 150.0).split("\n")
    assert max(map(len, rows)) <= 80
    assert len(rows) <= 12 + (cylinders > 4)
    text = " ".join(" ".join(rows).split())
    assert "12 mm right ± 2" in text and "33 mm low ± 2" in text
    assert ("HOLD: leave the cylinders as set, 12.3 mm/m left, 10.4 mm/m up" in text) == hold
    assert hold or "HOLD" not in text
    assert hold or "left 12.3 mm/m (now left 10.2), up 10.4 mm/m (now up 12.7)" in text
    assert "inside the eye 87 %" in text and "survey by 62 m" in text


def test_page_proposes_nothing_that_is_not_trusted() -> None:
    notice = Notice("steering_opposite", "The machine answers the opposite way.", 38.0)
    text = page("Willow Lane", made(4, False, trusted=False, notices=(notice,)), 150.0)
    assert "NO CORRECTION PROPOSED" in text and "opposite" in text
    assert "12.3 mm/m" not in text and "mm (now)" not in text


def test_json_is_the_contract_s_object() -> None:
    shown = json.loads(json.dumps(advice_object(made(4, False)), allow_nan=False))
    assert list(shown)[:6] == ["stroke", "chainage_m", "estimate", "correction", "forecast", "notices"]
    assert set(shown["correction"]) == {"right_mm_per_m", "up_mm_per_m", "cylinder_mm", "hold"}
    assert set(shown["forecast"][0]) == {"chainage_m", "line_mm", "line_sd_mm", "level_mm", "level_sd_mm"}


def test_a_hold_gives_one_figure_a_cylinder() -> None:
    """What the machine shows; what was set last stands a few tenths beside it, and nothing is to be moved."""
    text = page(
        "Willow Lane, shaft 3 to shaft 4",
        made(4, True, cylinder_now_mm=(36.26, 36.8, float("nan"), 39.1)),
        150.0,
    )
    assert "mm, now  1: 36.3  2: 36.8  3: 38  4: 39.1\n" in text
    assert "mm       1: 36  2: 37  3: 38  4: 39\n" in page("", made(4, True, cylinder_now_mm=None), 150.0)


def test_the_reason_speaks_of_the_end_of_the_forecast_that_is_drawn(draw) -> None:
    """Near the shaft as well, where the forecast ends before what was looked at does, and beyond it."""
    seen = 0
    for seed in range(40):
        rng, drive, estimator, node = draw(seed)
        left_m = float(rng.choice([-0.5, 2.0, 5.0, 30.0]))
        node = dataclasses.replace(node, s_m=drive.axis.end_chainage_m - left_m)
        advice = make_advice(drive, estimator, node, 3, None, 0.0, ())
        places = re.findall(r"(?:still|then) (\d+) mm (\w+) at ([\d.]+) m", advice.reason)
        for size, side, at in places:
            end = advice.forecast[-1]
            offset = end.line_mm if side in ("right", "left") else end.level_mm
            assert (at, size) == (f"{end.chainage_m:.1f}", f"{abs(offset):.0f}")
            seen += left_m < 10.0
        assert advice.forecast or not re.search(r" at [\d.]| near |stays", advice.reason)
        if advice.forecast:
            back = [float(m) for m in re.findall(r"near ([\d.]+) m", advice.reason)]
            assert all(m <= drive.axis.end_chainage_m + 0.5 for m in back)
    assert seen > 5


def test_a_hold_speaks_of_both_planes_where_both_are_off_by_half_the_tolerance() -> None:
    ahead = np.array([[60.0], [20.0]]) * np.ones(12)

    def said(level: float) -> str:
        face = estimate(65.0, level, yaw=2.9, pitch=-1.5)
        return say_why(face, np.zeros(2), np.zeros((2, 12)), True, AHEAD, ahead, False, "", (50.0, 30.0))

    assert said(15.0) == (
        "65 mm right, nose right; 15 mm high, nose down. Hold: a change now would gain less than it costs; "
        "still 60 mm right at 52.0 m, still 20 mm high at 52.0 m."
    )
    assert "high" not in said(14.0) and said(14.0).startswith("65 mm right, nose 2.9 mm/m right. Hold:")


def test_a_hold_at_a_limit_names_the_limit_instead() -> None:
    bound = "cylinder 3 stands at its stroke's end; the machine cannot be turned further left"
    text = say_why(
        estimate(65.0), np.zeros(2), np.zeros((2, 12)), True, AHEAD, fading(65.0, 0.0), bound=bound
    )
    assert f"Hold: {bound};" in text and "costs" not in text
