"""Observations read inside the surveyor's screen: residuals shown, a slip left out, points stored."""

import asyncio
import csv
import json
import subprocess
import sys
from pathlib import Path

import fake_drive
import pytest
from screen_pilot import ready, until
from test_left_at_work import held
from test_other_screens import keep, screen_text, settle

from tui.draw import reduction_page

SURVEYS = Path(__file__).parents[2] / "sample_surveys" / "surveys"


async def opened(app, pilot):
    """From the surveyor's screen by a file of observations and its control to the reduction."""
    await ready(app, pilot)
    await pilot.press("2", "f")
    await settle(pilot)
    await pilot.press(*"sights.csv", "enter")
    await until(pilot, lambda: "Its control" in screen_text(app))
    await pilot.press(*"control.csv", "enter")
    await until(pilot, lambda: "REDUCTION" in screen_text(app))


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
async def test_kept_pictures(make_app, size):
    app = make_app()
    async with app.run_test(size=size) as pilot:
        await opened(app, pilot)
        keep(f"reduction-warning-{size[0]}x{size[1]}", screen_text(app))
        await pilot.press("x")
        await until(pilot, lambda: "Sound" in screen_text(app))
        keep(f"reduction-good-{size[0]}x{size[1]}", screen_text(app))


async def test_the_suspect_is_under_the_cursor_and_a_survey_in_doubt_is_not_stored(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(app, pilot)
        assert app.screen.sight().row == 5 and app.screen.sight().suspect
        await pilot.press("s")
        await settle(pilot)
        assert "leave the slip's row out" in screen_text(app) and drive.calls == []
        await pilot.press("x")
        await until(pilot, lambda: "Left out: row 5." in screen_text(app))
        await pilot.press("x")  # and in again
        await until(pilot, lambda: "IN DOUBT" in screen_text(app))
        await pilot.press("escape")
        await until(pilot, lambda: "CHECK SHOTS" in screen_text(app))
        assert drive.calls == []


@pytest.mark.parametrize(("keys", "out", "despite"), [(("x", "s"), (5,), False), (("S",), (), True)])
async def test_stored_with_the_points_that_are_named(make_app, keys, out, despite):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(app, pilot)
        for key in keys:
            await pilot.press(key)
            await settle(pilot)
        await until(pilot, lambda: "Enter stores it" in screen_text(app))
        await pilot.press(*"target", "enter")
        await until(pilot, lambda: "say at which chainage" in screen_text(app))
        assert drive.calls == []
        await pilot.press(*"@60.3", "enter")
        await until(pilot, lambda: "CHECK SHOTS" in screen_text(app))
        assert drive.calls == [("store_survey", "sights.csv", "control.csv", out, "M=target@60.3", despite)]
        assert "1 check shot stored" in screen_text(app)


async def test_control_that_cannot_be_read_is_said(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "f")
        await settle(pilot)
        await pilot.press(*"sights.csv", "enter")
        await until(pilot, lambda: "Its control" in screen_text(app))
        await pilot.press(*"none.csv", "enter")
        await until(pilot, lambda: "no such file" in screen_text(app))


def test_the_control_beside_is_offered(tmp_path):
    from tui.dialogs.paths import control_beside

    for name in ("tunnel_observations.csv", "tunnel_control.csv", "polar_control.csv"):
        (tmp_path / name).write_text("")
    assert control_beside(str(tmp_path / "tunnel_observations.csv")) == str(tmp_path / "tunnel_control.csv")
    assert control_beside(str(tmp_path / "nothing" / "x.csv")) == ""


def test_a_home_folder_that_nobody_has_is_said():
    """`~name` of no user: refused in words, whatever box it was typed in."""
    from steer.cli.survey_view import reduced
    from steer.errors import SteerError
    from steer.survey.files import holds_sights

    path = "~nobody-of-that-name/a"
    assert not holds_sights(f"{path}.csv")
    with pytest.raises(SteerError, match=r"~nobody-of-that-name/a\.csv"):
        reduced(f"{path}.csv", f"{path}.csv")


def test_the_screens_residuals_are_those_of_the_command(tmp_path):
    """Every residual on the screen is the one that `steer reduce --json` gives for the same two files."""
    from steer.cli.survey_view import reduced
    from steer.survey.files import holds_sights

    sights, control = SURVEYS / "tunnel_observations_blunder.csv", SURVEYS / "tunnel_control.csv"
    assert holds_sights(str(sights)) and not holds_sights(str(control))
    command = [
        sys.executable,
        "-m",
        "steer.cli.main",
        "reduce",
        str(sights),
        "--control",
        str(control),
        "--json",
    ]
    told = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    view = reduced(str(sights), str(control))
    assert view.state == "in doubt"
    rows = [s for s in view.sights if s.row > 0]
    assert [(s.row, s.kind) for s in rows] == [(r["row"], r["observation"]) for r in told["residuals"]]
    assert [s.residual for s in rows] == pytest.approx([r["residual"] for r in told["residuals"]], abs=1e-5)
    slip = told["suspect_rows"][0]
    assert {s.row for s in rows if s.suspect} == {slip}
    without = reduced(str(sights), str(control), (slip,))
    assert without.state == "sound" and [s.row for s in without.sights if s.left_out] == [slip]
    with sights.open() as file:
        lines = list(csv.DictReader(file))
    assert len({s.row for s in view.sights if s.row}) == len(lines)


def test_a_survey_stored_from_the_screen_is_what_the_command_stores(tmp_path):
    import sample

    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive
    from steer.errors import InputRefused
    from steer.log import Log

    for name in ("one", "two"):
        sample.copied(tmp_path / name, 13)
    sights, control = SURVEYS / "tunnel_observations.csv", SURVEYS / "tunnel_control.csv"
    with Drive.open(tmp_path / "one", write=True) as drive:
        source = ScreenSource(drive)
        with pytest.raises(InputRefused, match="at which chainage") as refused:
            source.store_survey(str(sights), str(control), (), "M=target", False)
        assert "--shot" not in str(refused.value)
        assert "1 check shot" in source.store_survey(str(sights), str(control), (), "M=target@60.3", False)
    command = [sys.executable, "-m", "steer.cli.main", "shots", str(tmp_path / "two"), str(sights)]
    command += ["--control", str(control), "--shot", "M=target@60.3"]
    subprocess.run(command, check=True, capture_output=True)

    def newest(folder):
        with Log.open(folder) as log:
            return [event.body for event in log.events() if event.kind == "check_shot"][-1]

    assert newest(tmp_path / "one") == newest(tmp_path / "two")


async def test_at_the_points_found_nothing_points_there(make_app):
    app = make_app(fake_drive.FakeDrive())
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(app, pilot)
        await pilot.press("x")
        await until(pilot, lambda: "Key End goes to the points found" in screen_text(app))
        await pilot.press("end")
        await until(pilot, lambda: "These are the points found" in screen_text(app))
        assert "Key End" not in screen_text(app)
        await pilot.press("home")
        await until(pilot, lambda: "Key End goes to the points found" in screen_text(app))


@pytest.mark.parametrize(
    ("points", "said"),
    [("M=target@60", "Survey read. 1 check shot stored."), ("M", "Not stored: M: say at which chainage")],
)
async def test_a_box_left_while_the_survey_is_stored_is_told_how_it_ended(make_app, points, said):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(app, pilot)
        await pilot.press("x", "s")
        await settle(pilot)
        box = app.screen
        box.query_one("#line").value = points
        begun, go_on = held(drive, "store_survey")
        await pilot.press("enter")
        assert await asyncio.to_thread(begun.wait, 30.0)
        await pilot.press("escape")
        await settle(pilot)
        text = " ".join(screen_text(app).split())
        assert "REDUCTION" in text and "The survey is being stored: not in these figures yet." in text
        go_on.set()
        await until(pilot, lambda: said in " ".join(screen_text(app).split()))
        assert ("CHECK SHOTS" in screen_text(app)) == bool(drive.calls) == ("@" in points)


def test_the_question_gives_no_chainage_of_its_own():
    """A number of another drive would be taken over as it stands."""
    asked = reduction_page.shots_question(("L1", "M"))
    assert "M=target@CHAINAGE" in asked and not any(c.isdigit() for c in asked.replace("L1", ""))
