"""A replay shows what was known then and nothing later; what if answers by the learned ground."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from steer.cli.main import main
from steer.drive import Drive
from steer.errors import CommandLineWrong, InputRefused
from steer.ground.folder import drive_toml
from steer.ground.presets import DRIVE
from steer.log import Event
from steer.practice import Session
from steer.replay import Reel, changed, compared, said, what_if
from steer.replay.moments import in_order, moments
from steer.replay.whatif import Difference, WhatIf


@pytest.fixture(scope="module")
def driven(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A drive of 40 strokes, every proposal set, one check survey at 30 m."""
    place = tmp_path_factory.mktemp("replay") / "driven"
    with Session.begin(place, "mixed face", 6) as session:
        for _ in range(40):
            session.drive.accept()
            session.jack()
    return place


@pytest.fixture(scope="module")
def reel(driven: Path) -> Reel:
    """To open it works the whole drive out; it can be wound to any moment, in any order."""
    return Reel.open(driven)


@pytest.fixture(scope="module")
def same_again(reel: Reel) -> WhatIf:
    """Steered again from 12 m on with nothing changed."""
    return what_if(reel, reel.file, 12.0)


def test_every_moment_says_what_was_advised_then(driven: Path, reel: Reel) -> None:
    """The log holds what was advised at each stroke's end, stored before anything later was known."""
    with Drive.open(driven) as drive:
        stored = [e.body for e in drive.events() if e.kind == "advised"]
    assert len(reel.moments) == len(stored) == 40 and reel.own_order
    for number, body in enumerate(stored):
        frame = reel.frame(number, whole=False)
        assert frame.advice is not None
        assert frame.advice.chainage_m == pytest.approx(body["chainage_m"])
        assert frame.advice.correction.cylinder_mm == pytest.approx(body["cylinder_mm"], abs=1e-9)


def test_winding_back_gives_the_same_and_the_shot_is_not_known_before_it_came(
    driven: Path, reel: Reel
) -> None:
    late = reel.frame(35)
    early = reel.frame(20)
    assert late.snapshot is not None and early.snapshot is not None
    assert len(late.snapshot.shots) == 1 and not early.snapshot.shots
    assert early.snapshot.path.chainage_m[-1] <= early.moment.chainage_m + 1e-6
    fresh = Reel.open(driven).frame(20)
    assert fresh.advice == early.advice
    # the survey at 30 m has moved what is known of 20 m, and made it surer
    assert early.advice is not None
    assert abs(early.now.line_mm - early.advice.estimate.line_mm) > 1e-6
    assert early.now.line_sd_mm < early.advice.estimate.line_sd_mm
    assert early.decided == "accepted" and early.came is not None


def test_a_late_check_shot_is_known_from_its_arrival_on(reel: Reel) -> None:
    events = sorted(reel.events, key=lambda event: event.sequence)
    shot = Event(events[-1].sequence + 1, "", "check_shot", {
        "chainage_m": 10.0, "point": "face", "line_mm": 1.0, "level_mm": 1.0, "sd_mm": 2.0})  # fmt: skip
    later = Reel(reel.file, [*events, shot], reel.today)
    assert not later.frame(12).snapshot.shots  # type: ignore[union-attr]


def test_a_log_from_files_is_replayed_by_chainage() -> None:
    def reading(n: int, at: float) -> Event:
        return Event(n, "", "reading", {"chainage_m": at})

    events = [
        *(reading(n, 0.25 * n) for n in range(1, 13)),
        Event(13, "", "check_shot", {"chainage_m": 1.0}),
        Event(14, "", "withdrawn", {"shot": 13}),
        Event(15, "", "note", {"text": "without a place"}),
    ]
    ordered, own = in_order(events)
    assert not own
    assert [e.sequence for e in ordered] == list(range(1, 16))
    kinds = [e.kind for e in ordered]
    assert kinds.index("check_shot") == 4  # after the readings up to 1.0 m
    withdrawn = next(e for e in ordered if e.kind == "withdrawn")
    assert ordered[withdrawn.body["shot"] - 1].kind == "check_shot"
    assert kinds[-2:] == ["withdrawn", "note"]
    from steer.drivefile import parse_drive

    found = moments(parse_drive(drive_toml(DRIVE)), ordered)
    assert [m.chainage_m for m in found] == [1.0, 2.0, 3.0]
    assert ordered[found[0].upto].kind == "check_shot"


def test_text_fits_a_terminal_and_says_both(
    driven: Path, reel: Reel, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(driven), "--text", "--from", "28"]) == 0
    out = capsys.readouterr().out
    assert "known then" in out and "known now" in out
    assert max(map(len, out.splitlines())) <= 80
    assert "   28.00  line" in out and "   27.00  line" not in out
    assert all(len(line) <= 78 for n in (0, 15, 39) for line in said.beside(reel.frame(n)))


def test_a_folder_without_readings_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "drive.toml").write_text(drive_toml(DRIVE))
    with pytest.raises(InputRefused, match="nothing to replay"):
        Reel.open(tmp_path)
    assert main(["replay", str(tmp_path), "--text"]) == 1
    assert main(["replay", str(tmp_path / "nowhere"), "--text"]) == 3
    capsys.readouterr()


# ---- what if


@pytest.mark.parametrize("delay", [0.0, 2.2])
def test_difference_against_an_integrator(delay: float) -> None:
    """ΔY' = ΔT + D·ΔA, ΔT' = ΔP, ΔP' = (G·ΔA(s − delay) − ΔP)/lag, by scipy's solve_ivp."""
    from scipy.integrate import solve_ivp

    lag, share, gain, apart = 3.0, 0.3, np.array([0.2, 0.35]), np.array([4.0, -2.0])
    ours = Difference(np.array([lag]), np.array([delay]), np.full((1, 2), share), 0.0)
    for _ in range(50):
        ours.go(0.1, gain, apart)
    for _ in range(50):
        ours.go(0.1, gain, -0.5 * apart)
    for plane in (0, 1):

        def motion(s: float, x: np.ndarray, plane: int = plane) -> list[float]:
            a = apart[plane] * (1.0 if s < 5.0 else -0.5)
            late = apart[plane] * (0.0 if s < delay else 1.0 if s < 5.0 + delay else -0.5)
            return [x[1] + share * a, x[2], (gain[plane] * late - x[2]) / lag]

        found = solve_ivp(motion, (0.0, 5.0), [0.0, 0.0, 0.0], rtol=1e-10, atol=1e-10).y[:, -1]
        found = solve_ivp(lambda s, x: motion(s + 5.0, x), (0.0, 5.0), found, rtol=1e-10, atol=1e-10).y[:, -1]
        mine = [part[0, plane] for part in ours.at(10.0)]
        assert mine == pytest.approx(list(found), rel=1e-6)
    assert np.all(ours.at(-1.0)[0] == 0.0)


def test_the_same_settings_steer_a_drive_that_was_steered_so_nearly_the_same(same_again: WhatIf) -> None:
    found = same_again
    assert found.from_m == pytest.approx(12.0) and found.chainage_m[-1] == pytest.approx(40.0)
    assert np.abs(found.other_mm - found.driven_mm).max() < 4.0
    assert found.other.change_mm_per_m == pytest.approx(found.driven.change_mm_per_m, rel=0.35)


def test_other_limits_are_kept_and_gentler_steering_moves_less(reel: Reel) -> None:
    file = changed(reel.file, ["machine.max_change_mm_per_m = 2", "machine.max_articulation_mm_per_m=6"])
    assert file.machine.max_change_mm_per_m == 2.0
    found = what_if(reel, file, 12.0)
    step = 1000.0 * file.machine.cylinders.step_mm / file.machine.cylinders.circle_radius_mm
    assert np.abs(np.diff(found.other_set, axis=0)).max() <= 2.0 + step
    gentle = what_if(reel, changed(reel.file, ["steering.firmness=gentle"]), 12.0)
    firm = what_if(reel, changed(reel.file, ["steering.firmness=firm"]), 12.0)
    assert gentle.other.change_mm_per_m < firm.other.change_mm_per_m
    given = ["machine.max_change_mm_per_m = 2", "machine.max_articulation_mm_per_m=6", "tolerance.line_mm=40"]
    page = compared.report(file, found, given)
    rows = compared.table(found)
    assert max(map(len, page + rows)) <= 80 and "machine.max_change_mm_per_m = 2" in page[1]
    assert len(rows) == 1 + 2 * len(found.other_set)
    # the as-built account's angle is of what joints have passed: which this is, is said
    assert any(line.startswith("largest joint angle of the line (limit ") for line in page)
    assert "the whole line from 12.00 m on, also where no joint has come yet" in " ".join(page)
    # the last stroke's rows say where the paths end, and what was set for it
    for row, plane, sides in zip(rows[-2:], (0, 1), (("right", "left"), ("high", "low")), strict=True):
        for value in (found.driven_mm[-1, plane], found.other_mm[-1, plane]):
            size = f"{abs(value):.0f}"
            assert ("on it" if size == "0" else f"{size} {sides[0 if value > 0 else 1]}") in row
        assert f"{abs(found.other_set[-1, plane]):.1f}" in row or "straight" in row


def test_joints_as_driven_are_those_of_the_as_built_account(
    driven: Path, reel: Reel, same_again: WhatIf
) -> None:
    """One drive, one largest angle: not that of a smoothed path, which rounds off every sudden turn."""
    from steer.asbuilt.record import assemble

    found = same_again
    with Drive.open(driven) as drive:
        along = assemble(drive).joints.along
    first = found.chainage_m[0] + reel.file.pipe.length_m
    assert found.driven.joint_mm_per_m == pytest.approx(
        along.angle_mm_per_m[along.chainage_m >= first].max(), rel=0.03
    )


def test_settings_that_cannot_be_meant(reel: Reel) -> None:
    file = reel.file
    for setting, what in (
        ("machine.outer_diameter_mm=3", "allowed are"),
        ("tolerance.line_mm=wide", "not a number"),
        ("tolerance.line_mm=-3", "from 0.1 to 2000"),
        ("steering.firmness=hard", "gentle"),
        ("nonsense", "KEY=VALUE"),
    ):
        with pytest.raises(CommandLineWrong, match=what):
            changed(file, [setting])


def test_the_what_if_command(
    driven: Path,
    reel: Reel,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    out = tmp_path / "paths.csv"
    args = ["replay", str(driven), "--what-if", "--from", "20", "--set", "steering.firmness=gentle"]
    assert main([*args, "--csv", str(out)]) == 0
    assert "as driven" in capsys.readouterr().out
    rows = list(csv.DictReader(out.open()))
    assert float(rows[0]["chainage_m"]) == 20.0
    assert rows[0]["driven_line_mm"] == rows[0]["other_line_mm"]
    # the folder has been opened once; what is refused after that is refused of what was opened
    monkeypatch.setattr(Reel, "open", lambda folder: reel)
    capsys.readouterr()
    assert main(["replay", str(driven), "--what-if", "--from", "39.5"]) == 2
    said = capsys.readouterr().err  # the screen says the same, and has no command line
    assert "at least two strokes must lie beyond" in said and "--" not in said
    capsys.readouterr()
    for outside in ("-1", "41", "500"):
        for how in (["--text"], ["--what-if"]):
            assert main(["replay", str(driven), "--from", outside, *how]) == 2
            assert "the drive went from 0.00 m to 40.00 m" in capsys.readouterr().err
    assert main(["replay", str(driven), "--text", "--from", "0"]) == 0
    assert main(["replay", str(driven), "--set", "steering.firmness=gentle"]) == 2
    assert main(["replay", str(driven), "--speed", "0"]) == 2
    assert main(["replay", str(driven)]) == 2  # no terminal here
    assert "--text" in capsys.readouterr().err
