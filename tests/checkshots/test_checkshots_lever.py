"""From the point that was surveyed to the machine axis, at the roll and heading of that moment.

The outside: plane geometry worked out here, and the simulated ground, whose code shares none with the
product's own.
"""

import math

import numpy as np
import pytest

from steer.drivefile import load_drive
from steer.estimate.shots import shot_of


def innovations(made, at, body, roll=None):
    """Innovation of one exact shot after the drive, and its sd."""
    drive = made.open(at, [*made.as_events(), ("check_shot", body)])
    view = drive.shots()[0]
    return view, drive


def prism(made, chainage_m, behind_m, right_mm, up_mm):
    """Line and level of a prism on the front body, by plane geometry from the simulation's truth."""
    k = int(abs(made.truth.chainage_m - chainage_m).argmin())
    roll = math.radians(made.truth.roll_deg[k])
    line, level = made.truth.face_mm[k] - behind_m * made.truth.heading[k]
    line += right_mm * math.cos(roll) + up_mm * math.sin(roll)  # clockwise: what is on top goes right
    level += up_mm * math.cos(roll) - right_mm * math.sin(roll)
    return line, level, made.truth.roll_deg[k]


def rolled(made):
    """A chainage where the machine has rolled by more than a degree."""
    k = int(np.argmax(np.abs(made.truth.roll_deg[200:]))) + 200
    assert abs(made.truth.roll_deg[k]) > 0.8
    return round(float(made.truth.chainage_m[k]), 1)


def test_a_target_is_turned_by_the_roll_of_its_own_chainage(made, tmp_path):
    s = rolled(made)
    line, level, roll = prism(made, s, 1.6, 0.0, 350.0)
    view, drive = innovations(
        made,
        tmp_path / "a",
        {"chainage_m": s, "point": "target", "line_mm": line, "level_mm": level, "sd_mm": 0.5},
    )
    k = int(abs(made.truth.chainage_m - s).argmin())
    there = made.truth.face_mm[k] - 1.6 * made.truth.heading[k]
    # the readings' roll has noise of about 0.1 degree: 0.6 mm on 350 mm
    assert view.line_mm == pytest.approx(there[0], abs=1.5)
    assert view.level_mm == pytest.approx(there[1], abs=0.2)
    assert abs(350.0 * math.sin(math.radians(roll))) > 4.0  # what would be missed without it
    smoothed = drive.smoothed()
    assert np.interp(s, smoothed.chainage_m, smoothed.line_mm) == pytest.approx(made.face(s)[0], abs=3.0)


def test_roll_given_with_the_shot_is_taken(made, tmp_path):
    s = rolled(made)
    line, level, roll = prism(made, s, 1.6, 0.0, 350.0)
    body = {"chainage_m": s, "point": "target", "line_mm": line, "level_mm": level, "sd_mm": 0.5}
    view, _ = innovations(made, tmp_path / "a", {**body, "roll_deg": float(roll)})
    k = int(abs(made.truth.chainage_m - s).argmin())
    there = made.truth.face_mm[k] - 1.6 * made.truth.heading[k]
    assert [view.line_mm, view.level_mm] == pytest.approx(list(there), abs=1e-6)


def test_a_prism_elsewhere_on_the_machine(made, tmp_path):
    s = rolled(made)
    line, level, roll = prism(made, s, 0.9, -210.0, 480.0)
    body = {
        "chainage_m": s, "point": "target", "line_mm": line, "level_mm": level, "sd_mm": 0.5,
        "prism_behind_face_m": 0.9, "prism_right_mm": -210.0, "prism_up_mm": 480.0, "roll_deg": float(roll),
    }  # fmt: skip
    view, _ = innovations(made, tmp_path / "a", body)
    k = int(abs(made.truth.chainage_m - s).argmin())
    assert [view.line_mm, view.level_mm] == pytest.approx(
        list(made.truth.face_mm[k] - 0.9 * made.truth.heading[k]), abs=1e-6
    )
    assert view.verdict == "agrees"


def test_offsets_that_have_the_arm_off_already_are_understood(made, tmp_path):
    s = 20.0
    k = int(abs(made.truth.chainage_m - s).argmin())
    there = made.truth.face_mm[k] - 1.6 * made.truth.heading[k]
    body = {"chainage_m": s, "point": "target", "line_mm": there[0], "level_mm": there[1], "sd_mm": 2.0}
    view, _ = innovations(made, tmp_path / "a", body)
    assert [view.line_mm, view.level_mm] == pytest.approx(list(there), abs=1e-9)
    assert view.verdict == "agrees"


def test_a_tail_lies_where_its_bodies_put_it(made, tmp_path):
    """The rear body points less far by the articulation: two rods, hinged."""
    s = 20.0
    k = int(abs(made.truth.chainage_m - s).argmin())
    front, rear = 2.0, 2.4
    tail = (
        made.truth.face_mm[k]
        - front * made.truth.heading[k]
        - rear * (made.truth.heading[k] - made.truth.articulation[k])
    )
    body = {"chainage_m": s, "point": "tail", "line_mm": tail[0], "level_mm": tail[1], "sd_mm": 2.0}
    view, _ = innovations(made, tmp_path / "a", body)
    assert view.verdict == "agrees"
    assert abs(view.innovation_line_mm) < 3 * view.innovation_sd_line_mm


@pytest.mark.parametrize("point", ["face", "target", "tail"])
def test_coordinates_say_what_offsets_say(made, tmp_path, point):
    file = load_drive(made.folder(tmp_path / "d"))
    s, line, level = 21.0, 14.5, 341.0 if point == "target" else -12.0
    behind = {"face": 0.0, "target": 1.6, "tail": 4.4}[point]
    # along the axis at bearing 47.5 degrees, rising by 4 mm/m, by hand
    bearing, along = math.radians(47.5), s - behind
    slant = math.hypot(1.0, 0.004)
    ahead = along - level / 1000.0 * 0.004 / slant  # square to the axis leans back as it rises
    east = 5000.0 + ahead * math.sin(bearing) + line / 1000.0 * math.cos(bearing)
    north = 2000.0 + ahead * math.cos(bearing) - line / 1000.0 * math.sin(bearing)
    high = 12.34 + 0.004 * along + level / 1000.0 / slant
    shot = shot_of(file, 1, {"chainage_m": s, "point": point, "easting_m": east, "northing_m": north,
                             "level_m": high, "sd_mm": 1.0})  # fmt: skip
    assert list(shot.values_mm) == pytest.approx([line, level], abs=1e-6)


def test_a_pipe_tells_the_bore_at_its_own_chainage(made, tmp_path):
    line, level = made.face(10.0)
    body = {"point": "pipe", "chainage_m": 10.0, "line_mm": line + 1.0, "level_mm": level - 1.0, "sd_mm": 1.0}
    view, drive = innovations(made, tmp_path / "a", body)
    plain = made.open(tmp_path / "b", made.as_events())
    one, two = drive.smoothed(), plain.smoothed()
    k = int(np.searchsorted(one.chainage_m, 10.0))
    assert one.line_sd_mm[k] < np.interp(one.chainage_m[k], two.chainage_m, two.line_sd_mm)
    # a pipe of 1470 mm in a bore of 1490 mm may lie off its middle: half of the 10 mm counts as one sd
    assert view.sd_line_mm == pytest.approx(math.hypot(1.0, 5.0))
