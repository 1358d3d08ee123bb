"""Readings that scatter more than drive.toml says: seen, counted as rougher, said. Truth from the practice ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support_by_rule import strokes

from steer.estimate.health import examine
from steer.estimate.motion import Y
from steer.estimate.scatter import Scatter
from steer.ground import draw_scenario

SD = np.array([2.0, 2.0, 0.5, 0.5])


def read(rng, times, cells, each, wild=0.0):
    """Scatter after cells of white noise, `times` what is said, around a path that is rightly foretold."""
    found = Scatter.none()
    for _ in range(cells):
        off = times * SD * rng.normal(size=(each, 4))
        out = rng.random((each, 4)) < wild
        off[out] += 30.0 * SD.repeat(each).reshape(4, each).T[out]
        use = np.abs(off) <= 4.0 * SD * found.scale  # as the sift does
        found = found.after(off, use, SD, np.zeros(4))
    return found


@pytest.mark.parametrize("each", [1, 2, 6])
@pytest.mark.parametrize("times", [1.5, 3.0])
def test_white_noise_of_another_size_is_found(each, times):
    found = read(np.random.default_rng(each), times, 1500 // each, each)
    assert np.abs(found.found / times - 1.0).max() < 0.2
    assert np.abs(found.scale / times - 1.0).max() < 0.25


@pytest.mark.parametrize("wild", [0.0, 0.15])
def test_what_is_said_holds_while_readings_keep_to_it_even_with_wild_ones_among_them(wild):
    assert (read(np.random.default_rng(3), 1.0, 400, 5, wild).scale == 1.0).all()


def test_a_value_repeated_makes_nothing_surer():
    found = Scatter.none()
    for _ in range(400):
        found = found.after(np.zeros((5, 4)), np.ones((5, 4), bool), SD, np.zeros(4))
    assert (found.scale == 1.0).all()
    assert (found.found >= 0.8).all()  # and real noise is soon seen again


def driven(seed, times):
    """Error of the face beyond 20 m (rms, 2), the same over its sd, codes said at 70 m."""
    scenario = draw_scenario(seed)
    guidance = replace(scenario.guidance, noise_scale=times, correlated_share=0.0)
    off = []
    for follower, face in strokes(scenario.with_(guidance=guidance), scenario.drive, 70.0):
        node = follower.node()
        x, p = node.blend()
        if node.s_m > 20.0:
            off.append([*(x[:, Y] - face), *((x[:, Y] - face) / np.sqrt(p[:, Y, Y]))])
    rms = np.sqrt(np.mean(np.square(off), 0))
    return rms[:2], rms[2:], [n.code for n in examine(follower, node).notices]


def test_readings_three_times_as_rough_as_said_are_followed_better_for_being_counted_so(monkeypatch):
    better = [driven(seed, 3.0) for seed in (1, 3)]
    with monkeypatch.context() as patch:
        patch.setattr(Scatter, "after", lambda self, *news: self)
        worse = [driven(seed, 3.0) for seed in (1, 3)]
    for (error, standard, codes), (error_before, standard_before, _) in zip(better, worse, strict=True):
        assert np.hypot(*error) < np.hypot(*error_before)
        assert np.hypot(*standard) < np.hypot(*standard_before)
        assert "readings_scatter" in codes
    assert "readings_scatter" not in driven(1, 1.0)[2]
