"""Pipe surveys against the machine's path: who wins where, and with what uncertainty."""

from types import SimpleNamespace

import numpy as np
import pytest

from steer.asbuilt.lie import NEAR, PATH, SURVEY, Laid, PipeSurvey, differences

S = np.linspace(0.0, 100.0, 401)
MACHINE = SimpleNamespace(
    chainage_m=S, line_mm=0.1 * S, level_mm=0.0 * S, line_sd_mm=0.0 * S + 4.0, level_sd_mm=0.0 * S + 3.0
)
NAN = float("nan")


def laid(*surveys: PipeSurvey, string_sd_mm: float = 0.0) -> Laid:
    return Laid(MACHINE, surveys, 2.0, string_sd_mm)


def survey(number: int, at: float, line: float, level: float, sd: float = 1.0) -> PipeSurvey:
    return PipeSurvey(number, at, (line, level), (sd, sd))


def test_without_surveys_the_machines_path_stands() -> None:
    lie = laid().lie(np.array([0.0, 33.3, 100.0]))
    assert lie.offset_mm[:, 0] == pytest.approx([0.0, 3.33, 10.0])
    assert lie.sd_mm == pytest.approx(np.tile([4.0, 3.0], (3, 1)))
    assert (lie.source == PATH).all()


def test_string_sd_is_added_where_nothing_was_surveyed() -> None:
    lie = laid(survey(1, 50.0, 5.0, 0.0), string_sd_mm=3.0).lie(np.array([10.0, 50.0]))
    assert lie.sd_mm[0] == pytest.approx([5.0, np.hypot(3, 3)])
    assert lie.sd_mm[1] == pytest.approx([1.0, 1.0])


def test_a_survey_wins_on_its_pipe_and_fades_out() -> None:
    lie = laid(survey(1, 50.0, 9.0, -6.0)).lie(np.array([49.0, 50.0, 51.0, 56.0, 61.0, 70.0]))
    assert lie.offset_mm[:, 1] == pytest.approx([-6, -6, -6, -3, 0, 0])
    assert lie.offset_mm[1, 0] == pytest.approx(9.0)
    assert lie.sd_mm[:3, 1] == pytest.approx([1, 1, 1])
    assert lie.sd_mm[3, 1] == pytest.approx(np.sqrt(0.25 + 0.75 * 9))
    assert lie.sd_mm[4:, 1] == pytest.approx([3, 3])
    assert lie.source[:, 1].tolist() == [SURVEY, SURVEY, SURVEY, NEAR, PATH, PATH]


def test_two_near_one_another_are_joined_by_a_straight_line() -> None:
    lie = laid(survey(1, 50.0, 5.0, -6.0), survey(2, 58.0, 5.8, -2.0)).lie(np.array([51.0, 54.0, 57.0]))
    assert lie.offset_mm[:, 1] == pytest.approx([-6, -4, -2])
    assert lie.offset_mm[1, 0] == pytest.approx(5.4)
    assert lie.sd_mm[1, 1] == pytest.approx(np.sqrt(0.5 + 0.75 * 9))


def test_the_pipe_has_no_steps() -> None:
    """Neighbouring pipes hang together: whatever is surveyed, the pipe runs on without a jump."""
    rng = np.random.default_rng(8)
    at = np.sort(rng.uniform(5, 95, 12))
    made = laid(*(survey(i, float(s), *rng.normal(0, 10, 2)) for i, s in enumerate(at)))
    fine = np.linspace(0, 100, 100001)
    found = made.lie(fine)
    # the steepest: 60 mm between two pipes that were surveyed 1 m apart
    assert np.abs(np.diff(found.offset_mm, axis=0)).max() < 0.1
    assert np.abs(np.diff(found.sd_mm, axis=0)).max() < 0.1
    for one in made.surveys:
        here = made.lie(np.array([one.chainage_m]))
        assert here.offset_mm[0] == pytest.approx(one.value_mm)
        assert here.sd_mm[0] == pytest.approx(one.sd_mm)


def test_the_last_survey_of_a_place_counts() -> None:
    made = laid(survey(9, 50.2, 1.0, 1.0), survey(3, 50.0, 7.0, 7.0))
    assert [s.number for s in made.surveys] == [9]


def test_a_plane_that_was_not_surveyed_keeps_the_path() -> None:
    lie = laid(PipeSurvey(1, 50.0, (NAN, -6.0), (1.0, 1.0))).lie(np.array([50.0]))
    assert lie.offset_mm[0] == pytest.approx([5.0, -6.0])
    assert lie.source[0].tolist() == [PATH, SURVEY]


def test_differences_say_by_how_much() -> None:
    given = laid(survey(4, 50.0, 9.0, -6.0))
    (found,) = differences(given, given.path)
    one, moved = found.survey, found.moved_mm
    assert one.number == 4 and moved == pytest.approx((4.0, -6.0))
    assert found.sd_mm == pytest.approx((np.hypot(1.0, 4.0), np.hypot(1.0, 3.0)))
