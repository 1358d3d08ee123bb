"""The fold: late news, order of arrival, standing, rebounds, gaps, counters, reference settings."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from support_histories import Event

from steer.drivefile import parse_drive
from steer.estimate.cells import Track
from steer.estimate.follow import Follower
from steer.estimate.health import examine
from steer.estimate.motion import RD, RO, Y
from steer.estimate.rulings import rulings
from steer.estimate.smoother import smooth
from steer.ground import CheckShots, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb
from steer.machine import extensions


@cache
def recorded(seed=2, length_m=40.0, curved=False, late=0):
    """A drive file and the events of its first metres."""
    scenario = draw_scenario(seed, curved=curved).with_(shots=CheckShots(12.0, 2.0, "face", late))
    drive = scenario.drive
    steerer, simulation = RuleOfThumb(drive), Simulation(scenario)
    events: list[Event] = []

    def add(kind, body):
        events.append(Event(len(events) + 1, kind, {k: v for k, v in body.items() if k != "kind"}))

    readings = simulation.start()
    while True:
        for reading in readings:
            steerer.reading(reading)
            add("reading", reading)
        for shot in simulation.shots():
            add("check_shot", shot)
        add("stroke_end", {"chainage_m": simulation.chainage_m})
        if simulation.finished or simulation.chainage_m > length_m:
            break
        readings = simulation.advance(steerer.stroke_end(simulation.chainage_m))
    return parse_drive(drive_toml(drive)), tuple(events)


def followed(drive, events, known=None, every=True):
    follower = Follower(drive, known)
    for event in events:
        assert follower.take(event)
        if every and event.kind == "stroke_end":
            follower.bring_up()
    follower.bring_up()
    return follower


def same(one, other, tolerance=1e-9):
    a, b = one.estimator.last, other.estimator.last
    assert a.s_m == b.s_m
    assert np.abs(a.x - b.x).max() < tolerance
    assert np.abs(a.p - b.p).max() < tolerance
    assert len(one.estimator.nodes) == len(other.estimator.nodes)


def test_a_late_shot_counts_as_one_in_time():
    drive, events = recorded()
    shots = [e for e in events if e.kind == "check_shot"]
    assert len(shots) >= 2
    rest = [e for e in events if e.kind != "check_shot"]
    same(followed(drive, events), followed(drive, [*rest, *shots]))


def test_shots_in_any_order_of_arrival_give_the_same():
    drive, events = recorded()
    shots = [e for e in events if e.kind == "check_shot"]
    rest = [e for e in events if e.kind != "check_shot"]
    same(followed(drive, [*rest, *shots]), followed(drive, [*rest, *reversed(shots)]))


def test_asking_often_changes_nothing():
    drive, events = recorded()
    same(followed(drive, events), followed(drive, events, every=False))


def kept_up(drive, events):
    """The follower as the feed drives it, and how many nodes stood just before each stroke's end was asked."""
    follower, ready = Follower(drive), []
    for event in events:
        if event.kind == "stroke_end":
            ready.append(len(follower.estimator.nodes))
        assert follower.take(event)
        if event.kind == "reading":
            follower.keep_up()
        elif event.kind == "stroke_end":
            follower.bring_up()
            ready[-1] = len(follower.estimator.nodes) - ready[-1]
    follower.bring_up()
    return follower, ready


@pytest.mark.parametrize("fault", [None, "cylinder", "wild chainage", "no cylinders"])
def test_keeping_up_with_the_readings_changes_nothing_and_leaves_little(fault):
    drive, events = recorded()
    readings = [i for i, e in enumerate(events) if e.kind == "reading"]
    bent = []
    for i, event in enumerate(events):
        body = dict(event.body)
        if event.kind == "reading" and fault == "cylinder" and len(readings) // 3 < i < len(readings) // 2:
            # near what can still be a reading's error: whether it is one is told by the mean of many
            body["cylinder_mm"] = [body["cylinder_mm"][0] + 5.0 + i % 9, *body["cylinder_mm"][1:]]
        elif event.kind == "reading" and fault == "wild chainage" and i % 17 == 0:
            body["chainage_m"] += 30.0
        elif event.kind == "reading" and fault == "no cylinders":
            body["cylinder_mm"] = None
        bent.append(Event(event.sequence, event.kind, body))
    plain = followed(drive, bent)
    ahead, left = kept_up(drive, bent)
    same(plain, ahead)
    assert ahead.cylinders.fitting_mm == plain.cylinders.fitting_mm
    assert np.array_equal(ahead.cylinders.articulation, plain.cylinders.articulation)
    if fault != "cylinder":  # these are judged with all of their stroke
        assert np.median(left) <= 2  # the cell that is still open, and perhaps a shot


def test_a_kept_log_read_again_gives_the_same_to_the_last_bit():
    drive, events = recorded()
    same(followed(drive, events), followed(drive, events), tolerance=1e-300)


def test_standing_still_does_not_make_it_surer():
    """A hundred more readings of the same stand may halve a reading's variance, never more: they share
    the air, the target and the light."""
    drive, events = recorded(length_m=15.0)
    follower = followed(drive, events)
    before = follower.estimator.last.blend()[1][:, Y, Y]
    last = [e for e in events if e.kind == "reading"][-1]
    standing = [Event(10_000 + i, "reading", last.body) for i in range(400)]
    some = followed(drive, [*events, *standing[:20]]).estimator.last.blend()[1][:, Y, Y]
    many = followed(drive, [*events, *standing]).estimator.last.blend()[1][:, Y, Y]
    assert (many >= 0.8 * before).all()
    assert many == pytest.approx(some, rel=0.03)


def test_missing_channels_and_silence_keep_the_estimate_finite():
    drive, events = recorded(length_m=20.0)
    blind = []
    for i, event in enumerate(events):
        body = dict(event.body)
        for k, name in enumerate(
            ("spot_right_mm", "spot_up_mm", "yaw_mm_per_m", "pitch_mm_per_m", "roll_deg")
        ):
            if event.kind == "reading" and (i // 30) % 6 == k:
                body[name] = None
        if event.kind == "reading" and i % 7 == 0:
            body["cylinder_mm"] = [None, *body["cylinder_mm"][1:]]
        blind.append(Event(event.sequence, event.kind, body))
    follower = followed(drive, blind)
    whole = followed(drive, events).estimator.last.blend()
    x, p = follower.estimator.last.blend()
    assert np.isfinite(x).all() and np.isfinite(p).all()
    assert (np.linalg.eigvalsh(p) > -1e-9).all()
    off = np.abs(x[:, Y] - whole[0][:, Y]) / np.sqrt(p[:, Y, Y])
    assert off.max() < 2.0


def test_rebounds_are_readings_of_bored_ground():
    track = Track(0.0)
    taken = [track.offer(i, i, s) for i, s in enumerate([0.0, 0.5, 1.0, 0.98, 0.99, 1.05])]
    assert all(len(t) == 1 for t in taken)
    assert track.top_m == 1.05 and not track.jumps


def test_a_gap_counts_when_the_next_reading_agrees():
    track = Track(0.0)
    track.offer(0, 0, 5.0), track.offer(1, 1, 5.1)
    assert track.offer(2, 2, 30.0) == []
    assert track.offer(3, 3, 30.05) == [(2, 30.0), (3, 30.05)]
    assert [(j.from_m, j.to_m, j.confirmed) for j in track.jumps] == [(5.1, 30.0, True)]


def test_one_wild_chainage_is_dropped_and_counted():
    track = Track(0.0)
    for i, s in enumerate([0.0, 0.1, 700.0, 0.15, 0.2]):
        track.offer(i, i, s)
    assert track.top_m == 0.2 and track.wild == 1 and track.accepted == 4


def test_a_counter_that_was_reset_is_said_and_can_be_corrected():
    drive, events = recorded(length_m=16.0)
    cut = next(i for i, e in enumerate(events) if e.kind == "stroke_end" and e.body["chainage_m"] > 10.0) + 1

    def reset(event):
        if event.sequence <= cut or event.kind == "stroke_end":
            return event
        return Event(event.sequence, event.kind, event.body | {"chainage_m": event.body["chainage_m"] - 8.0})

    shifted = [reset(e) for e in events if e.kind != "check_shot"]
    lost = followed(drive, shifted)
    assert lost.top_m == pytest.approx(events[cut - 1].body["chainage_m"], abs=0.1)
    assert not lost.track.jumps[-1].confirmed and lost.track.lost
    found = examine(lost, lost.node())
    assert "chainage_jumped" in [n.code for n in found.notices] and not found.trusted
    word = Event(10_000, "chainage_set", {"from_sequence": cut + 1, "add_m": 8.0})
    assert lost.take(word) is False  # it changes how earlier readings count: the log is read again
    mended = Follower(drive, rulings(drive, [*shifted, word]))
    for event in (e for e in shifted if e.kind == "reading"):
        mended.take(event)
    mended.bring_up()
    plain = followed(drive, [e for e in events if e.kind == "reading"])
    assert mended.top_m == pytest.approx(plain.top_m)
    assert mended.estimator.last.x == pytest.approx(plain.estimator.last.x, abs=1e-6)


def test_a_counter_that_was_reset_is_not_believed_beyond_where_it_was():
    """It lacks metres there as well: 30 m of creeping past the old furthest chainage change nothing."""
    track = Track(0.0)
    for i in range(100):
        track.offer(i, i, 0.2 * i)
    top, taken = track.top_m, track.accepted
    for i in range(200):
        assert track.offer(100 + i, 100 + i, 12.0 + 0.2 * i) == []
    assert track.lost and track.top_m == top and track.accepted == taken and track.ignored == 200
    assert [(j.from_m, j.confirmed) for j in track.jumps] == [(top, False)]
    track.counter(8.0, 77)  # a person's word
    assert not track.lost
    assert len(track.offer(300, 300, 12.0)) == 1 and track.top_m == pytest.approx(20.0)


def test_the_word_that_the_counter_is_right_ends_the_doubt():
    track = Track(0.0)
    for i, s in enumerate([10.0, 10.1, 4.0, 4.1, 4.2, 4.3, 4.4]):
        track.offer(i, i, s)
    assert track.lost
    track.counter(0.0, 9)
    assert not track.lost and len(track.offer(8, 8, 10.2)) == 1


def test_a_counter_that_read_zero_for_a_while_counts_again_where_it_was():
    track = Track(0.0)
    for i in range(20):
        track.offer(i, i, 20.0 + 0.1 * i)
    for i in range(20, 40):
        track.offer(i, i, 0.0)
    assert track.lost
    assert len(track.offer(40, 40, 22.0)) == 1
    assert not track.lost and track.top_m == 22.0


def test_readings_of_a_file_that_overlaps_another_are_no_reset():
    """Times that lie within what was read before: told once more, not a counter that was reset."""
    drive, events = recorded(length_m=16.0)
    readings = [e for e in events if e.kind == "reading"]
    again = [Event(50_000 + i, "reading", e.body) for i, e in enumerate(readings[len(readings) // 2 :])]
    plain, twice = followed(drive, readings), followed(drive, [*readings, *again])
    assert not twice.track.lost and not twice.track.jumps
    assert twice.top_m == plain.top_m


def test_a_reference_set_anew_forgets_the_old_ones_error():
    drive, events = recorded(length_m=20.0)
    follower = followed(drive, events)
    body = {"chainage_m": follower.top_m, "right_mm": 0.0, "up_mm": drive.reference.up_mm}
    assert follower.take(Event(20_000, "reference_set", body))
    before = follower.estimator.last.blend()
    follower.bring_up()
    x, p = follower.estimator.last.blend()
    priors = follower.estimator.stack.priors
    assert x[:, [RO, RD]] == pytest.approx(0.0)
    assert np.sqrt(p[:, RO, RO]) == pytest.approx(priors.reference_offset)
    assert x[:, Y] == pytest.approx(before[0][:, Y])
    assert p[:, Y, Y] == pytest.approx(before[1][:, Y, Y])


def test_a_setting_told_late_reads_the_log_again():
    drive, events = recorded(length_m=20.0)
    follower = followed(drive, events)
    assert not follower.take(
        Event(20_000, "reference_set", {"chainage_m": 5.0, "right_mm": 3.0, "up_mm": 0.0})
    )


@pytest.mark.parametrize("curved", [False, True])
def test_smoothing_is_surer_than_filtering_and_ends_with_it(curved):
    drive, events = recorded(3, 40.0, curved)
    follower = followed(drive, events)
    path = smooth(follower.estimator)
    last = follower.estimator.last.blend()
    assert path.line_mm[-1] == pytest.approx(last[0][0, Y])
    filtered = {round(n.s_m, 6): np.sqrt(n.blend()[1][0, Y, Y]) for n in follower.estimator.nodes}
    ratio = [sd / filtered[round(s, 6)] for s, sd in zip(path.chainage_m, path.line_sd_mm, strict=True)]
    assert max(ratio) < 1.05 and np.mean(ratio) < 0.9


def test_the_opposite_answers_change_nothing_of_the_estimate():
    """They ride along for the health checks only."""
    drive, events = recorded(length_m=15.0)
    follower = followed(drive, events)
    node = follower.estimator.last
    m2 = 2 * follower.estimator.stack.models
    x, _ = node.blend()
    node.x[m2:] += 100.0
    assert (node.blend()[0] == x).all()
    node.x[m2:] -= 100.0


def test_cylinders_stand_as_read_when_one_is_no_longer_read():
    """A sensor drops out and the cylinders are set anew: readings from before say nothing any more."""
    drive, events = recorded(length_m=4.0)
    whole = next(e.body for e in reversed(events) if e.kind == "reading" and e.body.get("cylinder_mm"))
    count = len(drive.machine.cylinders.positions_deg)
    anew = extensions(6.0, -4.0, 0.0, drive.machine.cylinders)
    read = [*anew[: count - 1].tolist(), None]
    body = whole | {"cylinder_mm": read, "roll_deg": 0.0}
    later = [Event(len(events) + 1 + i, "reading", body) for i in range(3)]
    stands = followed(drive, [*events, *later]).standing().mm
    assert stands == pytest.approx(anew, abs=drive.machine.cylinders.step_mm)


def test_a_leap_of_the_chainage_is_said_while_many_metres_follow_and_until_a_person_speaks():
    """A counter that leaps by 32 m, as in a file: 8 m come after it before anybody looks."""
    drive, events = recorded(length_m=16.0)
    readings = [e for e in events if e.kind == "reading"]

    def leapt(event):
        s = event.body["chainage_m"]
        return Event(event.sequence, "reading", event.body | {"chainage_m": s + (32.0 if s > 8.0 else 0.0)})

    follower = followed(drive, [leapt(e) for e in readings])
    assert follower.top_m - follower.track.jumps[-1].to_m > 7.5
    said = [n for n in examine(follower, follower.node()).notices if n.code == "chainage_jumped"]
    assert len(said) == 1 and "to 40.0" in said[0].text
    word = Event(10_000, "chainage_set", {"add_m": 0.0})
    follower.known = rulings(drive, [word])
    assert "chainage_jumped" not in [n.code for n in examine(follower, follower.node()).notices]


def test_the_newest_force_is_found_whatever_is_read_after_it():
    """A file of settings read after the readings tells no force; one read a stroke further on makes it old."""
    drive, events = recorded(length_m=6.0)
    follower = followed(drive, events)
    top, stroke_m = follower.top_m, drive.drive.stroke_m
    number = len(events)

    def add(chainage_m, **more):
        nonlocal number
        number += 1
        follower.take(Event(number, "reading", {"chainage_m": chainage_m, **more}))
        follower.bring_up()

    add(top, jacking_force_kn=1500.0)
    add(top + 0.2, jacking_force_kn=1400.0)
    assert follower.newest_force() == (1500.0, top)
    for _ in range(450):
        add(top + 0.2)
    assert follower.newest_force() == (1500.0, top)
    for i in range(1, 20):
        add(top + 0.2 + i * stroke_m / 16.0)
    assert follower.newest_force() is None
