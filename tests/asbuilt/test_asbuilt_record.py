"""The record of simulated drives against their truth, and its own books."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from steer.asbuilt import AsBuilt, assemble
from steer.asbuilt.conformance import Verdict
from steer.drive import Drive
from steer.errors import InputRefused
from steer.ground.folder import write_drive_file
from steer.log import Log
from steer.pipes import joint_angles


def test_stations_are_whole_metres_and_both_ends(record: AsBuilt) -> None:
    at = record.metres.lie.chainage_m
    assert at[0] == 0.0 and at[-1] == pytest.approx(60.0)
    assert np.allclose(np.diff(at), 1.0)


def test_deviation_and_place_lie_where_the_machine_really_went(curved: Any, record: AsBuilt) -> None:
    m = record.metres
    truth = np.column_stack(
        [np.interp(m.lie.chainage_m, curved.truth.chainage_m, curved.truth.face_mm[:, k]) for k in (0, 1)]
    )
    far = np.abs(m.lie.chainage_m[:, None] - [10.0, 40.0, 44.0]).min(axis=1) > 12.0  # from the pipe surveys
    ratio = (m.lie.offset_mm - truth)[far] / m.lie.sd_mm[far]
    assert np.abs(ratio).max() < 4.0
    located = record.file.axis.locate(m.easting_m, m.northing_m, m.level_m)
    assert located.line_mm == pytest.approx(m.lie.offset_mm[:, 0], abs=1e-3)
    assert located.level_mm == pytest.approx(m.lie.offset_mm[:, 1], abs=1e-3)


def test_pipe_surveys_win(curved: Any, record: AsBuilt) -> None:
    moved = {d.survey.chainage_m: d for d in record.string_difference}
    assert set(moved) == {10.0, 40.0, 44.0}
    at = list(record.metres.lie.chainage_m)
    for s, by in ((40.0, -4.0), (44.0, -3.0), (10.0, 2.0)):
        i = at.index(s)
        truth = float(np.interp(s, curved.truth.chainage_m, curved.truth.face_mm[:, 1]))
        assert record.metres.lie.offset_mm[i, 1] == pytest.approx(truth + by, abs=1e-6)
        assert record.metres.lie.sd_mm[i].tolist() == [1.0, 1.0]


def test_ranges_of_tolerance(record: AsBuilt) -> None:
    at, tolerance = record.metres.lie.chainage_m, record.metres.tolerance_mm
    inside = (at >= 20.0) & (at <= 30.0)
    assert (tolerance[inside] == [8.0, 6.0]).all()
    assert (tolerance[~inside] == [20.0, 12.0]).all()


def test_totals_are_those_of_the_table(record: AsBuilt) -> None:
    m = record.metres
    middle = (m.lie.chainage_m[1:] + m.lie.chainage_m[:-1]) / 2
    length = np.diff(np.concatenate([m.lie.chainage_m[:1], middle, m.lie.chainage_m[-1:]]))
    for k, plane in enumerate((record.line, record.level)):
        for verdict, metres in (
            (Verdict.INSIDE, plane.counted.inside_m),
            (Verdict.OUTSIDE, plane.counted.outside_m),
            (Verdict.CANNOT_TELL, plane.counted.cannot_tell_m),
        ):
            assert length[m.verdict[:, k] == verdict].sum() == pytest.approx(metres)
        beyond = np.abs(m.lie.offset_mm[:, k]) > m.tolerance_mm[:, k]
        assert plane.counted.naive_outside_m == pytest.approx(length[beyond].sum())


def test_the_eye_is_judged_on_arrival(record: AsBuilt) -> None:
    eye = record.eye
    assert eye is not None and eye.arrived and eye.verdict in ("inside", "outside", "cannot tell")
    assert eye.offset_mm == pytest.approx(tuple(record.metres.lie.offset_mm[-1]))


def test_joint_angles_against_the_true_path(curved: Any, record: AsBuilt) -> None:
    """Independent computation: chords of pipe length along the true face path on the circle of 600 m, from
    coordinates of plane geometry. Of the true path the angles agree to rounding; the smoothed path knows
    kinks at the length of a pipe less well."""
    truth, pipe = curved.truth, 2.0
    s = np.arange(26.0, 54.0, 0.5)
    line = [np.interp(s + d, truth.chainage_m, truth.face_mm[:, 0]) for d in (-pipe, 0.0, pipe)]
    level = [np.interp(s + d, truth.chainage_m, truth.face_mm[:, 1]) for d in (-pipe, 0.0, pipe)]
    turn = (np.array([-pipe, 0.0, pipe])[:, None] + s) / 600.0
    x = [600.0 * np.sin(t) - n / 1000 * np.sin(t) for t, n in zip(turn, line, strict=True)]
    y = [600.0 * (1 - np.cos(t)) + n / 1000 * np.cos(t) for t, n in zip(turn, line, strict=True)]
    way = [np.arctan2(y[i + 1] - y[i], x[i + 1] - x[i]) for i in (0, 1)]
    want = np.hypot(1000.0 * (way[1] - way[0]), (level[2] - 2 * level[1] + level[0]) / pipe)
    exact = joint_angles(record.file.axis, truth.chainage_m, *truth.face_mm.T, pipe, 1470.0, s)
    assert exact.angle_mm_per_m == pytest.approx(want, abs=1e-3)
    found = record.joints.at(s)
    assert np.sqrt(np.mean((found.angle_mm_per_m - want) ** 2)) < 0.8
    assert found.angle_mm_per_m.max() == pytest.approx(want.max(), rel=0.25)


def test_permissible_force_is_that_of_the_worst_joint_made_so_far(record: AsBuilt) -> None:
    force, joints = record.force, record.joints
    assert force.permissible_kn is not None and force.ring is not None
    assert (np.diff(force.permissible_kn) <= 1e-9).all()
    assert joints.worst is not None
    worst = joints.along.angle_mm_per_m[joints.worst]
    assert force.permissible_kn[-1] == pytest.approx(float(force.ring.permissible_kn(worst)))
    assert force.permissible_kn[0] == pytest.approx(force.ring.straight_kn)
    over = np.flatnonzero(force.used.largest_kn > force.permissible_kn)
    assert list(force.exceeded) == over.tolist()


def test_the_string_is_made_of_whole_pipes(record: AsBuilt) -> None:
    at = record.pipes.lie.chainage_m
    assert at[0] == pytest.approx(record.face_m - record.file.machine.length_m)
    assert np.diff(at) == pytest.approx(-2.0)


def test_steering_record_without_proposals_has_what_was_set(record: AsBuilt) -> None:
    assert [s.to_m - s.from_m for s in record.strokes] == pytest.approx([1.0] * 60)
    assert all(s.set_to is not None and s.proposed is None for s in record.strokes)
    # the curve turns 1000/600 mm/m to the right a metre
    turned = np.array([s.answered[0] for s in record.strokes[25:]])
    assert turned.mean() == pytest.approx(1000.0 / 600.0, abs=0.4)


def test_same_log_same_record(curved: Any, record: AsBuilt) -> None:
    again = curved.record()
    assert again.line == record.line and again.level == record.level and again.seal == record.seal
    assert np.array_equal(again.metres.outside, record.metres.outside)


def test_an_event_that_was_changed_is_told(tmp_path: Path, curved: Any) -> None:
    import shutil
    import sqlite3

    folder = tmp_path / "changed"
    shutil.copytree(curved.folder, folder)
    db = sqlite3.connect(folder / "drive.db")
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    db.execute("UPDATE events SET body = replace(body, 'line_mm', 'line_mm') || ' ' WHERE sequence = 9")
    db.commit()
    db.close()
    with Drive.open(folder) as drive:
        found = assemble(drive)
    assert not found.seal.whole and found.seal.faults


def test_proposals_and_decisions_stand_beside_what_was_set(tmp_path: Path) -> None:
    from steer.ground import Simulation
    from steer.ground.presets import DRIVE, preset_scenario

    scenario = preset_scenario("dense sand", 2, DRIVE)
    write_drive_file(DRIVE, tmp_path / "d")
    simulation = Simulation(scenario)
    with Drive.open(tmp_path / "d", write=True, sync="stroke") as drive:
        for reading in simulation.start():
            drive.add("reading", {k: v for k, v in reading.items() if k != "kind" and v is not None})
        for number in range(6):
            correction = drive.stroke_end(simulation.chainage_m).correction
            if number == 2:
                drive.accept()
            if number == 3:
                drive.override(4.0, -2.0)
            if number == 4:
                drive.accept()
                drive.undo_last()
            for reading in simulation.advance(correction.cylinder_mm):
                drive.add("reading", {k: v for k, v in reading.items() if k != "kind" and v is not None})
        rows = assemble(drive).strokes
    assert len(rows) == 6
    assert all(row.proposed is not None for row in rows)
    assert [row.decision for row in rows] == [
        "none recorded", "none recorded", "accepted", "overridden", "none recorded", "none recorded",
    ]  # fmt: skip
    assert rows[2].decided == rows[2].proposed
    assert rows[3].decided == pytest.approx((4.0, -2.0), abs=1.0)  # whole cylinder steps
    for row in rows[1:]:
        assert row.set_to == pytest.approx(row.proposed, abs=1.5)  # what the cylinders do within their play


def test_nothing_driven_yet_is_refused(tmp_path: Path, curved: Any) -> None:
    write_drive_file(curved.plan, tmp_path / "d")
    with (
        Drive.open(tmp_path / "d") as drive,
        pytest.raises(InputRefused, match="nothing has been driven yet"),
    ):
        assemble(drive)
    with Log.open(tmp_path / "d", write=True) as log:
        log.append("reading", {"chainage_m": 0.0, "pitch_mm_per_m": 4.0})
    with (
        Drive.open(tmp_path / "d") as drive,
        pytest.raises(InputRefused, match="nothing has been driven yet"),
    ):
        assemble(drive)


def test_readings_with_hardly_anything_make_a_record(tmp_path: Path, curved: Any) -> None:
    """Chainage and pitch alone: no force, no cylinders, no times, no line. It says so by its sd."""
    write_drive_file(curved.plan, tmp_path / "d")
    with Log.open(tmp_path / "d", write=True) as log:
        log.append_many([("reading", {"chainage_m": 0.1 * i, "pitch_mm_per_m": 4.0}) for i in range(80)])
    with Drive.open(tmp_path / "d") as drive:
        found = assemble(drive)
    assert len(found.force.used) == 0 and found.seal.first_time is None
    assert found.line.counted.outside_m == 0.0
    assert found.metres.lie.sd_mm[-1, 0] > 5.0
