"""The outlook against the estimator's own prediction carried stroke by stroke, and against an integrator."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from steer.correct.outlook import Spread, look_ahead
from steer.drivefile import DriveFile, parse_drive
from steer.estimate.estimator import Estimator
from steer.estimate.motion import C, D, G, K, P, T, Y
from steer.estimate.nodes import Node
from steer.estimate.past import Past
from steer.estimate.tuning import Answer
from steer.ground.folder import drive_toml
from steer.ground.presets import DRIVE

LENGTH = 4.0
PAST = (
    (3.0, (0.0, 0.0)),
    (6.5, (5.0, -2.0)),
    (8.0, (-3.0, 4.0)),
    (10.0, (8.0, 1.0)),
)  # held up to each chainage


@pytest.fixture(scope="module")
def file() -> DriveFile:
    drive = copy.deepcopy(DRIVE)
    drive["machine"] |= {"front_length_m": 1.8, "rear_length_m": LENGTH - 1.8}
    return parse_drive(drive_toml(drive))


def held(s: float, ahead: np.ndarray) -> np.ndarray:
    """The articulation at a chainage: as in PAST, then one of `ahead` (n, 2) a stroke of 1 m."""
    for until, articulation in PAST:
        if s < until:
            return np.array(articulation)
    return ahead[min(int(s - 10.0 + 1e-9), len(ahead) - 1)]


def after_the_past(estimator: Estimator) -> Node:
    node = estimator.start
    for until, articulation in PAST:
        node = estimator.ahead(node, until, np.array(articulation))
    return node


@pytest.mark.parametrize("delay", [0.0, 0.5, 1.25])
def test_offsets_as_an_integrator_finds_them(file: DriveFile, delay: float) -> None:
    """Y' = T + D·A + C, T' = P + K + c·C, P' = (G·A(s − delay) − P)/lag, by scipy's solve_ivp."""
    estimator = Estimator(file, (Answer(0.6, 0.5, 0.2, 0.15, 0.12, 0.12, delay=delay),))
    ahead = np.random.default_rng(4).normal(size=(9, 2)) * 6.0
    node = after_the_past(estimator)
    x = node.x.copy()
    for k, values in enumerate(
        ((4.0, 1.0, 0.5, 0.2, 0.3, 0.2, 0.3), (-3.0, -2.0, 1.5, -0.1, -0.4, 0.1, 0.25))
    ):
        x[k, [Y, T, C, K, P, D, G]] = values
    node.x = x
    outlook = look_ahead(node, file.axis, estimator.stack.motion, 1.0, len(ahead))
    ours = outlook.offsets(ahead.T)
    lag, coupling = 0.6 * LENGTH, 0.5 * 2.0 / LENGTH
    fade = 8.0 * LENGTH
    for plane in (0, 1):
        y, t, c, k, p, d, g = x[plane, [Y, T, C, K, P, D, G]]

        def motion(
            s: float, z: np.ndarray, plane: int = plane, c: float = c, d: float = d, g: float = g
        ) -> list[float]:
            a, late = held(s, ahead)[plane], held(s - delay * LENGTH, ahead)[plane]
            return [z[1] + d * a + c, z[2] + z[3] + coupling * c, (g * late - z[2]) / lag, -z[3] / fade]

        at = 10.0 + np.arange(len(ahead) + 1)
        found = solve_ivp(
            motion, (10.0, at[-1]), [y, t, p, k], t_eval=at, rtol=1e-8, atol=1e-8, max_step=0.02
        )
        # the tendency fades at the ends of steps only
        assert ours[plane] == pytest.approx(found.y[0, 1:], rel=0.01, abs=0.05)


@pytest.mark.parametrize("delay", [0.0, 0.5, 1.25])
def test_offsets_as_the_estimator_predicts_them(file: DriveFile, delay: float) -> None:
    estimator = Estimator(file, (Answer(0.6, 0.0, 0.2, 0.15, 0.12, 0.12, delay=delay),))
    ahead = np.random.default_rng(5).normal(size=(9, 2)) * 6.0
    node = after_the_past(estimator)
    outlook = look_ahead(node, file.axis, estimator.stack.motion, 1.0, len(ahead))
    ours = outlook.offsets(ahead.T)
    for n, articulation in enumerate(ahead):
        for part in (0.5, 1.0):  # what is held behind changes at half strokes
            node = estimator.ahead(node, 10.0 + n + part, articulation)
        assert node.x[:2, Y] == pytest.approx(ours[:, n], rel=1e-6, abs=1e-6)


def test_the_spread_is_the_covariance_that_the_filter_predicts(file: DriveFile) -> None:
    """Carried stroke by stroke, one model. What was held changes by less than play eats, so only the estimate, the
    noise on the way and the doubt about the answer count; that the gain drifts is left out of the outlook."""
    estimator = Estimator(file, (Answer(0.6, 0.5, 0.2, 0.15, 0.12, 0.12),))
    begun = node = after_the_past(estimator)
    now = np.array([8.0, 1.0])
    steps = np.random.default_rng(6).uniform(-0.25, 0.25, size=(9, 2))
    ahead = now + np.cumsum(steps, 0)
    outlook = look_ahead(begun, file.axis, estimator.stack.motion, 1.0, len(ahead))
    ours = Spread(begun, estimator.stack.motion, outlook).sd(ahead.T, now)
    for n, articulation in enumerate(ahead):
        for part in (0.5, 1.0):
            node = estimator.ahead(node, 10.0 + n + part, articulation)
        assert np.sqrt(node.p[:2, Y, Y]) == pytest.approx(ours[:, n], rel=0.005)
    without = Spread(replace(begun, p=0.0 * begun.p), estimator.stack.motion, outlook).sd(ahead.T, now)
    assert (without < 0.9 * ours).all()  # the estimate's own doubt is in it


def test_what_was_held_behind() -> None:
    past = Past.none(0.0)
    for until, articulation in PAST:
        past = past.on(until, np.array(articulation), 4.0)
    assert past.means(np.array([6.5, 7.0, 8.0, 10.0])) == pytest.approx(np.array([[-3, 4], [-3, 4], [8, 1]]))
    assert past.means(np.array([6.0, 9.0])) == pytest.approx(
        np.array([[(2.5 - 4.5 + 8) / 3, (-1 + 6 + 1) / 3]])
    )
    assert past.at_m[0] <= 4.0 and past.on(10.0, np.zeros(2), 4.0) is past


def test_readings_in_one_go_or_apart_leave_the_same_past(file: DriveFile) -> None:
    estimator = Estimator(file)
    node = estimator.ahead(estimator.start, 12.0, np.array([3.0, 1.0]))
    apart = estimator.ahead(
        estimator.ahead(estimator.start, 5.0, np.array([3.0, 1.0])), 12.0, np.array([3.0, 1.0])
    )
    edges = np.array([8.0, 9.5, 12.0])
    assert node.past.means(edges) == pytest.approx(apart.past.means(edges))
