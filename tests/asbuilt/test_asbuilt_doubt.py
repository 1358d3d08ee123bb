"""What check shots that disagree add to the path's uncertainty, and where."""

import numpy as np
import pytest

from steer.advice import ShotView
from steer.asbuilt.doubt import doubt_mm, doubts

AT = np.array([0.0, 20.0, 30.0, 40.0, 50.0, 80.0])


def shot(number: int, at_m: float, line_off: float | None, verdict: str) -> ShotView:
    return ShotView(number, at_m, "face", 0.0, 0.0, 2.0, 2.0, line_off, 1.0, 3.0, 3.0, verdict)


def line(*shots: ShotView) -> np.ndarray:
    found = doubt_mm(doubts(shots, 0.0, 80.0), AT)
    assert (found[:, 1] == 0.0).all()  # the level agreed
    return found[:, 0]


def test_a_shot_that_waits_opens_the_path_from_the_last_that_agreed_to_the_end() -> None:
    """Half of the square at the shot: a blunder is held as likely as a move."""
    full = 40.0 * np.sqrt(0.5)
    found = line(shot(1, 20.0, 2.0, "agrees"), shot(2, 40.0, -40.0, "waiting"))
    assert found == pytest.approx([0.0, 0.0, full * np.sqrt(0.5), full, full, full])


def test_the_variance_is_that_of_a_move_at_an_unknown_place() -> None:
    """A Monte Carlo of its own: moved anywhere between the two shots, a blunder in one case of two."""
    draw = np.random.default_rng(4)
    moved_at = draw.uniform(20.0, 40.0, 100_000)
    blunder = draw.random(100_000) < 0.5
    off = np.where(~blunder & (moved_at < 30.0), 40.0, 0.0)
    assert line(shot(1, 20.0, 2.0, "agrees"), shot(2, 40.0, 40.0, "waiting"))[2] == pytest.approx(
        np.sqrt(np.mean(off**2)), rel=0.01
    )


def test_one_that_counts_opens_only_what_was_built_before_it() -> None:
    found = line(shot(1, 20.0, 2.0, "agrees"), shot(2, 40.0, 40.0, "disagrees"))
    assert found == pytest.approx([0.0, 0.0, 40.0 * np.sqrt(0.5), 0.0, 0.0, 0.0])


def test_a_later_shot_that_agrees_settles_it() -> None:
    assert (line(shot(2, 40.0, 40.0, "waiting"), shot(3, 50.0, 1.0, "agrees")) == 0.0).all()


@pytest.mark.parametrize(
    "harmless",
    [
        shot(2, 40.0, 40.0, "rejected"),
        shot(2, 40.0, 5.0, "waiting"),  # the same survey given twice: it contradicts nothing
        shot(2, 90.0, 40.0, "waiting"),  # ahead of the face
        shot(2, 40.0, None, "waiting"),
    ],
)
def test_no_doubt_without_a_disagreement(harmless: ShotView) -> None:
    assert (line(harmless) == 0.0).all()
