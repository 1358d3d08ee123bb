"""Accepted, overridden or ignored: the next proposal starts from what the cylinders really read, and its
change is within the limit from there and, where both can be kept, from what was advised."""

from __future__ import annotations

import numpy as np

from steer.closed_loop.memory import drive_in_memory
from steer.correct.settings import settled
from steer.drivefile import parse_drive
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml


def driven(done, strokes: int = 14, seed: int = 1003, read: bool = True):
    """Drive some strokes; `done(stroke, advice, simulation)` says what is really set. Yields each stroke."""
    scenario = draw_scenario(seed)
    simulation = Simulation(scenario)
    drive = drive_in_memory(parse_drive(drive_toml(scenario.drive)))

    def take(readings) -> None:
        for reading in readings:
            body = {k: v for k, v in reading.items() if k != "kind" and v is not None}
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
