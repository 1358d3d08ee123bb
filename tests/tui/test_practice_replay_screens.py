"""Practice, its debrief and the replay by their keys, at 80 by 24."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from screen_pilot import ready, until

from steer.cli.practice_source import PracticeSource
from steer.cli.replay_source import ReplaySource
from steer.practice import Session
from steer.replay import Reel

SIZE = (80, 24)


@pytest.fixture(autouse=True)
def colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)


def shown(app, part: str = "#page") -> str:
    return app.screen.query_one(part).text


def practice_app(folder: Path, proposal: str = "shown", **options):
    from tui.practice import PracticeApp

    def opened() -> PracticeSource:
        return PracticeSource(Session.begin(folder, "mixed face", 5, proposal))

    return PracticeApp(opened, stale_minutes=0.0, poll_s=3600.0, **options)


async def jacked(app, pilot, stroke: int) -> None:
    await pilot.press("space")
    await until(pilot, lambda: app.scene.snapshot.advice.stroke == stroke, 2000)
    await pilot.pause()


async def test_accept_and_jack(tmp_path: Path) -> None:
    app = practice_app(tmp_path / "p")
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: app.scene.snapshot is not None, 2000)
        assert "PRACTICE on mixed face (invented ground)" in shown(app)
        assert "STROKE 1  proposed" in shown(app)
        keys = shown(app, "#keys")
        assert "jack" in keys and "end, compare" in keys and "q quit" in keys
        await pilot.press("a")
        await until(pilot, lambda: "STROKE 1  accepted" in shown(app))
        await jacked(app, pilot, 1)
        assert "STROKE 2  proposed" in shown(app)
        assert "with the proposal" in shown(app)
        await jacked(app, pilot, 2)
        assert "cylinders as they stood" in shown(app)


@pytest.mark.parametrize("proposal", ["hidden", "after"])
async def test_hidden_until_the_own_setting_stands(tmp_path: Path, proposal: str) -> None:
    app = practice_app(tmp_path / "p", proposal)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: app.scene.snapshot is not None, 2000)
        await jacked(app, pilot, 1)
        assert "NO PROPOSAL  Proposal hidden" in shown(app)
        assert "accept" not in shown(app, "#keys")
        await pilot.press("a")
        await pilot.pause()
        assert ("choose first (o)" in shown(app)) == (proposal == "after")
        assert ("practise without the proposal: set your own (o)" in shown(app)) == (proposal == "hidden")
        await pilot.press("o")
        await pilot.pause()
        await pilot.press("enter", "enter")
        await until(pilot, lambda: app.screen_stack[-1].query("#keys") and "own setting" in shown(app), 2000)
        assert ("The tool proposed" in shown(app)) == (proposal == "after")
        assert ("a accept" in shown(app, "#keys")) == (proposal == "after")
        # a forecast of the proposal would be taken for that of the own setting
        assert " with " not in shown(app) and " hold " not in shown(app)
        await jacked(app, pilot, 2)
        assert "with your own setting" in shown(app)
        assert "NO PROPOSAL  Proposal hidden" in shown(app)


async def test_debrief_back_and_replay(tmp_path: Path) -> None:
    app = practice_app(tmp_path / "p")
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: app.scene.snapshot is not None, 2000)
        await pilot.press("e")
        await until(pilot, lambda: app.current_mode == "debrief" and "No stroke" in shown(app), 2000)
        await pilot.press("b")
        await until(pilot, lambda: app.current_mode == "stroke")
        for stroke in range(1, 6):
            await jacked(app, pilot, stroke)
        await pilot.press("e")
        await until(pilot, lambda: "root mean square" in shown(app), 4000)
        assert "After 5 strokes" in shown(app) and "proposals" in shown(app)
        await pilot.press("r")
        await pilot.pause()
    assert app.wants_replay


async def test_at_a_pace_the_machine_does_not_wait_but_a_pause_holds_it(tmp_path: Path) -> None:
    app = practice_app(tmp_path / "p", pace_s=0.2)
    async with app.run_test(size=SIZE) as pilot:
        await until(
            pilot, lambda: app.scene.snapshot is not None and app.scene.snapshot.advice.stroke >= 2, 4000
        )
        await pilot.press("p")
        await until(pilot, lambda: "Paused" in shown(app) and not app.screen._at_work, 2000)
        stood = app.scene.snapshot.advice.stroke
        await pilot.pause(0.7)
        assert app.scene.snapshot.advice.stroke == stood


async def test_replay_winds_and_says_what_is_known_now(tmp_path: Path) -> None:
    from tui.replay import ReplayApp

    with Session.begin(tmp_path / "p", "dense sand", 5) as session:
        for _ in range(12):
            session.drive.accept()
            session.jack()
    app = ReplayApp(lambda: ReplaySource(Reel.open(tmp_path / "p"), 3), stale_minutes=0.0, poll_s=3600.0)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: app.scene.snapshot is not None, 2000)
        await ready(app, pilot)
        assert "STROKE 5  proposed" in shown(app) and "REPLAY" in shown(app)
        now = shown(app, "#now")
        assert "KNOWN NOW, not then" in now and "stroke 4 of 12" in now and "The face here: line" in now
        assert "as accepted" in now and "Foreseen for" in now
        assert "accept" not in shown(app, "#keys")  # a replay stores nothing
        await pilot.press("right")
        await until(pilot, lambda: "STROKE 6  proposed" in shown(app), 2000)
        await pilot.press("left")
        await until(pilot, lambda: "STROKE 5  proposed" in shown(app), 2000)
        await pilot.press("end")
        await until(pilot, lambda: "stroke 12 of 12" in shown(app, "#now"), 2000)
        await pilot.press("right")
        await until(pilot, lambda: "end of the drive" in shown(app), 2000)
        await pilot.press("home", "p")
        await until(pilot, lambda: app.source.number >= 2, 2000)
        await pilot.press("p")
        await until(pilot, lambda: "Stopped." in shown(app), 2000)
        rows = shown(app).splitlines() + shown(app, "#now").splitlines()
        assert len(rows) <= 24 and max(map(len, rows)) <= 80


async def test_what_if_from_the_stroke_shown(tmp_path: Path) -> None:
    from tui.replay import ReplayApp

    with Session.begin(tmp_path / "p", "dense sand", 5) as session:
        for _ in range(14):
            session.drive.accept()
            session.jack()
    app = ReplayApp(lambda: ReplaySource(Reel.open(tmp_path / "p"), 3), stale_minutes=0.0, poll_s=3600.0)
    async with app.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: app.scene.snapshot is not None, 2000)
        await ready(app, pilot)
        assert "f what if" in shown(app, "#keys")
        await pilot.press("f")
        await until(pilot, lambda: app.screen.query("#text"))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen.query("#now"))
        await pilot.press("f")
        await until(pilot, lambda: app.screen.query("#text"))
        app.screen.query_one("#text").value = "steering.firmness = gentle, machine.max_change_mm_per_m=2"
        await pilot.press("enter")
        await until(pilot, lambda: app.screen.query("#page") and "as driven" in shown(app), 4000)
        assert "from 4.00 m to 14.00 m" in shown(app)
        assert "With steering.firmness=gentle, machine.max_change_mm_per_m=2" in shown(app)
        assert "more below" in shown(app) and max(map(len, shown(app).splitlines())) <= 80
        await pilot.press("pagedown", "pagedown")
        await until(pilot, lambda: "14.00  line" in shown(app))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen.query("#now") and "stroke 4 of 14" in shown(app, "#now"))
        await pilot.press("f")
        await until(pilot, lambda: app.screen.query("#text"))
        app.screen.query_one("#text").value = "tolerance.width=3"
        await pilot.press("enter")
        await until(pilot, lambda: "allowed are" in str(app.screen.query_one("#said").content), 2000)
        assert app.screen.query("#text")  # the replay is not left
        app.screen.query_one("#text").value = "tolerance.line_mm=30"
        await until(pilot, lambda: not str(app.screen.query_one("#said").content), 2000)


def test_where_nothing_is_foreseen_the_plane_is_named() -> None:
    import fake_drive

    from steer.replay.moments import Moment
    from steer.replay.reel import Frame, Known, looked_ahead
    from steer.replay.said import beside

    advice = fake_drive.good().advice
    ahead = tuple(replace(point, line_mm=0.1, level_mm=-0.1) for point in advice.forecast)
    advice = replace(advice, forecast=ahead)
    point = looked_ahead(advice)
    came = Known(point.chainage_m, 4.2, 1.5, -0.1, 1.5)
    frame = Frame(Moment(0, 0, 96.0), advice, None, came, None, "", came, ())
    assert "on line ± 8, on level ± 6 mm; came 4 right, on level" in beside(frame)[-1]
    rough = replace(advice, forecast=tuple(replace(p, line_sd_mm=30.0) for p in ahead))
    assert "line 0 ± 59, on level ± 6 mm" in beside(replace(frame, advice=rough))[-1]


def test_what_came_of_a_forecast_stands_in_the_row_of_a_small_screen() -> None:
    import fake_drive

    from steer.replay.moments import Moment
    from steer.replay.reel import Frame, Known, looked_ahead
    from steer.replay.said import beside

    advice = fake_drive.good().advice
    far = {"line_mm": 112.0, "line_sd_mm": 45.0, "level_mm": -103.0, "level_sd_mm": 43.0}
    advice = replace(advice, forecast=tuple(replace(point, **far) for point in advice.forecast))
    point = looked_ahead(advice)
    came = Known(point.chainage_m, 119.2, 15.0, -105.0, 15.0)
    frame = Frame(Moment(0, 0, 96.0), advice, None, came, None, "", came, ())
    said = beside(frame)[-1]
    assert said.endswith("came 119 right, 105 low") and len(said) <= 78


async def test_practice_debrief_replay_and_what_if_in_ascii() -> None:
    import fake_practice

    from tui.practice import PracticeApp
    from tui.replay import ReplayApp

    def rows(app) -> str:
        text = "\n".join(strip.text for strip in app.screen._compositor.render_strips())
        assert text.isascii()
        return text

    options = {"stale_minutes": 0.0, "poll_s": 3600.0, "ascii_only": True}
    practice = PracticeApp(fake_practice.FakePractice("after", 60.0), **options)
    async with practice.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: "Proposal hidden" in rows(practice))
        await pilot.press("e")
        await until(pilot, lambda: "root mean square" in rows(practice))
    replay = ReplayApp(fake_practice.FakeReplay(1), **options)
    async with replay.run_test(size=SIZE) as pilot:
        await until(pilot, lambda: "KNOWN NOW" in rows(replay) and "+-" in rows(replay))
        await pilot.press("f")
        await until(pilot, lambda: "What if, from" in rows(replay))
        await pilot.press("enter")
        await until(pilot, lambda: "as driven" in rows(replay))
        await pilot.press("escape", "end", "l")
        await until(pilot, lambda: "NOTICES of this moment" in rows(replay))
