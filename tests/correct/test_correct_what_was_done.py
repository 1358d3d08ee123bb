"""Accepted, overridden or ignored: the next proposal starts from what the cylinders really read, and its
change is within the limit from there and, where both can be kept, from what was advised."""

from __future__ import annotations

import numpy as np

from steer.closed_loop.memory import drive_in_memory
from steer.correct.settings import settled
from steer.drivefile import parse_drive
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.says import page


def driven(done, strokes: int = 14, seed: int = 1003, read: bool = True, aside_mm: float = 0.0):
    """Drive some strokes; `done(stroke, advice, simulation)` says what is really set. Yields each stroke."""
    scenario = draw_scenario(seed)
    simulation = Simulation(scenario)
    drive = drive_in_memory(parse_drive(drive_toml(scenario.drive)))

    def take(readings) -> None:
        for reading in readings:
            body = {k: v for k, v in reading.items() if k != "kind" and v is not None}
            if aside_mm and "cylinder_mm" in body:
                body["cylinder_mm"] = [
                    v - aside_mm * (1 if i < 2 else 0) for i, v in enumerate(body["cylinder_mm"])
                ]
            if not read:
                body.pop("cylinder_mm", None)
            drive.add("reading", body)

    take(simulation.start())
    for stroke in range(strokes):
        advice = drive.stroke_end(round(simulation.chainage_m, 4))
        yield stroke, advice, drive, simulation
        take(simulation.advance(np.asarray(done(stroke, advice, drive, simulation), float)))


def test_ignored_advice_starts_again_from_what_the_cylinders_read() -> None:
    def nothing(stroke, advice, drive, simulation):
        return simulation.cylinder_mm

    before = None
    for _, advice, drive, simulation in driven(nothing):
        m = drive.file.machine
        made = np.array([advice.correction.right_mm_per_m, advice.correction.up_mm_per_m])
        now = np.array([advice.now_right_mm_per_m, advice.now_up_mm_per_m])
        true_now = settled(m, np.asarray(simulation.cylinder_mm, float), simulation.roll_deg)
        assert np.abs(now - true_now).max() < 1.5
        assert np.abs(made - now).max() <= m.max_change_mm_per_m
        if before is not None:
            assert np.abs(made - before).max() <= m.max_change_mm_per_m
        before = made


def test_an_override_is_what_the_next_proposal_starts_from() -> None:
    looked_at = []

    def own(stroke, advice, drive, simulation):
        if stroke == 8:
            looked_at.extend([advice, drive.try_setting(4.0, -3.0)])
            return drive.override(4.0, -3.0).body["cylinder_mm"]
        return drive.accept().body["cylinder_mm"]

    for stroke, advice, drive, _ in driven(own):
        if stroke == 9:
            assert abs(advice.now_right_mm_per_m - 4.0) < 2.0 and abs(advice.now_up_mm_per_m + 3.0) < 2.0
            made = np.array([advice.correction.right_mm_per_m, advice.correction.up_mm_per_m])
            now = np.array([advice.now_right_mm_per_m, advice.now_up_mm_per_m])
            assert np.abs(made - now).max() <= drive.file.machine.max_change_mm_per_m
    stored = next(event.body for event in drive.events() if event.kind == "overridden")
    held = settled(drive.file.machine, np.array(stored["cylinder_mm"]), looked_at[0].roll_deg)
    tried = looked_at[1]
    assert (stored["right_mm_per_m"], stored["up_mm_per_m"]) == (tried.right_mm_per_m, tried.up_mm_per_m)
    np.testing.assert_allclose(held, (tried.right_mm_per_m, tried.up_mm_per_m))
    kinds = [event.kind for event in drive.events()]
    assert kinds.count("overridden") == 1 and kinds.count("accepted") == 13 and kinds.count("advised") == 14


def test_where_nobody_reads_the_cylinders_what_was_chosen_stands() -> None:
    def accepts(stroke, advice, drive, simulation):
        return drive.accept().body["cylinder_mm"]

    last: tuple[float, ...] = ()
    for stroke, advice, _, _ in driven(accepts, read=False):
        if stroke > 1:
            np.testing.assert_allclose(advice.cylinder_now_mm, last)
        last = advice.correction.cylinder_mm


def test_a_hold_says_the_setting_that_is_held_everywhere() -> None:
    """The readings stand a few tenths beside the setting: advice, log and page speak of the setting."""

    def accepts(stroke, advice, drive, simulation):
        return drive.accept().body["cylinder_mm"]

    beside = 0
    for _, advice, drive, _ in driven(accepts, strokes=30, aside_mm=0.45):
        c = advice.correction
        if not c.hold:
            continue
        told = [e.body for e in drive.log.events() if e.kind in ("advised", "accepted")]
        assert told[-1]["hold"] and told[-1]["cylinder_mm"] == list(c.cylinder_mm)
        off = np.abs(np.array(c.cylinder_mm) - advice.cylinder_now_mm).max()
        if len(told) > 1 and told[-1]["cylinder_mm"] == told[-2]["cylinder_mm"]:
            beside += off > 0.05
        else:  # nothing was told that reads so near: the nearest whole steps
            assert off <= 0.5 * drive.file.machine.cylinders.step_mm
        made = settled(drive.file.machine, np.array(c.cylinder_mm), advice.roll_deg)
        for said in (
            (c.right_mm_per_m, c.up_mm_per_m),
            (told[-1]["right_mm_per_m"], told[-1]["up_mm_per_m"]),
        ):
            np.testing.assert_allclose(said, made)
        row = next(line for line in page("d", advice, 90.0).splitlines() if line.startswith("SET"))
        assert all(f"{abs(v):.1f} mm/m" in row for v in made if abs(v) >= 0.05)
    assert beside  # there was a stroke to tell reading and setting apart


def test_an_own_setting_that_changes_nothing_moves_no_cylinder_and_a_hold_stays_possible() -> None:
    """What stands, typed as it is shown, to a tenth."""

    def as_it_stands(stroke, advice, drive, simulation):
        now = round(advice.now_right_mm_per_m, 1), round(advice.now_up_mm_per_m, 1)
        stored = drive.override(*now).body
        assert stored["cylinder_mm"] == list(advice.cylinder_now_mm)
        assert (round(stored["right_mm_per_m"], 1), round(stored["up_mm_per_m"], 1)) == now
        return simulation.cylinder_mm  # nobody touches them

    holds = between = 0
    for _, advice, drive, _ in driven(as_it_stands, strokes=8):
        step = drive.file.machine.cylinders.step_mm
        off = np.abs(np.mod(np.array(advice.cylinder_now_mm) / step + 0.5, 1.0) - 0.5).max()
        between += off > 0.05
        holds += advice.correction.hold
        whole = np.array(advice.correction.cylinder_mm) / step
        np.testing.assert_allclose(whole, np.round(whole), atol=1e-6)
    assert between and holds
