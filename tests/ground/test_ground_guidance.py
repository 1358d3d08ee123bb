"""What the simulated guidance shows, against the core's own geometry, the contract's words and figures of the
trade."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from steer.drivefile import parse_drive
from steer.ground import CheckShots, Fault, Guidance, Scenario, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.instruments import articulation_of, cylinders_for
from steer.machine import articulation, axis_offset_from_spot

PERFECT = Guidance(noise_scale=0.0, roll_sd_deg=0.0, cylinder_sd_mm=0.0)


def perfect(seed: int, curved: bool, faults: tuple[Fault, ...] = (), **guidance: object) -> Scenario:
    """A drawn drive whose instruments show the truth, but for what is asked for."""
    scenario = draw_scenario(seed, curved=curved)
    drive = {name: dict(section) for name, section in scenario.drive.items()}
    drive["sd"] |= {"reference_mm": 0.0, "reference_mm_per_m": 0.0, "pitch_bias_mm_per_m": 0.0}
    return scenario.with_(drive=drive, guidance=replace(PERFECT, **guidance), faults=faults)


def driven(scenario: Scenario, strokes: int = 30) -> tuple[Simulation, list[dict]]:
    simulation = Simulation(scenario)
    readings = simulation.start()
    for number in range(strokes):
        wanted = 5.0 * np.array([np.sin(0.5 * number), np.cos(0.4 * number)])
        readings += simulation.advance(cylinders_for(simulation.machine, wanted, 0.0))
    return simulation, readings


@pytest.mark.parametrize("curved", [False, True])
def test_a_perfect_spot_leads_back_to_the_true_face(curved: bool) -> None:
    """Through the core's own target geometry and the heading, which the simulator does not use."""
    scenario = perfect(41, curved)
    simulation, readings = driven(scenario, 80)
    truth, target, reference = simulation.truth(), scenario.drive["target"], scenario.drive["reference"]
    behind = target["behind_face_m"]
    pairs = pairwise(readings)  # not the readings over ground bored before
    going = [b for a, b in pairs if b["chainage_m"] - a["chainage_m"] == pytest.approx(0.05, abs=1e-6)]
    assert len(going) > 100
    compared = 0
    for reading in going:
        k = round((reading["chainage_m"] - simulation.start_m) / simulation.step_m)
        line, level = axis_offset_from_spot(
            reference["right_mm"], reference["up_mm"], target["right_mm"], target["up_mm"],
            reading["spot_right_mm"], reading["spot_up_mm"], reading["roll_deg"],
        )  # fmt: skip
        at = np.searchsorted(simulation.course.along_m, truth.chainage_m[k])
        bends = simulation.course.curvature[at - round(behind / simulation.step_m) - 2 : at + 2]
        if np.ptp(bends, axis=0).any():
            continue  # the closed form below holds where the curvature is constant over the lever arm
        compared += 1
        expected = truth.face_mm[k] - truth.heading[k] * behind - bends[0] * behind**2 / 2.0
        assert (line, level) == pytest.approx(tuple(expected), abs=0.05)
    assert compared > 100


def test_a_machine_right_of_the_beam_shows_the_spot_on_the_left() -> None:
    """The contract's own example of the sign, with no roll."""
    scenario = perfect(42, False)
    scenario = scenario.with_(ground=replace(scenario.ground, roll_sd_deg=0.0))
    simulation, readings = driven(scenario)
    target, reference = scenario.drive["target"], scenario.drive["reference"]
    for reading in readings[-20:]:
        sits_right = simulation.truth().face_mm[-1, 0] + target["right_mm"] - reference["right_mm"]
        if abs(sits_right) > 50.0:
            assert np.sign(reading["spot_right_mm"]) == -np.sign(sits_right)


def test_roll_moves_a_target_400_mm_up_by_7_mm_a_degree() -> None:
    """Common practice, and sin 1° × 400 mm = 6.98 mm: the spot moves left as the target moves right."""
    scenario = perfect(43, False)
    scenario.drive["target"] = {"behind_face_m": 1.0, "right_mm": 0.0, "up_mm": 400.0}
    simulation = Simulation(scenario)
    at = np.zeros(2)
    shown = simulation.instruments.read(
        np.random.default_rng(0), at, np.zeros((2, 2)), np.zeros((2, 2)), np.zeros((2, 2)),
        np.array([0.0, 1.0]), simulation.cylinder_mm,
    )  # fmt: skip
    height = scenario.drive["reference"]["up_mm"]
    moved = shown[1]["spot_right_mm"] - shown[0]["spot_right_mm"]
    # seen in the rolled frame the reference itself, `height` above the axis, swings by height·sin 1° to the
    # left
    assert moved == pytest.approx(-height * np.sin(np.radians(1.0)), abs=0.02)
    spot = shown[1]["spot_right_mm"], shown[1]["spot_up_mm"]
    on_axis = axis_offset_from_spot(0.0, height, 0.0, 400.0, *spot, 1.0)
    unrolled = axis_offset_from_spot(0.0, height, 0.0, 400.0, *spot, 0.0)
    assert on_axis == pytest.approx((0.0, 0.0), abs=0.02)
    assert abs(unrolled[0]) == pytest.approx(height * np.sin(np.radians(1.0)), abs=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_cylinders_agree_with_the_core(seed: int) -> None:
    """Two codes of one geometry, three, four and six cylinders, any roll."""
    drive = draw_scenario(seed).drive
    file = parse_drive(drive_toml(drive))
    wanted, roll = np.array([4.0, -7.0]), 1.7
    settings = cylinders_for(drive["machine"], wanted, roll)
    assert articulation_of(drive["machine"], settings, roll) == pytest.approx(wanted)
    core = articulation(settings, roll, file.machine.cylinders)
    assert (core.right_mm_per_m, core.up_mm_per_m) == pytest.approx(tuple(wanted))


def test_ten_degrees_of_roll_turn_up_into_17_percent_sideways() -> None:
    """sin 10° = 0.17, the design note's figure."""
    machine = draw_scenario(1).drive["machine"]
    settings = cylinders_for(machine, np.array([0.0, 10.0]), 0.0)
    acting = articulation_of(machine, settings, 10.0)
    assert abs(acting[0]) == pytest.approx(1.74, abs=0.01)


def test_refraction_bends_the_beam_by_5_mm_at_100_m_and_42_at_300() -> None:
    """0.93·10⁻⁶/K at 20 °C (Barrell and Sears, from memory) gives 4.6 and 41.8 mm for 1 K/m; the round
    10⁻⁶ used here gives 5.0 and 45."""
    scenario = perfect(44, False, refraction_k_per_m=(0.0, 1.0))
    scenario.drive["reference"] |= {"kind": "beam"}
    simulation = Simulation(scenario)
    at = np.array([0.0, 100.0])
    place, heading = simulation.instruments.reference_at(at, 100.0)
    assert place[1, 1] - place[0, 1] == pytest.approx(4.6, rel=0.1)
    assert heading[1, 1] == pytest.approx(0.1)


def test_pitch_is_against_the_horizontal_and_carries_its_zero_error() -> None:
    scenario = perfect(45, False)
    scenario.drive["sd"] |= {"pitch_bias_mm_per_m": 2.0}
    simulation, readings = driven(scenario)
    grade = scenario.drive["axis"]["vertical"][0]["grade_mm_per_m"]
    shown = readings[-1]["pitch_mm_per_m"]
    expected = simulation.truth().heading[-1, 1] + grade + simulation.instruments.pitch_bias
    assert simulation.instruments.pitch_bias != 0.0
    assert shown == pytest.approx(expected, abs=1e-3)


def test_the_string_rebounds_by_1_to_30_mm_at_each_stroke() -> None:
    _, readings = driven(perfect(46, False), 20)
    steps = np.diff([r["chainage_m"] for r in readings])
    back = -steps[steps < 0]
    assert len(back) >= 19
    assert back.min() >= 0.0009
    assert back.max() <= 0.0301


def test_same_seed_same_readings_and_ground_does_not_depend_on_steering() -> None:
    one, two = draw_scenario(47), draw_scenario(47)
    first, second = driven(one), driven(two)
    assert first[1] == second[1]
    other = Simulation(two)
    while other.stroke < 30:
        other.advance(other.cylinder_mm)
    assert np.array_equal(first[0].truth().crab, other.truth().crab)


@pytest.mark.parametrize("point", ["face", "target"])
def test_a_check_shot_hits_the_point_it_names(point: str) -> None:
    scenario = perfect(48, False).with_(shots=CheckShots(every_m=10.0, sd_mm=1e-6, point=point))
    simulation = Simulation(scenario)
    while not (shots := simulation.shots()):
        simulation.advance(simulation.cylinder_mm)
    truth, target = simulation.truth(), scenario.drive["target"]
    expected = truth.face_mm[-1]
    if point == "target":
        turn = np.radians(truth.roll_deg[-1])
        right, up = target["right_mm"], target["up_mm"]
        expected = expected - truth.heading[-1] * target["behind_face_m"]
        cos, sin = np.cos(turn), np.sin(turn)
        expected = expected + np.array([right * cos + up * sin, -right * sin + up * cos])
    assert shots[0]["point"] == point
    assert (shots[0]["line_mm"], shots[0]["level_mm"]) == pytest.approx(tuple(expected), abs=0.02)


FAULTS = [
    (Fault("beam_knock", 8.0, (12.0, -5.0, 0.0, 0.0)), "spot_right_mm"),
    (Fault("target_knock", 8.0, (9.0, 4.0, 1.5)), "yaw_mm_per_m"),
    (Fault("cylinder_misread", 8.0, (2.0, 6.0)), "cylinder_mm"),
    (Fault("yaw_stuck", 8.0), "yaw_mm_per_m"),
    (Fault("pitch_stuck", 8.0), "pitch_mm_per_m"),
    (Fault("reversed", 8.0, (1.0, 1.0)), "spot_right_mm"),
    (Fault("reference_drift", 8.0, (0.2, 0.1)), "spot_right_mm"),
]


@pytest.mark.parametrize(("fault", "channel"), FAULTS, ids=lambda v: getattr(v, "kind", ""))
def test_a_fault_shows_from_its_chainage_on_and_not_before(fault: Fault, channel: str) -> None:
    clean = driven(perfect(49, False))[1]
    faulty = driven(perfect(49, False, (fault,)))[1]
    differs = [a["chainage_m"] for a, b in zip(clean, faulty, strict=True) if a[channel] != b[channel]]
    assert differs, "the fault never shows"
    assert min(differs) >= fault.chainage_m - 2.0 * 1.5  # the whole stroke under way counts
    assert max(differs) > 15.0


def test_force_grows_by_friction_on_the_pipe_surface() -> None:
    scenario = perfect(50, False)
    stretches = tuple(
        replace(s, friction_kpa=5.0, face_pressure_kpa=100.0) for s in scenario.ground.stretches
    )
    scenario = scenario.with_(ground=replace(scenario.ground, stretches=stretches))
    _, readings = driven(scenario, 60)
    moving = [r for r in readings if r["advance_mm_per_min"] > 0]
    slope = np.polyfit([r["chainage_m"] for r in moving], [r["jacking_force_kn"] for r in moving], 1)[0]
    expected = 5.0 * np.pi * scenario.drive["pipe"]["outer_diameter_mm"] / 1000.0
    assert slope == pytest.approx(expected, rel=0.1)


def test_the_machine_rolls_against_its_cutter_as_the_torque_wanders() -> None:
    scenario = perfect(52, False)
    stretches = tuple(replace(s, face_pressure_kpa=100.0) for s in scenario.ground.stretches)
    scenario = scenario.with_(ground=replace(scenario.ground, stretches=stretches, roll_sd_deg=0.8))
    _, readings = driven(scenario, 80)
    torque = np.array([r["torque_knm"] for r in readings if r["advance_mm_per_min"] > 0])
    roll = np.array([r["roll_deg"] for r in readings if r["advance_mm_per_min"] > 0])
    assert np.corrcoef(torque, roll)[0, 1] > 0.9
    assert all(r["torque_knm"] == 0.0 for r in readings if r["advance_mm_per_min"] == 0)


def test_every_drawn_drive_file_is_accepted_without_a_warning() -> None:
    for seed in range(60):
        assert parse_drive(drive_toml(draw_scenario(seed).drive)).warnings in ((), [])


def test_a_wrong_number_of_cylinders_is_refused() -> None:
    simulation = Simulation(draw_scenario(1))
    with pytest.raises(ValueError, match="cylinder extensions"):
        simulation.advance([1.0])
