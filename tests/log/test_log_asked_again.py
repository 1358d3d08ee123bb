"""Who asks again with nothing driven since has the same answer: what was advised does not stand by being said."""

import pytest

from steer.drive import Drive
from steer.drivefile import TEMPLATE
from steer.errors import InputRefused


@pytest.mark.parametrize("cylinder_mm", [None, [36.0, 36.0, 36.0, 36.0]], ids=["not read", "read"])
def test_an_answer_is_the_same_for_who_asks_later_or_after_accepting_it(tmp_path, cylinder_mm):
    (tmp_path / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    with Drive.open(tmp_path, write=True) as drive:
        reading = {"chainage_m": 0.9, "spot_right_mm": -21.0, "spot_up_mm": 1.0}
        drive.add("reading", reading | ({"cylinder_mm": cylinder_mm} if cylinder_mm else {}))
        given = drive.stroke_end(1.0).correction
        assert not given.hold
        with Drive.open(tmp_path) as other:
            assert other.advice().correction == given
        drive.accept()
        assert drive.advice().correction == given
        with pytest.raises(InputRefused, match="stroke 2 was accepted already"):
            drive.accept()
        drive.undo_last()
        assert drive.advice().correction == given
        taken = drive.override(-1.0, 0.5).body["cylinder_mm"]
        assert drive.advice().correction == given
        drive.add("reading", {"chainage_m": 2.0})
        assert drive.follower.cylinders.told_mm == tuple(taken)
