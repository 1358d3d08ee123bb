"""What tells of the present is the newest reading, not the last to arrive; and clocks and counters may be wrong."""

from __future__ import annotations

from functools import cache

import pytest
from support_histories import Event

from steer.drivefile import parse_drive
from steer.estimate.follow import Follower
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml

FIRST_M, END_M = 0.0, 12.0
BEFORE, NOW, ANEW = [20.0, 21.0, 22.0, 21.0], [24.0, 20.0, 18.0, 22.0], [26.0, 19.0, 16.0, 23.0]


@cache
def a_drive():
    toml = draw_scenario(2, curved=False).drive
    toml["machine"]["cylinders"] |= {
        "positions_deg": [45, 135, 225, 315], "step_mm": 1.0, "range_mm": [0.0, 42.0], "neutral_mm": 21.0,
    }  # fmt: skip
    return parse_drive(drive_toml(toml))


def clock(seconds, day=4):
    return f"2031-03-{day + seconds // 86400:02d}T{seconds // 3600 % 24:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}Z"


def reading(s, seconds=None, cylinder_mm=None, roll_deg=None, **more):
    body = {"chainage_m": round(s, 4), "spot_right_mm": 0.0, "spot_up_mm": 0.0, **more}
    if seconds is not None:
        body["time"] = clock(seconds)
    if cylinder_mm is not None:
        body["cylinder_mm"] = cylinder_mm
    return body | ({} if roll_deg is None else {"roll_deg": roll_deg})


def driven(timed=True):
    """A reading each 0.1 m and 20 s over 12 m, then three at the end of the last stroke with the cylinders set."""
    found, seconds = [], 40_000
    for i in range(121):
        seconds += 20
        found.append(reading(0.1 * i, seconds if timed else None, BEFORE, 0.5))
    for _ in range(3):
        seconds += 20
        found.append(reading(END_M, seconds if timed else None, NOW, 0.9))
    return found, seconds


def follow(bodies, at_once=True):
    follower = Follower(a_drive())
    for i, body in enumerate(bodies):
        assert follower.take(Event(i + 1, "reading", body))
        if not at_once:
            follower.bring_up()
    follower.bring_up()
    return follower


def tells(follower):
    """What a follower says of the present."""
    return (
        follower.standing().mm.tolist(), follower.roll_deg, follower.present.time, follower.present.sequence,
        follower.newest_force(),
    )  # fmt: skip


LATE = {
    "older and behind": [reading(3.0, 40_600, BEFORE, -3.0, jacking_force_kn=9000.0)],
    "the last but few": [reading(11.9, 42_400, BEFORE, 0.5)],
    "at the furthest, before the cylinders were set": [reading(END_M, 42_421, BEFORE, 0.5)],
    "without a time, further back than a rebound": [reading(11.0, None, BEFORE, -3.0)],
    "a file of what was read": driven()[0][:121],
    "a file of the last decimetres": driven()[0][117:121],
    "a file of what was read, without times": driven(timed=False)[0][:100],
    "a file of readings between": [reading(0.1 * i + 0.05, 40_030 + 20 * i, BEFORE, 0.2) for i in range(120)],
}


@pytest.mark.parametrize("at_once", [True, False])
@pytest.mark.parametrize("late", LATE.values(), ids=LATE.keys())
def test_readings_that_come_late_tell_nothing_of_the_present(late, at_once):
    bodies, _ = driven()
    expected = tells(follow(bodies))
    assert expected[:2] == (NOW, 0.9)
    found = follow([*bodies, *late], at_once)
    assert tells(found) == expected
    more = reading(END_M + 0.1, 43_000, None, None)  # and nothing of what comes after them
    one, other = follow([*bodies, more]), follow([*bodies, *late, more], at_once)
    assert other.carried_roll_deg == one.carried_roll_deg
    assert other.cylinders.articulation == pytest.approx(one.cylinders.articulation)


@pytest.mark.parametrize("at_once", [True, False])
def test_a_reading_that_is_handed_over_again_counts_once(at_once):
    """The last three and one of the stroke before: to the estimate as if they had not come."""
    bodies, _ = driven()
    bodies = [body | {"spot_right_mm": float(i % 7)} for i, body in enumerate(bodies)]
    again = [bodies[-30], *bodies[-3:]]
    plain, twice = follow(bodies), follow([*bodies, *again], at_once)
    assert (twice.estimator.last.x == plain.estimator.last.x).all()
    assert twice.track.accepted == plain.track.accepted and twice.track.ignored == 4
    other = follow([*bodies, bodies[-1] | {"spot_right_mm": 40.0}])
    assert other.track.accepted == plain.track.accepted + 1


def test_readings_that_fill_an_outage_are_no_clock_that_was_set_back():
    """They were held back while the cylinders were set twice: what they say fits what is known of their time."""
    bodies, seconds = driven()
    bodies += [reading(END_M, seconds + 600 + i, ANEW, 0.9) for i in range(3)]
    held_back = [reading(END_M, seconds + 200 + i, [22.0, 20.0, 20.0, 22.0], 0.9) for i in range(6)]
    assert follow([*bodies, *held_back]).standing().mm.tolist() == ANEW


@pytest.mark.parametrize("back_s", [3600, 40_000])
def test_a_clock_that_was_set_back_while_the_chainage_goes_on_is_the_present_at_once(back_s):
    bodies, seconds = driven()
    follower = follow([*bodies, reading(END_M + 0.3, seconds - back_s, ANEW, 1.1)])
    assert (follower.roll_deg, follower.present.time) == (1.1, clock(seconds - back_s))
    assert follower.standing().mm.tolist() == ANEW
    rebound = reading(END_M + 0.28, seconds - back_s + 20, ANEW, 1.2)  # the new clock counts from here on
    follower = follow([*bodies, reading(END_M + 0.3, seconds - back_s, ANEW, 1.1), rebound])
    assert follower.roll_deg == 1.2


@pytest.mark.parametrize("back_s", [300, 3600, 40_000])
@pytest.mark.parametrize("rebound_m", [0.0, 0.02])
def test_a_clock_that_was_set_back_while_the_cylinders_are_set(back_s, rebound_m):
    """Standing at the furthest chainage: one such reading may have come late, three in a row are the present."""
    bodies, seconds = driven()
    anew = [reading(END_M - rebound_m, seconds - back_s + 20 * i, ANEW, 1.1) for i in range(4)]
    assert follow([*bodies, *anew[:1]]).standing().mm.tolist() == NOW
    found = follow([*bodies, *anew])
    assert found.standing().mm.tolist() == ANEW
    assert (found.roll_deg, found.present.time) == (1.1, anew[-1]["time"])


def test_a_clock_that_was_set_back_in_a_long_stand():
    """An hour back in a night of standing, at which hour the face stood where it stands now: the cylinders tell."""
    bodies, seconds = driven()
    bodies += [reading(END_M, seconds + 60 * i, NOW, 0.9) for i in range(1, 600)]
    seconds += 60 * 599
    anew = [reading(END_M, seconds - 3600 + 60 * i, ANEW, 1.1) for i in range(3)]
    assert follow([*bodies, *anew]).standing().mm.tolist() == ANEW
    file = [reading(END_M, seconds - 7200 + 60 * i, NOW, 0.9) for i in range(30)]
    assert follow([*bodies, *file]).present.time == clock(seconds)


def test_a_clock_that_was_far_ahead_once_makes_nothing_late():
    bodies, seconds = driven()
    wild = reading(END_M, None, NOW, 0.9) | {"time": "2099-01-01T00:00:00Z"}
    later = [reading(END_M, seconds + 20 * i, ANEW, 1.1) for i in range(1, 4)]
    assert follow([*bodies, wild, *later]).standing().mm.tolist() == ANEW
    goes_on = reading(END_M + 0.1, seconds + 20, ANEW, 1.1)
    assert follow([*bodies, wild, goes_on]).present.time == clock(seconds + 20)


def test_a_counter_that_was_reset_is_the_present_as_long_as_the_times_go_on():
    bodies, seconds = driven()
    reset = [reading(0.02 * i, seconds + 20 * i, ANEW, 1.1) for i in range(1, 8)]
    for some in (reset[:1], reset):
        found = follow([*bodies, *some])
        assert found.roll_deg == 1.1 and found.present.time == some[-1]["time"]
    assert found.track.lost and found.standing().mm.tolist() == ANEW
    # without a time nobody can tell them from a file of old readings, but the logger lives
    blind = follow([*bodies, *(body | {"time": None} for body in reset)])
    assert blind.standing().mm.tolist() == NOW and blind.present.heard == len(bodies) + len(reset)


def test_two_loggers_whose_clocks_differ_both_tell():
    """One tells the spots, the other, 90 s behind it, cylinders and roll."""
    bodies = []
    for i in range(121):
        bodies.append(reading(0.1 * i, 40_000 + 20 * i))
        bodies.append(reading(0.1 * i, 40_000 - 90 + 20 * i, BEFORE, 0.5))
    bodies += [reading(END_M, 42_400 - 60 + 20 * i, NOW, 0.9) for i in range(3)]
    found = follow(bodies)
    assert found.standing().mm.tolist() == NOW and found.roll_deg == 0.9
    late = reading(END_M - 0.1, 42_380 - 90, BEFORE, 0.5)
    assert tells(follow([*bodies, late])) == tells(found)
