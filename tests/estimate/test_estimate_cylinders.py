"""Cylinders that are read for a while and then no more: a logger that lost their channel."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from support_histories import Event

from steer.drivefile import DriveFile, parse_drive
from steer.estimate.cylinders import SILENT, CylinderReadings
from steer.estimate.follow import Follower
from steer.estimate.health import examine
from steer.estimate.rulings import rulings
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.machine import extensions

LOST_M = 12.0  # from here on no reading tells the cylinders
HELD = ((4.0, -2.0), (-3.0, 5.0))  # mm/m, turn and turn about by strokes


@cache
def recorded(end_m: float = 24.0) -> tuple[DriveFile, tuple[Event, ...], tuple[float, ...]]:
    """A drive steered to and fro whose every setting is accepted, and the setting that stands at its end."""
    scenario = draw_scenario(4, curved=False)
    file, simulation = parse_drive(drive_toml(scenario.drive)), Simulation(scenario)
    events: list[Event] = []
    step = file.machine.cylinders.step_mm
    readings, stroke, set_mm = simulation.start(), 0, ()

    def add(kind: str, body: dict[str, Any]) -> None:
        events.append(Event(len(events) + 1, kind, {k: v for k, v in body.items() if k != "kind"}))

    while simulation.chainage_m - file.axis.start_chainage_m < end_m:
        for reading in readings:
            add("reading", reading)
        add("stroke_end", {"chainage_m": simulation.chainage_m})
        wanted = extensions(*HELD[stroke // 2 % 2], simulation.roll_deg, file.machine.cylinders)
        set_mm = tuple((np.round(np.array(wanted) / step) * step).tolist())
        add("accepted", {"cylinder_mm": list(set_mm)})
        readings, stroke = simulation.advance(np.array(set_mm)), stroke + 1
    for reading in readings:
        add("reading", reading)
    return file, tuple(events), set_mm


def without_cylinders(events: tuple[Event, ...], from_m: float, to_m: float = np.inf) -> list[Event]:
    return [
        Event(e.sequence, e.kind, e.body | {"cylinder_mm": None})
        if e.kind == "reading" and from_m < e.body["chainage_m"] < to_m
        else e
        for e in events
    ]


def followed(file: DriveFile, events: list[Event], each: bool = False) -> Follower:
    follower = Follower(file, rulings(file, events))
    for event in events:
        assert follower.take(event)
        if each:
            follower.keep_up()
    follower.bring_up()
    return follower


def said(follower: Follower) -> dict[str, str]:
    return {n.code: n.text for n in examine(follower, follower.node()).notices}


def test_what_was_set_stands_where_nobody_reads_the_cylinders_any_more():
    file, events, set_mm = recorded()
    whole, lost = followed(file, list(events)), followed(file, without_cylinders(events, LOST_M))
    assert np.abs(lost.standing().mm - set_mm).max() < 0.06
    assert lost.cylinders.articulation == pytest.approx(whole.cylinders.articulation, abs=0.6)
    assert "cylinders_silent" not in said(whole)
    assert lost.cylinders.read_at_m == pytest.approx(LOST_M, abs=0.2)
    assert f"since {lost.cylinders.read_at_m:.2f} m" in said(lost)["cylinders_silent"]
    # from the silence on each cell takes the setting for the one that the ground saw
    late = [n for n in lost.estimator.nodes if n.s_m > LOST_M + (SILENT + 1.0) * file.drive.stroke_m]
    same = {round(n.s_m, 6): n.articulation for n in whole.estimator.nodes}
    assert len(late) > 20
    apart = [np.abs(n.articulation - same[round(n.s_m, 6)]).max() for n in late]
    assert max(apart) < 0.6


def test_a_cylinder_read_again_is_believed_again():
    file, events, _ = recorded()
    again = followed(file, without_cylinders(events, LOST_M, 18.0))
    whole = followed(file, list(events))
    assert not again.cylinders.silent
    assert "cylinders_silent" not in said(again)
    assert again.standing().mm == pytest.approx(whole.standing().mm)


def test_readings_without_cylinders_and_nothing_set_since_leave_them_as_read():
    """A surveyor's readings between strokes, or a logger that tells them once: no setting, no news."""
    file, events, _ = recorded()
    nobody_sets = [
        e for e in without_cylinders(events, LOST_M) if e.kind != "accepted" or e.sequence < _first(events)
    ]
    lost = followed(file, nobody_sets)
    assert not lost.cylinders.silent
    assert lost.cylinders.read_mm == pytest.approx(lost.standing().mm, abs=1.0)


def _first(events: tuple[Event, ...]) -> int:
    """The first event beyond the chainage at which the channel is lost."""
    return next(e.sequence for e in events if e.kind == "reading" and e.body["chainage_m"] > LOST_M)


def test_it_does_not_matter_how_the_readings_are_handed_over():
    file, events, _ = recorded()
    lost = without_cylinders(events, LOST_M)
    at_once, one_by_one = followed(file, lost), followed(file, lost, each=True)
    for a, b in zip(at_once.estimator.nodes, one_by_one.estimator.nodes, strict=True):
        assert np.array_equal(a.articulation, b.articulation)


@pytest.mark.parametrize("lost_m", [LOST_M, np.inf])
def test_a_setting_taken_back_never_counted(lost_m: float):
    """Told at once or by reading the log again, the drive comes to the same."""
    file, events, _ = recorded()
    events = tuple(without_cylinders(events, lost_m))
    last = next(e for e in reversed(events) if e.kind == "accepted")
    before = next(e for e in reversed(events) if e.kind == "accepted" and e.sequence < last.sequence)
    cut = [e for e in events if e.sequence <= last.sequence]
    undone = Event(last.sequence + 1, "undone", {"event": last.sequence})
    live = Follower(file)
    assert all(live.take(e) for e in cut)
    live.bring_up()
    at_once = live.take(undone)
    assert at_once == (lost_m == np.inf)  # else readings may have been taken by it
    again = followed(file, [*cut, undone])
    assert again.cylinders.told_mm == tuple(before.body["cylinder_mm"])
    if at_once:
        assert live.cylinders.told_mm == again.cylinders.told_mm


@pytest.mark.parametrize("nothing", [-999.0, 9999.0])
def test_what_no_cylinder_can_read_is_nothing_read(nothing: float):
    """A logger's way to say that it has no value: as if it were empty."""
    file, events, _ = recorded()
    count = len(file.machine.cylinders.positions_deg)
    lost = without_cylinders(events, LOST_M)
    told = [
        Event(e.sequence, e.kind, e.body | {"cylinder_mm": [nothing] * count}) if e is not was else e
        for e, was in zip(lost, events, strict=True)
    ]
    empty, absurd = followed(file, lost), followed(file, told)
    assert np.array_equal(absurd.standing().mm, empty.standing().mm)
    assert said(absurd).keys() == said(empty).keys() and "cylinders_silent" in said(absurd)
    for a, b in zip(absurd.estimator.nodes, empty.estimator.nodes, strict=True):
        assert np.array_equal(a.x, b.x)


def test_one_row_of_wild_cylinders_moves_nothing():
    """Also one that lies in a plane, so that no cylinder belies the others."""
    file, events, _ = recorded()
    last = events[-1].body
    sign = [1.0 if 90 <= deg < 270 else -1.0 for deg in file.machine.cylinders.positions_deg]
    long = 4.0 * file.machine.cylinders.range_mm[1]
    wild = Event(len(events) + 1, "reading", last | {"cylinder_mm": [s * long for s in sign]})
    after = [Event(len(events) + 2 + i, "reading", last) for i in range(2)]
    whole, other = followed(file, [*events, *after]), followed(file, [*events, wild, *after])
    assert other.standing().mm == pytest.approx(whole.standing().mm)
    assert other.cylinders.articulation == pytest.approx(whole.cylinders.articulation)


def test_a_logger_that_says_nought_for_nothing_is_not_believed():
    """All cylinders at 0 where the machine is straight at 36 mm; where it is straight at 0 it is a reading."""
    file, events, _ = recorded()
    count = len(file.machine.cylinders.positions_deg)
    nought = [
        Event(e.sequence, e.kind, e.body | {"cylinder_mm": [0.0] * count})
        if lost.body.get("cylinder_mm", 1) is None
        else e
        for e, lost in zip(events, without_cylinders(events, LOST_M), strict=True)
    ]
    empty, zeros = followed(file, without_cylinders(events, LOST_M)), followed(file, nought)
    assert np.array_equal(zeros.standing().mm, empty.standing().mm)
    assert said(zeros).keys() == said(empty).keys() and "cylinders_silent" in said(zeros)
    plain = CylinderReadings(file.machine, 1.0)
    around_0 = file.machine.cylinders.model_copy(update={"neutral_mm": 0.0, "range_mm": (-40.0, 40.0)})
    other = CylinderReadings(file.machine.model_copy(update={"cylinders": around_0}), 1.0)
    rows = [{"cylinder_mm": [0.0] * count}]
    for cylinders, believed in ((plain, None), (other, (0.0,) * count)):
        cylinders.take(rows, np.zeros(1), np.ones(1))
        assert cylinders.read_mm == believed


def test_cylinders_read_otherwise_than_chosen_are_said_till_they_are_as_chosen():
    file, events, _ = recorded()
    assert "cylinders_not_as_set" not in said(followed(file, list(events)))
    chosen = next(e for e in reversed(events) if e.kind == "accepted")
    other = list(chosen.body["cylinder_mm"])
    other[1] += 4.5
    other[2] -= 2.5
    forgotten = [e if e is not chosen else Event(e.sequence, e.kind, {"cylinder_mm": other}) for e in events]
    follower = followed(file, forgotten)
    text = said(follower)["cylinders_not_as_set"]
    read = follower.standing().read_mm
    assert f"m (2: {read[1]:.1f} mm, chosen {other[1]:g}; 3: {read[2]:.1f} mm, chosen {other[2]:g})." in text
    # advice that nobody took is no promise
    advised = [e if e is not chosen else Event(e.sequence, "advised", {"cylinder_mm": other}) for e in events]
    assert "cylinders_not_as_set" not in said(followed(file, advised))
    # nor is a choice taken back, nor one of a moment ago
    undone = Event(len(events) + 1, "undone", {"event": chosen.sequence})
    assert "cylinders_not_as_set" not in said(followed(file, [*forgotten, undone]))
    soon = [e for e in forgotten if e.sequence <= chosen.sequence + 2]
    assert "cylinders_not_as_set" not in said(followed(file, soon))
