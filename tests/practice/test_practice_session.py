"""A practice drive: a normal folder, the same ground whoever steers, nothing given away when hidden."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from steer.cli.main import main
from steer.drive import Drive
from steer.drivefile import load_drive
from steer.errors import InputRefused
from steer.ground.folder import drive_toml
from steer.ground.presets import DRIVE
from steer.practice import Session, debrief, preset_named, report
from steer.practice.showing import shown


def jacked(session: Session, strokes: int, accept: bool = True) -> Session:
    for _ in range(strokes):
        if accept:
            session.drive.accept()
        session.jack()
    return session


def test_it_writes_a_normal_drive_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "practice"
    with Session.begin(place, "dense sand", 8) as session:
        jacked(session, 12)
    assert "invented" in (place / "drive.toml").read_text().lower()
    with Drive.open(place) as drive:
        kinds = [event.kind for event in drive.events()]
        advised = [e.body["cylinder_mm"] for e in drive.events() if e.kind == "advised"]
        accepted = [e.body["cylinder_mm"] for e in drive.events() if e.kind == "accepted"]
        assert drive.advice() is not None
    assert kinds.count("stroke_end") == kinds.count("practice_stroke") == 12
    assert accepted[1:] == advised[:-1]  # what was accepted is what had been advised
    assert main(["verify", str(place)]) == 0
    assert main(["next", str(place)]) == 0
    capsys.readouterr()


def test_it_goes_on_from_its_folder_as_if_it_had_not_stopped(tmp_path: Path) -> None:
    with Session.begin(tmp_path / "whole", "mixed face", 3) as whole:
        jacked(whole, 10)
    with Session.begin(tmp_path / "broken", "mixed face", 3) as first:
        jacked(first, 4)
    with Session.resume(tmp_path / "broken") as second:
        assert second.simulation.chainage_m == pytest.approx(4.0)
        jacked(second, 6)
    assert np.array_equal(whole.set_mm, second.set_mm)
    assert np.array_equal(whole.simulation.truth().face_mm, second.simulation.truth().face_mm)


def test_a_stroke_whose_end_was_not_stored_gets_it_on_resuming(tmp_path: Path) -> None:
    with Session.begin(tmp_path / "cut", "dense sand", 3) as session:
        jacked(session, 2)
        wanted = session.standing()
        readings, shots = session._advance(wanted)
        session._store(
            [],
            readings,
            shots,
            [("practice_stroke", {"stroke": 3, "cylinder_mm": [float(v) for v in wanted]})],
        )
    with Session.resume(tmp_path / "cut") as again:
        assert again.drive.strokes == 3
        assert again.drive.stroke_end_m == pytest.approx(3.0)


def test_without_a_decision_the_cylinders_stay_and_a_decision_taken_back_does_not_count(
    tmp_path: Path,
) -> None:
    with Session.begin(tmp_path / "idle", "dense sand", 3) as session:
        session.drive.override(6.0, 2.0)
        session.jack()
        first = session.set_mm[0]
        change = debrief(session).own.measures.change_mm_per_m  # from straight
        assert change == pytest.approx(40.0**0.5, abs=1.0)
        session.drive.accept()
        session.drive.undo_last()
        session.jack()
        assert np.array_equal(session.set_mm[1], first)
        assert not np.allclose(first, 20.0)


def test_on_an_own_drive_file(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    (own / "drive.toml").write_text(drive_toml(DRIVE | {"drive": {"name": "Own", "stroke_m": 0.6}}))
    with Session.begin(tmp_path / "practice", "boulders", 3, like=own) as session:
        jacked(session, 2)
        assert session.simulation.chainage_m == pytest.approx(1.2)
    assert load_drive(tmp_path / "practice").drive.name == "Own"


def test_refusals(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="soft clay"):
        preset_named("quicksand")
    assert preset_named("Soft-Clay") == "soft clay"
    with Session.begin(tmp_path / "p", "dense sand", 3):
        pass
    with pytest.raises(InputRefused, match="in it already"):
        Session.begin(tmp_path / "p", "dense sand", 3)
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "drive.toml").write_text(drive_toml(DRIVE))
    with pytest.raises(InputRefused, match="no practice drive"):
        Session.resume(tmp_path / "other")


def test_it_ends_at_the_end_of_the_axis(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    short = {"horizontal": [{"kind": "line", "length_m": 3.0}], "vertical": [
        {"kind": "grade", "length_m": 3.0, "grade_mm_per_m": 4.0}]}  # fmt: skip
    (own / "drive.toml").write_text(drive_toml(DRIVE | {"axis": DRIVE["axis"] | short}))
    with Session.begin(tmp_path / "p", "dense sand", 3, like=own) as session:
        jacked(session, 3)
        assert session.finished
        with pytest.raises(InputRefused, match="arrived"):
            session.jack()


@pytest.mark.parametrize("at", ["write_drive_file", "load", "store", "moved"])
def test_whatever_breaks_off_the_making_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: str
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        if at == "write_drive_file":
            patch.setattr("steer.practice.session.write_drive_file", stop)
        elif at == "load":
            patch.setattr("steer.opened.load_drive", stop)
        elif at == "store":
            patch.setattr("steer.log.Log.append_many", stop)
        else:
            patch.setattr(Path, "rename", stop)
        with pytest.raises(KeyboardInterrupt):
            Session.begin(tmp_path / "p", "dense sand", 3)
    assert not list(tmp_path.glob("**/*.*"))
    (tmp_path / ".p.making").mkdir()  # what a making leaves that was killed
    (tmp_path / ".p.making" / "drive.db").write_bytes(b"half")
    with Session.begin(tmp_path / "p", "dense sand", 3) as session:
        jacked(session, 1)
    assert [path.name for path in tmp_path.iterdir()] == ["p"]
    with Session.resume(tmp_path / "p") as session:
        assert len(session.set_mm) == 1


def test_a_log_without_its_drive_file_is_not_gone_on_with(tmp_path: Path) -> None:
    (tmp_path / "drive.db").write_bytes(b"somebody's")
    with pytest.raises(InputRefused, match=r"without a drive\.toml"):
        Session.begin(tmp_path, "dense sand", 3)
    assert [p.name for p in tmp_path.iterdir()] == ["drive.db"]


@pytest.mark.parametrize("proposal", ["hidden", "after"])
def test_nothing_tells_the_proposal_before_the_choice(tmp_path: Path, proposal: str) -> None:
    """Two drives that differ in nothing but what is proposed look the same."""
    with Session.begin(tmp_path / "p", "dense sand", 3, proposal) as session:
        jacked(session, 3, accept=False)
        snapshot = session.drive.snapshot()
    advice = snapshot.advice
    assert advice is not None
    other = replace(
        advice,
        correction=replace(advice.correction, right_mm_per_m=99.0, up_mm_per_m=-99.0, cylinder_mm=(1.0,) * 4),
        forecast=(),
        reason="Left 99",
        eye_probability=0.5,
        at_reception=None,
        joint="joints ahead turn 99 mm/m",
    )
    first, second = (shown(replace(snapshot, advice=a), proposal, None) for a in (advice, other))
    assert first.advice == second.advice
    assert "hidden" in first.extra
    assert shown(snapshot, "shown", None) is snapshot


def test_afterwards_it_is_shown_or_stays_hidden(tmp_path: Path) -> None:
    with Session.begin(tmp_path / "p", "dense sand", 3, "after") as session:
        jacked(session, 3, accept=False)
        session.drive.override(1.0, -1.0)
        decision = session.decision()
        snapshot = session.drive.snapshot()
    assert decision is not None and decision["kind"] == "overridden"
    assert shown(snapshot, "after", decision) is snapshot
    hidden = shown(snapshot, "hidden", decision)
    assert hidden.advice.correction.right_mm_per_m == decision["right_mm_per_m"]
    assert "hidden" not in hidden.extra and not hidden.advice.reason
    assert not hidden.advice.joint and hidden.advice.at_reception is None
    # what would come of an own setting is not known; of the cylinders left alone it is
    assert (
        not hidden.advice.forecast and hidden.advice.forecast_unchanged == snapshot.advice.forecast_unchanged
    )


def test_debrief_of_one_who_sets_every_proposal_and_of_one_who_sets_none(tmp_path: Path) -> None:
    with Session.begin(tmp_path / "obedient", "mixed face", 5) as obedient:
        jacked(obedient, 25)
        found = debrief(obedient)
    assert np.array_equal(found.own.line_mm, found.proposed.line_mm)
    assert not found.apart
    with Session.begin(tmp_path / "idle", "mixed face", 5) as idle:
        jacked(idle, 25, accept=False)
        lazy = debrief(idle)
        lines = report(idle.drive.file, lazy)
    # the ground is the same, so the other two drives are as well
    assert np.array_equal(lazy.best.line_mm, found.best.line_mm)
    assert lazy.own.measures.rms_mm > 2 * lazy.proposed.measures.rms_mm
    assert lazy.best.measures.rms_mm < lazy.proposed.measures.rms_mm
    assert lazy.apart and all(a.own == pytest.approx((0.0, 0.0), abs=0.1) for a in lazy.apart)
    assert max(map(len, lines)) <= 79


@pytest.mark.parametrize("preset", ["dense sand", "boulders"])
def test_the_best_is_better_than_the_proposals_after_few_strokes_too(tmp_path: Path, preset: str) -> None:
    with Session.begin(tmp_path / "p", preset, 3) as session:
        jacked(session, 12, accept=False)
        found = debrief(session)
    assert found.best.measures.rms_mm < found.proposed.measures.rms_mm


def test_the_command_without_a_screen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "p")
    assert main(["practice", "SoftClay", "--auto", "--strokes", "6", "--folder", place, "--seed", "3"]) == 0
    assert "After 6 strokes, at 6.00 m" in capsys.readouterr().out
    assert main(["practice", "--resume", "--folder", place, "--auto", "rule", "--strokes", "2"]) == 0
    assert "After 8 strokes, at 8.00 m" in capsys.readouterr().out
    assert main(["practice", "--resume", "--folder", place, "--debrief"]) == 0
    again = capsys.readouterr().out
    assert "After 8 strokes" in again and "Ground and figures are invented" in again


@pytest.mark.parametrize(
    ("options", "code", "what"),
    [
        (["quicksand", "--auto"], 1, "soft clay, dense sand, mixed face, boulders"),
        (["soft", "--auto"], 1, "soft clay, dense sand, mixed face, boulders"),
        (["--pace", "0"], 2, "0.2 to 3600"),
        (["--strokes", "3"], 2, "--auto"),
        (["--resume"], 2, "--folder"),
        (["--seed", "-1"], 2, "--seed"),
        (["--debrief"], 2, "--resume"),
        (["--resume", "--folder", "nowhere", "--auto"], 3, "nowhere"),
        ([], 2, "terminal"),
    ],
)
def test_wrong_command_lines(
    options: list[str], code: int, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["practice", *options]) == code
    assert what in capsys.readouterr().err
