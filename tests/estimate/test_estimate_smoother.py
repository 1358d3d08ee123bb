"""The path as driven: the backward pass asked again and again while the drive grows, against one written out plainly."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from support_histories import Event, load

from steer.drivefile import parse_drive
from steer.estimate.follow import Follower
from steer.estimate.motion import G, H, T, Y
from steer.estimate.nodes import blend
from steer.estimate.smoother import BLOCK, SmoothedPath, Smoother, smooth


def written_out(follower: Follower) -> list[np.ndarray]:
    """Rauch, Tung and Striebel (1965) node by node, one plane of one model at a time, and the mixture of all."""
    nodes = [n for n in follower.estimator.nodes if n.stands_for is None]
    planes = 2 * follower.estimator.stack.models
    xs = np.array([n.x[:planes] for n in nodes])
    ps = np.array([n.p[:planes] for n in nodes])
    for i in range(len(nodes) - 2, -1, -1):
        later = nodes[i + 1]
        for b in range(planes):
            scale = np.sqrt(np.maximum(np.diag(later.p_before[b]), 1e-18))
            unit = later.p_before[b] / np.outer(scale, scale) + 1e-10 * np.eye(len(scale))
            inverse = np.linalg.inv(unit) / np.outer(scale, scale)
            j = nodes[i].p[b] @ later.phi[b].T @ inverse
            xs[i, b] += j @ (xs[i + 1, b] - later.x_before[b])
            ps[i, b] += j @ (ps[i + 1, b] - later.p_before[b]) @ j.T
    mixed = [blend(xs[i], ps[i], n.weights) for i, n in enumerate(nodes)]
    keep = [i for i, n in enumerate(nodes) if i + 1 == len(nodes) or nodes[i + 1].s_m - n.s_m > 1e-6]
    a = np.array([nodes[i].articulation for i in keep])
    x = np.array([mixed[i][0] for i in keep])
    sd = np.sqrt(np.array([np.diagonal(mixed[i][1], axis1=1, axis2=2) for i in keep]))
    heading = x[:, :, T] + x[:, :, H] * a
    return [
        np.array([nodes[i].s_m for i in keep]), x[:, 0, Y], x[:, 1, Y], sd[:, 0, Y], sd[:, 1, Y],
        heading[:, 0], heading[:, 1], a, x[:, :, G], sd[:, :, G],
    ]  # fmt: skip


def values(path: SmoothedPath) -> list[np.ndarray]:
    return [getattr(path, field.name) for field in fields(path)]


def begun(name: str) -> tuple[Follower, list[Event]]:
    kept = load(name)
    events = [Event(i + 1, kind, body) for i, (kind, body) in enumerate(kept["events"])]
    return Follower(parse_drive(kept["toml"])), events


@pytest.mark.parametrize("name", ["clean", "faults", "curved"])
def test_the_smoothed_path_is_the_one_written_out(name):
    follower, events = begun(name)
    for event in events:
        assert follower.take(event)
    follower.bring_up()
    assert len(follower.estimator.nodes) > 4 * BLOCK
    for found, wanted in zip(values(smooth(follower.estimator)), written_out(follower), strict=True):
        assert found.shape == wanted.shape
        assert np.abs(found - wanted).max() < 1e-8


def test_asked_at_every_stroke_it_is_that_of_whoever_asks_once():
    """To the last bit, with late news that folds again from far behind, and after the fold was cut shorter."""
    follower, events = begun("faults")
    smoother = Smoother()
    shot = {"point": "face", "line_mm": 4.0, "level_mm": -3.0, "sd_mm": 2.0}
    ends = [i for i, event in enumerate(events) if event.kind == "stroke_end"]
    late = {ends[len(ends) // 2]: 4.0, ends[-2]: 12.0}
    for i, event in enumerate(events):
        assert follower.take(event)
        if i in late:
            assert follower.take(Event(90_000 + i, "check_shot", shot | {"chainage_m": late[i]}))
        if event.kind == "stroke_end":
            follower.bring_up()
            again, once = smoother.path(follower.estimator), smooth(follower.estimator)
            assert [v.tobytes() for v in values(again)] == [v.tobytes() for v in values(once)]
    whole = follower.estimator.nodes[:]
    follower.estimator.nodes[:] = whole[: 2 * BLOCK + 5]
    assert [v.tobytes() for v in values(smoother.path(follower.estimator))] == [
        v.tobytes() for v in values(smooth(follower.estimator))
    ]


def test_nothing_driven_is_an_empty_path():
    follower, _ = begun("clean")
    assert all(len(v) == 0 for v in values(smooth(follower.estimator)))
