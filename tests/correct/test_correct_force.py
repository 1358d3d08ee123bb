"""A jacking force beyond what may push, what may be pushed against or what a joint may carry is said at once."""

from __future__ import annotations

import math

import pytest

from steer.closed_loop.memory import drive_in_memory
from steer.correct.force_over import force_over
from steer.drivefile import parse_drive
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml
from steer.pipes.cost import KinkCost
from steer.pipes.ring import RingJoint
from steer.practice.showing import shown

OUTER, INNER, WIDTH, STRESS = 2160.0, 1800.0, 140.0, 18.0


def a_drive(**limits: float):
    toml = draw_scenario(3, curved=False).drive
    toml["limits"] = limits
    toml["pipe"] |= {
        "outer_diameter_mm": OUTER, "inner_diameter_mm": INNER, "packer_thickness_mm": 18.0,
        "packer_modulus_mpa": 100.0, "packer_width_mm": WIDTH, "max_joint_stress_mpa": STRESS,
    }  # fmt: skip
    return drive_in_memory(parse_drive(drive_toml(toml)))


def jacked(drive, forces: list[float | None]) -> dict[str, str]:
    """Notices after the newest reading; half a stroke between readings."""
    step = 0.5 * drive.file.drive.stroke_m
    start = drive.file.axis.start_chainage_m
    for number, force in enumerate(forces):
        body = {"chainage_m": start + 20.0 + step * number, "spot_right_mm": 0.0, "spot_up_mm": 0.0}
        drive.add("reading", body | ({} if force is None else {"jacking_force_kn": force}))
    return {n.code: n.text for n in drive.advice().notices}


def test_every_limit_passed_is_named_and_no_other() -> None:
    said = jacked(
        a_drive(main_jack_kn=4000.0, thrust_wall_kn=2400.0, pipe_kn=9000.0), [900.0, 5000.0, 5000.0]
    )
    assert "5000 kN" in said["force_over"] and "pipe" not in said["force_over"]
    assert "main jacks 4000 kN" in said["force_over"] and "thrust wall 2400 kN" in said["force_over"]


@pytest.mark.parametrize("forces", [[2400.0, 2400.0], [5000.0, 900.0, 900.0, 900.0], [None, None]])
def test_a_force_within_limits_or_of_an_earlier_stroke_is_not_said(forces: list[float | None]) -> None:
    assert "force_over" not in jacked(a_drive(thrust_wall_kn=2400.0), forces)


def test_a_peak_within_the_stroke_is_said() -> None:
    assert "force_over" in jacked(a_drive(thrust_wall_kn=2400.0), [900.0, 2500.0, 900.0, None])


def test_a_joint_that_may_not_carry_the_force_is_said() -> None:
    """No joint carries more than the straight ring does: stress times the packer's area."""
    middle = 0.5 * (OUTER + INNER)
    straight_kn = STRESS * math.pi * middle * WIDTH / 1000.0
    over = jacked(a_drive(), [900.0, 1.02 * straight_kn])
    assert "joint_force_over" in over and "kN" in over["joint_force_over"]
    assert "joint_force_over" not in jacked(a_drive(), [900.0, 900.0])


def test_the_joint_s_own_permissible_force_is_what_counts() -> None:
    drive = a_drive()
    ring = RingJoint.of(drive.file.pipe)
    may = float(ring.permissible_kn(5.0))
    cost = KinkCost(5.0, 30.0, may / ring.straight_kn, may)
    assert may < ring.straight_kn
    assert not force_over(drive.file, 0.99 * may, 33.0, cost)
    (notice,) = force_over(drive.file, 1.01 * may, 33.0, cost)
    assert notice.code == "joint_force_over" and f"{may:.0f} kN" in notice.text and "5.0 mm/m" in notice.text
    assert f"a joint will turn 5.0 mm/m at {cost.chainage_m:.1f} m if steered as proposed" in notice.text


def test_the_line_on_the_joints_says_the_force_they_may_carry() -> None:
    drive = a_drive()
    jacked(drive, [900.0, 900.0])
    angle, kn = (
        drive.advice().joint.removeprefix("joints ahead turn ").removesuffix(" kN").split(" mm/m, bear ")
    )
    near = [float(RingJoint.of(drive.file.pipe).permissible_kn(float(angle) + by)) for by in (-0.051, 0.051)]
    assert min(near) - 1.0 <= float(kn) <= max(near) + 1.0


def test_a_hidden_proposal_is_not_told_by_its_joint() -> None:
    drive = a_drive(main_jack_kn=2000.0)
    jacked(drive, [900.0, 99_000.0])
    hidden = shown(drive.snapshot(), "hidden", None).advice
    assert [n.code for n in hidden.notices if "force" in n.code] == ["force_over"]


def test_where_nothing_is_proposed_no_joint_is_foreseen_from_it() -> None:
    """The same force on a drive whose spot was lost long ago: no setting is shown that a joint could come from."""
    middle = 0.5 * (OUTER + INNER)
    over_kn = 1.02 * STRESS * math.pi * middle * WIDTH / 1000.0
    drive = a_drive(thrust_wall_kn=2400.0)
    start = drive.file.axis.start_chainage_m
    for number in range(60):
        drive.add("reading", {"chainage_m": start + 0.5 * number, "jacking_force_kn": over_kn})
    advice = drive.advice()
    assert not advice.trusted
    codes = {n.code: n.text for n in advice.notices}
    assert "force_over" in codes and "joint_force_over" not in codes
    assert "This setting" not in codes.get("limit_gave_way", "")
