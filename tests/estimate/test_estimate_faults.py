"""Each fault on a few drawn drives: its notice comes, names what it should, and clears itself.

`tests/bench/estimate_faults.py` does the same on thirty drives a fault and a hundred without.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from support_histories import Event

from steer.drivefile import parse_drive
from steer.estimate.findings.readings import refused_lately
from steer.estimate.follow import Follower
from steer.estimate.health import examine
from steer.estimate.motion import RO
from steer.estimate.nodes import cells_of
from steer.ground import CheckShots, Fault, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb
from steer.machine.cylinders import extensions

AT_M = 24.02  # just after a stroke's end


def drive(scenario, to_m, distort=None, hold=None, make=Simulation):
    """Notices after each stroke [(chainage, {code: text})] under the rule of thumb, and the follower."""
    scenario.drive["drive"]["stroke_m"] = 1.0
    file = parse_drive(drive_toml(scenario.drive))
    follower, steerer, simulation = Follower(file), RuleOfThumb(scenario.drive), make(scenario)
    said, number = [], 0

    def take(kind, body):
        nonlocal number
        number += 1
        assert follower.take(Event(number, kind, {k: v for k, v in body.items() if k != "kind"}))

    readings = simulation.start()
    while True:
        for reading in readings:
            steerer.reading(reading)
            take("reading", distort(reading) if distort else reading)
        for shot in simulation.shots():
            steerer.shot(shot)
            take("check_shot", shot)
        s = simulation.chainage_m
        take("stroke_end", {"chainage_m": s})
        follower.bring_up()
        node = follower.node()
        found = examine(follower, node)
        said.append((s, {n.code: n.text for n in found.notices}))
        if simulation.finished or s >= to_m:
            return said, follower, simulation
        wanted = steerer.stroke_end(s)
        if hold is not None and s >= AT_M - 0.5:
            wanted = extensions(*hold, simulation.roll_deg, file.machine.cylinders)
        take("overridden", {"cylinder_mm": [round(float(v), 2) for v in wanted]})
        readings = simulation.advance(wanted)


def strokes_until(said, code):
    """Strokes of 1 m from the fault to its notice; None: never."""
    after = [codes for s, codes in said if s > AT_M + 1e-6]
    return next((i + 1 for i, codes in enumerate(after) if code in codes), None)


def scenario_of(seed, *faults, **guidance):
    scenario = draw_scenario(seed)
    return scenario.with_(faults=faults, guidance=replace(scenario.guidance, **guidance))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_clean_drive_is_left_in_peace(seed):
    said, follower, _ = drive(draw_scenario(seed), 60.0)
    assert set().union(*(codes for _, codes in said)) <= {"survey_due", "ground_changed"}
    assert follower.readings == follower.track.accepted + follower.track.wild + follower.track.ignored


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    ("fault", "code", "within"),
    [
        (Fault("beam_knock", AT_M, (20.0, 16.0, 0.0, 0.0)), "reference_moved", 2),
        (Fault("target_knock", AT_M, (22.0, -20.0, 8.0)), "target_knocked", 2),
        (Fault("yaw_stuck", AT_M), "yaw_stuck", 2),
        (Fault("pitch_stuck", AT_M), "pitch_stuck", 2),
        (Fault("cylinder_misread", AT_M, (2.0, 14.0)), "cylinder_misread", 1),
    ],
)
def test_a_fault_is_named(seed, fault, code, within):
    said, _, _ = drive(scenario_of(seed, fault), AT_M + 4.0)
    assert not any(code in codes for s, codes in said if s <= AT_M)
    strokes = strokes_until(said, code)
    assert strokes is not None and strokes <= within
    text = next(codes[code] for _, codes in said if code in codes)
    assert any(character.isdigit() for character in text) and text.endswith(".")


@pytest.mark.parametrize("seed", [0, 1, 3, 4, 6, 7])
def test_opposite_steering_is_said_within_four_strokes(seed):
    """Articulation of 5 mm/m and more held in both planes; elastic and guided ground. Lagged ground with a
    lag of ten metres shows hardly anything within four."""
    said, _, _ = drive(scenario_of(seed, Fault("reversed", AT_M, (1.0, 1.0))), AT_M + 6.0, hold=(-6.0, 6.0))
    assert not any("steering_opposite" in codes for s, codes in said if s <= AT_M)
    strokes = strokes_until(said, "steering_opposite")
    assert strokes is not None and strokes <= 4


@pytest.mark.parametrize("seed", [3, 15])
def test_a_machine_that_no_longer_answers_is_said_to_be_weak_and_not_opposite(seed):
    """A front body that stood bent springs back when the ground gives way: away from its setting, but only to
    where nothing is set."""
    scenario, gives_way = draw_scenario(seed, "elastic", curved=False), AT_M + 4.0
    kept = tuple(s for s in scenario.ground.stretches if s.start_m <= gives_way)
    new = replace(kept[-1], start_m=gives_way, gain=(0.12, 0.12))
    scenario = scenario.with_(ground=replace(scenario.ground, stretches=(*kept, new)))
    said, _, _ = drive(scenario, gives_way + 4.0, hold=(12.0, -12.0))
    after = [codes for s, codes in said if s > gives_way]
    assert any("steering_weak" in codes for codes in after)
    assert not any("steering_opposite" in codes for codes in after)


class PutRight(Simulation):
    """Answers opposite from AT_M to 30 m only."""

    def __init__(self, scenario):
        super().__init__(scenario)
        self._answer[round((30.0 - self.start_m) / self.step_m) :] = 1.0


def test_opposite_steering_clears_when_the_mapping_is_put_right():
    said, _, _ = drive(scenario_of(1, Fault("reversed", AT_M, (1.0, 1.0))), 75.0, make=PutRight)
    assert any("steering_opposite" in codes for _, codes in said)
    assert "steering_opposite" not in said[-1][1]


def test_a_lost_beam_is_said_and_unsaid():
    said, _, _ = drive(scenario_of(2, beam_lost=((AT_M, AT_M + 3.0),)), AT_M + 6.0)
    during = [codes for s, codes in said if AT_M + 1.0 < s < AT_M + 3.0]
    assert all("beam_lost" in codes for codes in during)
    assert "beam_lost" not in said[-1][1]


@pytest.mark.parametrize("last_m", [20.86, 21.0, 21.13, 21.22])
def test_a_lost_beam_names_the_last_spot_that_was_read(last_m):
    """Rounded down to a tenth, wherever in a cell the spot was lost."""
    seen = []

    def distort(reading):
        if reading["chainage_m"] <= last_m:
            seen.append(reading["chainage_m"])
            return reading
        return {k: v for k, v in reading.items() if not k.startswith(("spot", "target"))}

    said, _, _ = drive(scenario_of(2), 24.0, distort=distort)
    text = said[-1][1]["beam_lost"]
    named = float(re.search(r"since ([\d.]+) m", text)[1])
    assert 0.0 <= max(seen) + 1e-6 - named < 0.1


def test_no_spot_at_all_is_said_so():
    said, _, _ = drive(scenario_of(2), 3.0, distort=lambda r: {k: v for k, v in r.items() if "spot" not in k})
    assert "none yet on this drive" in said[-1][1]["beam_lost"]


def test_a_stuck_channel_is_left_out_and_comes_back():
    """Yaw repeats one value for four metres; the estimate holds its interval all the way."""
    held: dict[str, float] = {}

    def distort(reading):
        if AT_M < reading["chainage_m"] < AT_M + 4.0 and reading["yaw_mm_per_m"] is not None:
            held.setdefault("yaw", reading["yaw_mm_per_m"])
            return reading | {"yaw_mm_per_m": held["yaw"]}
        return reading

    said, _, _ = drive(draw_scenario(2), AT_M + 6.0, distort)
    assert any("yaw_stuck" in codes for _, codes in said)
    assert "yaw_stuck" not in said[-1][1]


def test_a_frozen_spot_is_left_out_and_comes_back():
    """The spot stands still for six metres while the headings live: named, the beam not blamed, the interval honest."""
    held: dict[str, float] = {}

    def distort(reading):
        if AT_M < reading["chainage_m"] < AT_M + 6.0 and reading["spot_right_mm"] is not None:
            for key in ("spot_right_mm", "spot_up_mm"):
                held.setdefault(key, reading[key])
            return reading | held
        return reading

    said, follower, simulation = drive(draw_scenario(2), AT_M + 5.5, distort)
    during = [codes for s, codes in said if s > AT_M + 2.5]
    assert during and all("spot_stuck" in codes and "beam_lost" not in codes for codes in during)
    x, p = follower.node().blend()
    off = x[:, 0] - simulation.truth().face_mm[-1]
    assert (np.abs(off) < 3.0 * np.sqrt(p[:, 0, 0])).all()
    said, _, _ = drive(draw_scenario(2), AT_M + 8.0, distort)
    assert "spot_stuck" not in said[-1][1]


def test_where_every_channel_stands_the_spot_is_said_as_well_as_the_headings():
    """All that is read repeats itself for two metres while the chainage goes on; said until it lives again."""
    held: dict[str, float] = {}

    def distort(reading):
        if AT_M < reading["chainage_m"] < AT_M + 2.0:
            for key, value in reading.items():
                if key.startswith(("spot", "yaw", "pitch")) and value is not None:
                    held.setdefault(key, value)
            return reading | held
        return reading

    said, _, _ = drive(draw_scenario(2), AT_M + 1.9, distort)
    assert {"spot_stuck", "yaw_stuck", "pitch_stuck"} <= set(said[-1][1])
    text = said[-1][1]["spot_stuck"]
    assert f"exactly {abs(held['spot_right_mm']):g} mm" in text and "as the heading does" in text
    said, _, _ = drive(draw_scenario(2), AT_M + 4.0, distort)
    assert "spot_stuck" not in said[-1][1]


@pytest.mark.parametrize("bent", [True, False])
def test_where_every_channel_stands_for_metres_a_bent_machine_is_not_steered_by_it(bent):
    """All that is read repeats itself for five metres. With the machine bent the estimate is one of the past; a straight
    one may truly go straight on, as one on line does in made readings without noise."""
    held: dict[str, float] = {}

    def distort(reading):
        if reading["chainage_m"] > AT_M:
            for key, value in reading.items():
                if key.startswith(("spot", "yaw", "pitch")) and value is not None:
                    held.setdefault(key, value)
            reading = reading | held
        stretch = 5.0 if bent else 0.0
        return reading | {"cylinder_mm": [36.0 + stretch, 36.0 + stretch, 36.0 - stretch, 36.0 - stretch]}

    _, follower, _ = drive(draw_scenario(2), AT_M + 2.5, distort)
    assert examine(follower, follower.node()).trusted
    _, follower, _ = drive(draw_scenario(2), AT_M + 5.0, distort)
    node = follower.node()
    health = examine(follower, node)
    assert health.trusted is not bent and health.survey_asked >= bent
    assert (float(np.hypot(*node.articulation)) > 2.0) is bent


def test_wild_readings_are_counted_and_the_rest_goes_on():
    rng = np.random.default_rng(3)

    def distort(reading):
        if reading["spot_right_mm"] is not None and rng.random() < 0.15 and reading["chainage_m"] > AT_M:
            return reading | {"spot_right_mm": reading["spot_right_mm"] + 45.0}
        return reading

    said, follower, simulation = drive(draw_scenario(3), AT_M + 6.0, distort)
    assert any("reading_refused" in codes for s, codes in said if s > AT_M)
    x, p = follower.node().blend()
    off = x[:, 0] - simulation.truth().face_mm[-1]
    assert (np.abs(off) < 3.0 * np.sqrt(p[:, 0, 0])).all()


def test_a_misread_cylinder_does_not_fool_the_articulation():
    """One of four reads 14 mm long: what was told decides between it and the opposite one."""
    seed = next(
        k for k in range(20) if len(draw_scenario(k).drive["machine"]["cylinders"]["positions_deg"]) == 4
    )
    clean, plain, _ = drive(draw_scenario(seed), AT_M + 3.0)
    said, fooled, _ = drive(scenario_of(seed, Fault("cylinder_misread", AT_M, (1.0, 14.0))), AT_M + 3.0)
    assert "cylinder_misread" in said[-1][1]
    assert "Cylinder 1 " in said[-1][1]["cylinder_misread"]
    assert fooled.cylinders.articulation == pytest.approx(plain.cylinders.articulation, abs=1.0)
    assert fooled.standing().mm == pytest.approx(plain.standing().mm, abs=1.5)
    del clean


def test_a_changed_ground_is_said_and_followed():
    scenario = draw_scenario(4, "guided")
    now = [s for s in scenario.ground.stretches if s.start_m <= AT_M][-1]
    new = replace(now, start_m=AT_M, crab_mm_per_m=(now.crab_mm_per_m[0] + 13.0, now.crab_mm_per_m[1]))
    kept = tuple(s for s in scenario.ground.stretches if s.start_m <= AT_M)
    scenario = scenario.with_(ground=replace(scenario.ground, stretches=(*kept, new)))
    said, _, _ = drive(scenario, AT_M + 14.0)
    assert (strokes_until(said, "ground_changed") or 99) <= 5
    assert "line" in next(codes["ground_changed"] for _, codes in said if "ground_changed" in codes)
    assert "ground_changed" not in said[-1][1]


def test_ground_that_answers_late_is_said_to_have_changed():
    """It bends the path by 2 mm/m² more: followed cell by cell, but the tendency is not what it was."""
    scenario = draw_scenario(2, "lagged", curved=False)
    kept = tuple(s for s in scenario.ground.stretches if s.start_m <= AT_M)
    bend = kept[-1].tendency_mm_per_m2
    new = replace(kept[-1], start_m=AT_M, tendency_mm_per_m2=(bend[0], bend[1] + 2.0))
    scenario = scenario.with_(ground=replace(scenario.ground, stretches=(*kept, new)))
    said, _, _ = drive(scenario, AT_M + 12.0)
    assert not any("ground_changed" in codes for s, codes in said if s <= AT_M)
    assert (strokes_until(said, "ground_changed") or 99) <= 9
    assert "further up: " in next(c["ground_changed"] for _, c in said if "ground_changed" in c)


def test_without_check_shots_a_survey_falls_due():
    scenario = draw_scenario(2, curved=False).with_(shots=CheckShots(every_m=0.0))
    scenario.drive["sd"]["reference_mm_per_m"] = 0.3
    said, _, _ = drive(scenario, 60.0)
    assert any("survey_due" in codes for _, codes in said)
    assert "survey_due" not in said[3][1]


@pytest.mark.parametrize("row", [[40.0, 0.0, 0.0, 40.0], [1.0, 2.0, 3.0, None]])
def test_one_bad_row_of_cylinders_before_the_stroke_ends_is_not_believed(row: list[float | None]) -> None:
    """Alone against the rows before it; a second one that says the same is taken for what stands."""
    seed = next(
        k for k in range(20) if len(draw_scenario(k).drive["machine"]["cylinders"]["positions_deg"]) == 4
    )
    _, follower, _ = drive(draw_scenario(seed), AT_M)
    stood = follower.standing().mm
    last = follower.recent[-1][1]
    stands = datetime.fromisoformat(last["time"])
    for count in (1, 2):
        sequence = follower.recent[-1][0] + 1
        time = (stands + timedelta(seconds=count)).isoformat().replace("+00:00", "Z")
        follower.take(Event(sequence, "reading", last | {"cylinder_mm": row, "time": time}))
        follower.bring_up()
        believed = follower.standing().read_mm
        assert (np.abs(believed - stood).max() < 1.0) == (count == 1)


def test_no_check_shot_is_spoken_of_where_there_is_none():
    """The beam was knocked: the spot's jump is said; what shots show of the reference only with one that counts."""
    knock = Fault("beam_knock", AT_M, (40.0, -30.0, 0.0, 0.0))
    scenario = scenario_of(2, knock).with_(shots=CheckShots(1e4, 1.0, "face"))
    said, follower, simulation = drive(scenario, AT_M + 6.0)
    assert any("reference_moved" in codes for _, codes in said)
    assert not any("Check shots" in text for _, codes in said for text in codes.values())
    node = follower.node()
    x, p = node.blend()
    assert abs(x[:, RO]).max() > 4.0 and abs(x[0, RO]) > 3.0 * p[0, RO, RO] ** 0.5  # it would have been said
    face = simulation.truth().face_mm[-1]
    shot = {"chainage_m": node.s_m, "point": "face", "line_mm": face[0], "level_mm": face[1], "sd_mm": 1.0}
    follower.take(Event(10**6, "check_shot", shot))
    follower.bring_up()
    assert any(n.text.startswith("Check shots show") for n in examine(follower, follower.node()).notices)


def test_how_many_were_refused_of_late_is_told_by_channel():
    """Exactly the values put in, whichever channel they came in by; the notice asks for more of them than these."""
    put_in = []

    def distort(reading):
        s = reading["chainage_m"]
        for name, by in (("spot_right_mm", 60.0), ("pitch_mm_per_m", -25.0)):
            if (
                name in reading
                and 22.3 < s < 23.9
                and all(abs(s - at) > 0.45 for at, which in put_in if which == name)
            ):
                put_in.append((s, name))
                reading = reading | {name: reading[name] + by}
        return reading

    said, follower, _ = drive(draw_scenario(11, curved=False), 24.0, distort)
    node = follower.node()
    words = refused_lately(cells_of(follower.estimator.nodes), node)
    counts = {name: sum(which == name for _, which in put_in) for name in ("spot_right_mm", "pitch_mm_per_m")}
    assert min(counts.values()) >= 3
    offered = r"(\d+)"
    found = re.fullmatch(
        rf"{counts['spot_right_mm']} of {offered} spots on line, {counts['pitch_mm_per_m']} of {offered} pitch readings "
        rf"since {node.s_m - 3.0:.1f} m",
        words,
    )
    assert found and min(map(int, found.groups())) > 15, words
    assert "reading_refused" not in said[-1][1]
    _, clean, _ = drive(draw_scenario(11, curved=False), 24.0)
    assert refused_lately(cells_of(clean.estimator.nodes), clean.node()).startswith("none since ")
    assert refused_lately([], node) == ""
