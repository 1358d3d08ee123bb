"""A roll that nobody reads: the target swings about the machine, and the estimate must know that it does."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from support_histories import Event

from steer.drivefile import parse_drive
from steer.estimate.follow import Follower
from steer.estimate.motion import Y
from steer.estimate.opening import roll_doubt
from steer.estimate.tuning import ROLL_UNKNOWN_DEG
from steer.ground import CheckShots, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb

UP_MM = 400.0


@cache
def driven(length_m=36.0):
    """A machine that rolls by degrees, its target high above its axis, never surveyed: drive file, events, truth."""
    scenario = draw_scenario(4, "guided", curved=False).with_(shots=CheckShots(every_m=0.0))
    scenario = scenario.with_(ground=replace(scenario.ground, roll_sd_deg=1.6, roll_length_m=12.0))
    scenario.drive["target"]["up_mm"] = UP_MM
    steerer, simulation = RuleOfThumb(scenario.drive), Simulation(scenario)
    events: list[Event] = []
    readings = simulation.start()
    while True:
        for reading in readings:
            steerer.reading(reading)
            events.append(Event(len(events) + 1, "reading", reading))
        if simulation.chainage_m >= length_m:
            return parse_drive(drive_toml(scenario.drive)), events, simulation.truth()
        readings = simulation.advance(steerer.stroke_end(simulation.chainage_m))


def nodes(reads_roll):
    """What is estimated where roll is read at the chainages that `reads_roll` says: nodes, and how far the line
    is off there, mm."""
    drive, events, truth = driven()
    follower = Follower(drive)
    for event in events:
        hidden = {} if reads_roll(event.body["chainage_m"]) else {"roll_deg": None}
        follower.take(replace(event, body=event.body | hidden))
    follower.bring_up()
    found = follower.estimator.nodes
    at = [int(np.argmin(np.abs(truth.chainage_m - n.s_m))) for n in found]
    off = np.array([n.blend()[0][0, Y] for n in found]) - truth.face_mm[at, 0]
    return found, off, np.array([np.sqrt(n.blend()[1][0, Y, Y]) for n in found])


def test_a_roll_that_was_never_read_widens_the_line_until_it_holds_the_truth():
    _, _, known = nodes(lambda s: True)
    _, off, sd = nodes(lambda s: False)
    assert (np.abs(off) <= 1.96 * known).mean() < 0.7  # it does swing, and it matters
    assert (np.abs(off) <= 1.96 * sd).mean() > 0.9


def test_a_roll_that_is_no_longer_read_is_doubted_by_and_by_and_only_so_far():
    found, _, sd = nodes(lambda s: s < 12.0)
    _, _, known = nodes(lambda s: True)
    before = [n.s_m < 12.0 for n in found].index(False) - 1
    assert sd[before] == known[before]
    most = np.hypot(known.max(), np.radians(ROLL_UNKNOWN_DEG) * UP_MM)
    assert 1.2 * known[-1] < sd[-1] < 1.1 * most
    assert (np.diff(sd[before:]) < 1.0).all()  # no step of it


def test_a_roll_read_again_leaves_no_doubt_about_itself():
    found, _, _ = nodes(lambda s: not 12.0 < s < 24.0)
    assert found[-1].roll_doubt == 0.0
    assert roll_doubt(11.5) < max(n.roll_doubt for n in found) < roll_doubt(12.5)
