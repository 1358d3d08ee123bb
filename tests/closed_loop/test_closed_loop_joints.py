"""What a joint carries against what it may: the string's force and the joint's own angle, place by place."""

from __future__ import annotations

import numpy as np
import pytest

from steer.closed_loop import measure
from steer.drivefile import parse_drive
from steer.ground.folder import drive_toml
from steer.ground.presets import DRIVE
from steer.pipes import RingJoint


def test_a_joint_is_judged_by_its_own_force_and_angle() -> None:
    """A path with one bend, R = 400 m from 80 to 100 m, on pipes of 2 m: 5 mm/m there (κ·L), fully from a
    pipe into the bend, and straight elsewhere. The string carries 3000 kN at the shaft and 20 kN/m less from
    there on. So it is the bend's joint nearest the shaft that is most used; without the bend, the one at the
    shaft."""
    file = parse_drive(drive_toml(DRIVE))
    ring = RingJoint.of(file.pipe)
    assert ring is not None
    s = np.arange(0.0, 120.0 + 1e-9, 0.05)
    bend = np.clip(s - 80.0, 0.0, 20.0)
    line = bend**2 / 2.0 / 0.4 + np.clip(s - 100.0, 0.0, None) * 20.0 / 0.4
    string = 3000.0 - 20.0 * s
    found = measure(file, s, line, np.zeros_like(s), string_kn=string)
    assert found.joint_mm_per_m == pytest.approx(5.0, rel=2e-3)
    by_hand = (3000.0 - 20.0 * 82.0) / float(ring.permissible_kn(5.0))
    assert found.joint_share == pytest.approx(by_hand, rel=0.005)
    straight = measure(file, s, 0.0 * line, np.zeros_like(s), string_kn=string)
    assert straight.joint_share == pytest.approx((3000.0 - 20.0 * 2.0) / ring.straight_kn, rel=1e-6)


def test_nothing_is_said_of_joints_without_the_packer_or_the_force() -> None:
    s = np.arange(0.0, 30.0, 0.1)
    file = parse_drive(drive_toml(DRIVE))
    assert np.isnan(measure(file, s, s, s).joint_share)
    pipe = {k: v for k, v in DRIVE["pipe"].items() if "packer" not in k and "stress" not in k}
    bare = parse_drive(drive_toml(DRIVE | {"pipe": pipe}))
    assert np.isnan(measure(bare, s, s, s, string_kn=np.full(len(s), 900.0)).joint_share)
