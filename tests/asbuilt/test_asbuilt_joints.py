"""Joint angles with their upper limits, against the truth of a simulated drive; the force that follows."""

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from steer.asbuilt import AsBuilt, assemble
from steer.asbuilt.joints import upper_limits
from steer.drive import Drive
from steer.pipes import JointAngles, joint_angles


@pytest.mark.parametrize("at_once", [1, 2, 64])
def test_upper_limits_are_quantiles_of_the_draws_and_never_below_the_angle(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("steer.asbuilt.joints.PLACES", at_once)
    at = np.arange(3.0)
    along = JointAngles(at, at, at, np.array([1.0, 5.0, 2.0]), at)
    drawn = np.linspace(0.0, 2.0, 1001)[:, None] * np.array([1.0, 1.0, 2.0])
    high, so_far = upper_limits(along, lambda part: drawn[:, part])
    assert high == pytest.approx([1.95, 5.0, 3.9], abs=1e-9)  # 97.5 % of an even spread from 0 to 2
    assert so_far == pytest.approx([1.95, 5.0, 5.0])


def test_the_true_angles_lie_below_their_upper_limits(curved: Any, record: AsBuilt) -> None:
    """On one drive of mixed face; on many: tests/bench/asbuilt_truth.py."""
    joints, pipe = record.joints, record.file.pipe
    true = joint_angles(
        record.file.axis, curved.truth.chainage_m, *curved.truth.face_mm.T, pipe.length_m,
        pipe.outer_diameter_mm, joints.along.chainage_m,
    ).angle_mm_per_m  # fmt: skip
    known = np.isfinite(true) & np.isfinite(joints.along.angle_mm_per_m)
    assert np.mean(true[known] <= joints.high_mm_per_m[known]) > 0.9
    assert true[known].max() <= joints.so_far_high_mm_per_m[-1]
    # and they are of use: not further above than the angle itself
    assert np.median(joints.high_mm_per_m[known] - joints.along.angle_mm_per_m[known]) < 2.0


def test_limits_of_the_largest_grow_and_hold_every_angle_before(record: AsBuilt) -> None:
    joints = record.joints
    assert (np.diff(joints.so_far_high_mm_per_m) >= 0.0).all()
    known = np.isfinite(joints.along.angle_mm_per_m)
    top = np.maximum.accumulate(joints.along.angle_mm_per_m[known])
    assert (joints.so_far_high_mm_per_m[known] >= top - 1e-9).all()
    at = np.array([-1.0, 0.5, 12.34, 40.0])
    high = joints.high_at(at)
    assert np.isnan(high[:2]).all() and (high[2:] >= joints.at(at[2:]).angle_mm_per_m).all()
    assert np.isnan(joints.largest_high(np.array([0.0])))[0]


def test_permissible_force_has_a_lower_limit(record: AsBuilt) -> None:
    force = record.force
    assert (
        force.permissible_kn is not None and force.permissible_low_kn is not None and force.ring is not None
    )
    assert (force.permissible_low_kn <= force.permissible_kn + 1e-9).all()
    worst = record.joints.worst_high_mm_per_m
    assert force.permissible_low_kn[-1] == pytest.approx(float(force.ring.permissible_kn(worst)))
    between = (force.used.largest_kn > force.permissible_low_kn) & (
        force.used.largest_kn <= force.permissible_kn
    )
    assert list(force.may_exceed) == np.flatnonzero(between).tolist()


def test_a_pipe_survey_that_was_rejected_does_not_win(curved: Any, tmp_path: Path) -> None:
    shutil.copytree(curved.folder, tmp_path / "d")
    with Drive.open(tmp_path / "d", write=True) as drive:
        before = assemble(drive)
        number = next(s.number for s in before.surveys if s.point == "pipe" and s.chainage_m == 40.0)
        drive.reject_shot(number)
        after = assemble(drive)
    assert {d.survey.chainage_m for d in before.string_difference} == {10.0, 40.0, 44.0}
    assert {d.survey.chainage_m for d in after.string_difference} == {10.0, 44.0}


def test_how_a_pipe_lies_is_told_against_the_path_without_its_survey(curved: Any, record: AsBuilt) -> None:
    """Pipes were put 4 mm low, 3 mm low and 2 mm high of the true path; the machine's own path, which knows
    nothing of these surveys, misses that by no more than its uncertainty."""
    want = {40.0: -4.0, 44.0: -3.0, 10.0: 2.0}
    for found in record.string_difference:
        assert abs(found.moved_mm[1] - want[found.survey.chainage_m]) < 3.0 * found.sd_mm[1]
        assert abs(found.moved_mm[0]) < 3.0 * found.sd_mm[0]
