"""A machine that does not stand where the launch was said to be: taken for the machine's place, and said."""

from __future__ import annotations

from copy import deepcopy

import numpy as np
import pytest
from support_by_rule import strokes

from steer.estimate.health import examine
from steer.estimate.motion import Y
from steer.ground import draw_scenario


@pytest.mark.parametrize("seed", [50000, 50001, 50002])
def test_another_launch_is_not_taken_for_a_reference_that_moved(seed):
    """True launch and heading drawn from five times what the estimate is told (some 20 mm and 5 mm/m)."""
    scenario = draw_scenario(seed)
    drive = deepcopy(scenario.drive)
    for key in ("launch_mm", "launch_mm_per_m"):
        drive["sd"][key] *= 5.0
    said, off = set(), []
    for follower, face in strokes(scenario.with_(drive=drive), scenario.drive, 25.0):  # no check shot as yet
        node = follower.node()
        x, p = node.blend()
        said |= {n.code for n in examine(follower, node).notices}
        off.append((x[:, Y] - face) / np.sqrt(p[:, Y, Y]))
    assert "launch_differs" in said
    assert not said & {"reference_moved", "target_knocked"}
    assert np.abs(off[-1]).max() < 3.0
    assert np.sqrt(np.mean(np.square(off[1:]))) < 1.5  # the first one waits for a second cell


def test_a_launch_as_said_is_not_spoken_of():
    scenario = draw_scenario(50003)
    for follower, _ in strokes(scenario, scenario.drive, 10.0):
        assert "launch_differs" not in {n.code for n in examine(follower, follower.node()).notices}
