"""The force on the joints behind the face is said on the stroke's screen, by the as-built account's own joints."""

import io
import json
from dataclasses import replace

import numpy as np
import pytest

from steer.asbuilt.force_now import SharpestJoint
from steer.asbuilt.record import assemble
from steer.cli.screen_source import ScreenSource
from steer.drive import Drive
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml
from steer.pipes.ring import RingJoint
from tui.draw.scene import Scene
from tui.draw.spans import join
from tui.draw.stroke_page import draw

KINK_M, TURN = 30.0, 6.0  # where the machine turned to the right at once, by mm/m
FACE_M = 60.0  # far enough on that the joints have passed the kink


def _reading(s, behind_m, force_kn):
    """Of a machine that bears away to the left from 10 m on, by and by, kinks at 30 m and is back on line at 50 m:
    y = -(s - 10)²/40·3 mm, and the same turned round."""
    side = np.sign(s - KINK_M)
    yaw = side * TURN / 2.0 * max(0.0, 1.0 - abs(s - KINK_M) / 20.0)
    off = max(0.0, 20.0 - abs(s - behind_m - KINK_M))
    right = -TURN / 2.0 * off**2 / 40.0
    return {
        "chainage_m": float(s), "spot_right_mm": -right, "spot_up_mm": 0.0, "yaw_mm_per_m": float(yaw),
        "jacking_force_kn": force_kn,
    }  # fmt: skip


@pytest.fixture
def source(tmp_path, request):
    """An invented machine with packers between its pipes, and no force to speak of yet; driven up to FACE_M, or as far
    as the test asks for."""
    toml = draw_scenario(3, curved=False).drive
    toml["pipe"] |= {
        "outer_diameter_mm": 2160.0, "inner_diameter_mm": 1800.0, "packer_thickness_mm": 18.0,
        "packer_modulus_mpa": 100.0, "packer_width_mm": 140.0, "max_joint_stress_mpa": 18.0,
    }  # fmt: skip
    for place in ("target", "reference"):
        toml[place] |= {"right_mm": 0.0, "up_mm": 0.0}
    (tmp_path / "drive.toml").write_text(drive_toml(toml), encoding="utf-8")
    with Drive.open(tmp_path, write=True, sync="stroke") as drive:
        for s in np.arange(0.25, getattr(request, "param", FACE_M), 0.25):
            drive.add("reading", _reading(s, drive.file.target.behind_face_m, 10.0))
        yield ScreenSource(drive)


def test_a_joint_at_the_very_place_is_there(source):
    """Chainages are sums of steps: one that joints have come to may be 7e-15 m beyond where they have come."""

    class AtThePlace(SharpestJoint):
        def _look(self, path, follower):
            joints = super()._look(path, follower)
            return replace(joints, passed_m=float(joints.along.chainage_m[joints.along.largest()]) - 7e-15)

    drive = source.drive
    drive.add("reading", _reading(FACE_M, drive.file.target.behind_face_m, 9000.0))
    told = AtThePlace(drive.file).tell(drive.advice(), drive.follower, drive.smoothed(), drive.decisions)
    texts = " ".join(n.text for n in told.notices if n.code == "string_force_over")
    assert "sharpest place joints have come to" in texts and "no joint there yet" not in texts


def test_a_force_that_the_sharpest_joint_may_not_carry_is_said_however_far_behind(source):
    drive = source.drive
    joints = assemble(drive).joints
    angle, at_m = joints.along.angle_mm_per_m[joints.worst], joints.along.chainage_m[joints.worst]
    assert abs(at_m - KINK_M) < 3.0 and angle > 0.5 * TURN
    ring = RingJoint.of(drive.file.pipe)
    may_kn = float(ring.permissible_kn(angle))
    assert may_kn < 0.8 * ring.straight_kn

    def said(force_kn):
        last = float(drive.follower.top_m) + 1e-3
        # a stroke on its own, so that no larger force of an earlier one counts
        for s in (last, last + 1.5 * drive.file.drive.stroke_m):
            drive.add("reading", _reading(s, drive.file.target.behind_face_m, force_kn))
        snapshot = source.snapshot()
        assert not any(
            n.code == "joint_force_over" for n in snapshot.advice.notices
        )  # the path ahead bears it
        page = " ".join(join(draw(Scene(snapshot, stale_after_s=0.0), 120, 60)).split())
        texts = [n.text for n in snapshot.advice.notices if n.code == "string_force_over"]
        assert all(text in page for text in texts)
        return texts

    assert said(0.5 * may_kn) == []
    (near,) = said(0.8 * may_kn)
    assert (
        f"a joint may carry at the sharpest place joints have come to ({angle:.1f} mm/m at {at_m:.1f} m)."
        in near
    )
    assert " is near the " in near
    assert f"Jacking force {0.8 * may_kn:.0f} kN" in near and "restart after a stop" in near
    over, before = said(1.05 * may_kn)
    assert " is MORE than the " in over and "Ease the force" in over
    assert (
        f"Jacking force {1.05 * may_kn:.0f} kN" in before
        and " WAS more than the joints made by then" in before
    )
    # what the as-built account calls exceeded stands when the force has fallen, until a note speaks of it
    exceeded = assemble(drive).force
    assert len(exceeded.exceeded) == 2
    (stands,) = said(0.5 * may_kn)
    assert " WAS more than the joints made by then may carry" in stands
    assert " kN. It was so in 2 strokes not noted yet. Ask the engineer." in stands
    assert [n.text for n in assemble(drive).notices if n.code == "string_force_over"] == [stands]
    drive.note("a boulder, unknown how large; reinforced the shaft")
    assert said(0.5 * may_kn) == [stands]
    drive.note("Force of 26 m looked into by the engineer")
    assert said(0.5 * may_kn) == []
    drive.undo_last()
    assert said(0.5 * may_kn) == [stands]


def test_the_same_notices_are_told_by_next_and_a_replay(source, capsys):
    from steer.cli.main import main
    from steer.replay import Reel

    drive = source.drive
    joints = assemble(drive).joints
    may_kn = float(RingJoint.of(drive.file.pipe).permissible_kn(joints.along.angle_mm_per_m[joints.worst]))
    at = drive.follower.top_m
    for i, force_kn in enumerate((1.2 * may_kn, 1.2 * may_kn, 0.9 * may_kn, 0.9 * may_kn, 0.9 * may_kn)):
        s = at + 0.8 * (i + 1) * drive.file.drive.stroke_m
        drive.add("reading", _reading(s, drive.file.target.behind_face_m, force_kn))
        drive.stroke_end(round(s, 3))
    texts = [n.text for n in source.snapshot().advice.notices if n.code == "string_force_over"]
    assert len(texts) == 2 and " is near the " in texts[0] and " WAS more " in texts[1]
    assert main(["next", str(drive.folder)]) == 0
    page = " ".join(capsys.readouterr().out.split())
    assert all(text in page for text in texts)
    reel = Reel.open(drive.folder)
    frame = reel.frame(len(reel.moments) - 1)
    assert [n.text for n in frame.snapshot.advice.notices if n.code == "string_force_over"] == texts
    assert "key" not in "".join(texts)  # neither of the two has any
    assert frame.advice == frame.snapshot.advice
    earlier = reel.frame(len(reel.moments) - 4).advice.notices  # wound back: as it was then
    assert [" is MORE than " in n.text for n in earlier if n.code == "string_force_over"][:1] == [True]


def test_the_feed_answers_with_what_next_says_of_forces_and_the_log_keeps_it(source, capsys, monkeypatch):
    """ "A notice is in every advice while it holds": the words are those of the page that looks at the path each time."""
    from steer.cli.main import main

    drive = source.drive
    joints = assemble(drive).joints
    may_kn = float(RingJoint.of(drive.file.pipe).permissible_kn(joints.along.angle_mm_per_m[joints.worst]))
    at, lines = drive.follower.top_m, []
    for i, share in enumerate((0.3, 0.3, 1.2, 0.3, 0.3)):
        s = round(at + 0.8 * (i + 1) * drive.file.drive.stroke_m, 3)
        lines.append({"kind": "reading"} | _reading(s, drive.file.target.behind_face_m, share * may_kn))
        lines.append({"kind": "stroke_end", "chainage_m": s})
    text = "".join(json.dumps(line) + "\n" for line in lines)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    assert main(["feed", str(drive.folder)]) == 0
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    said = [[n["text"] for n in a["notices"] if n["code"] == "string_force_over"] for a in answers]
    assert said[:2] == [[], []] and " is MORE than " in said[2][0] and " WAS more than " in said[4][0]
    source.refresh()
    now = [n.text for n in source.snapshot().advice.notices if n.code == "string_force_over"]
    assert said[4] == now
    kept = ["string_force_over" in e.body.get("notices", ()) for e in drive.log.of_kinds("advised")]
    assert kept[-5:] == [False, False, True, True, True]
    assert "string_force_over" not in {gone.code for gone in assemble(drive).gone}  # it stands
    assert main(["replay", str(drive.folder), "--text"]) == 0
    assert " is MORE than " in " ".join(capsys.readouterr().out.split())
    drive.note("force looked into")
    drive.stroke_end(round(drive.follower.top_m + 0.1, 3))
    assert "string_force_over" in {gone.code for gone in assemble(drive).gone}


@pytest.mark.parametrize(
    ("ahead_mm_per_m", "share", "expected"),
    [
        (9.0, 0.9, "joint_force_over"),
        (9.0, 1.2, "string_force_over"),  # harm done comes before harm to come
        (0.5, 1.2, "string_force_over"),
    ],
)
def test_of_one_force_one_joint_speaks(source, ahead_mm_per_m, share, expected):
    """Two limits for one force read as two findings."""
    from dataclasses import replace

    from steer.advice import Notice
    from steer.asbuilt.force_now import SharpestJoint

    drive = source.drive
    joints = assemble(drive).joints
    may_kn = float(RingJoint.of(drive.file.pipe).permissible_kn(joints.along.angle_mm_per_m[joints.worst]))
    s = drive.follower.top_m + 0.25
    drive.add("reading", _reading(s, drive.file.target.behind_face_m, share * may_kn))
    told = Notice("joint_force_over", "will turn if steered as proposed", s)
    advice = replace(drive.advice(), notices=(told,), joint_mm_per_m=ahead_mm_per_m)
    (found,) = (
        SharpestJoint(drive.file).tell(advice, drive.follower, drive.smoothed(), drive.decisions).notices
    )
    assert found.code == expected
    assert (" is MORE than the " in found.text) == (expected == "string_force_over")


@pytest.mark.parametrize("source", [KINK_M + 5.0], indirect=True)
def test_what_only_a_joint_to_come_may_not_carry_says_so_and_ends_with_the_force(source):
    """Nothing has been done to a joint that is not there: its notice says that, and needs no note to end."""
    drive = source.drive
    joints = assemble(drive).joints
    angles = joints.along.angle_mm_per_m
    ring = RingJoint.of(drive.file.pipe)
    made = float(ring.permissible_kn(angles[joints.worst]))
    unmade = float(ring.permissible_kn(np.nanmax(angles)))
    assert unmade < 0.9 * made

    def said(force_kn):
        top = float(drive.follower.top_m)
        for s in (top + 1e-3, top + 1.2 * drive.file.drive.stroke_m):
            drive.add("reading", _reading(s, drive.file.target.behind_face_m, force_kn))
        return [n.text for n in source.snapshot().advice.notices if "force_over" in n.code]

    (text,) = said(0.5 * (made + unmade))
    assert "joint is not there yet, so not overloaded: this ends when the force falls" in text
    assert said(10.0) == []


def test_a_late_reading_s_force_is_said_at_once(source):
    """A logger that hands over late: the page in front of people must not wait for the next stroke."""
    drive = source.drive
    joints = assemble(drive).joints
    may_kn = float(RingJoint.of(drive.file.pipe).permissible_kn(joints.along.angle_mm_per_m[joints.worst]))
    behind = drive.file.target.behind_face_m
    s = float(drive.follower.top_m)
    drive.add("reading", _reading(s, behind, 10.0) | {"time": "2031-03-04T10:00:00Z"})
    stroke = source.snapshot().advice.stroke
    assert not [n for n in source.snapshot().advice.notices if n.code == "string_force_over"]
    late = _reading(s - 5.0, behind, 1.3 * may_kn) | {"time": "2031-03-04T07:00:00Z"}
    drive.add("reading", late)
    snapshot = source.snapshot()
    assert snapshot.advice.stroke == stroke
    (text,) = [n.text for n in snapshot.advice.notices if n.code == "string_force_over"]
    assert f"{1.3 * may_kn:.0f} kN at {s - 5.0:.1f} m WAS more" in text


def test_a_limit_of_the_drive_file_that_was_passed_stands_until_a_note(tmp_path):
    """Also where nothing is known of packers; the newest force speaks for itself, once."""
    toml = draw_scenario(3, curved=False).drive
    toml["limits"] = {"main_jack_kn": 6000.0, "thrust_wall_kn": 4000.0}
    (tmp_path / "drive.toml").write_text(drive_toml(toml), encoding="utf-8")
    with Drive.open(tmp_path, write=True, sync="stroke") as drive:
        assert RingJoint.of(drive.file.pipe) is None
        source, stroke_m = ScreenSource(drive), drive.file.drive.stroke_m

        def said(number: int, force_kn: float) -> list[str]:
            for s in (number + 0.25, number + 0.75):
                drive.add("reading", _reading(s * stroke_m, drive.file.target.behind_face_m, force_kn))
            return [n.text for n in source.snapshot().advice.notices if n.code == "force_over"]

        assert said(0, 1000.0) == []
        (now,) = said(1, 4321.0)
        assert "is beyond what drive.toml allows: thrust wall 4000 kN." in now
        (still,) = said(2, 1000.0)  # within a stroke of the newest reading
        assert " is beyond " in still
        (was,) = said(3, 1000.0)
        assert (
            was.startswith("Jacking force 4321 kN at ")
            and "WAS beyond" in was
            and "thrust wall 4000 kN. " in was
        )
        (both,) = (said(4, 6789.0), said(6, 900.0))[1]
        assert "6789 kN" in both and "main jacks 6000 kN, thrust wall 4000 kN. It was" in both
        assert "so in 2 strokes not noted yet. Have" in both
        assert both in [n.text for n in assemble(drive).notices if n.code == "force_over"]
        drive.note("thrust wall inspected, force back to normal")
        assert said(7, 900.0) == []
        (again,) = (said(8, 4100.0), said(10, 900.0))[1]
        assert "4100 kN" in again and "so in" not in again


@pytest.mark.parametrize(
    ("surely", "perhaps", "earlier", "said"),
    [
        (1, 0, False, ""),
        (0, 1, False, ""),
        (1, 0, True, ""),
        (5, 0, True, "It was so in 5 earlier strokes not noted yet."),
        (0, 3, False, "It MAY HAVE BEEN so in 3 strokes not noted yet."),
        (1, 2, False, "It was so in 1 stroke not noted yet, and MAY HAVE BEEN in 2 more at the upper limit of the joints' "
         "angles."),
    ],
)  # fmt: skip
def test_strokes_that_were_and_that_may_have_been_are_counted_apart(surely, perhaps, earlier, said):
    """The as-built account says the two apart; "and 5 more strokes" after WAS would call all of them certain."""
    from steer.advice import Notice
    from steer.asbuilt.force_now import SharpestJoint, _Passed
    from steer.estimate.forces import Peak

    left = [_Passed(Peak(2000.0, float(i), i + 0.9, i), 1900.0, i < surely) for i in range(surely + perhaps)]
    (notice,) = SharpestJoint._stands(left, earlier)
    assert isinstance(notice, Notice)
    first, _, rest = notice.text.partition(". ") if surely else notice.text.partition("angles. ")
    assert ("WAS" in first) == bool(surely) and rest.startswith(f"{said} Ask the engineer. ".lstrip())
