"""The operator's screen by its keys, without a terminal (Textual's pilot)."""

import sqlite3
from dataclasses import replace

import fake_drive
import pytest
from kept import screen_text
from screen_pilot import ready, until

from steer.errors import FolderUnusable


def shown(app) -> str:
    return app.screen.query_one("#page").text


async def test_first_paint_shows_the_correction_and_keys(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        assert "STROKE 97  proposed" in shown(app)
        assert "a accept" in app.screen.query_one("#keys").text
        assert "guide" in shown(app)
        await pilot.press("z")
        assert "First time here" not in shown(app)


async def test_accept_is_stored_once_and_undone_by_a_further_event(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("a")
        await pilot.pause()
        assert drive.calls == [("accept",)]
        assert "STROKE 97  accepted" in shown(app) and "Stroke 97 accepted: 3.5 mm/m left" in shown(app)
        await pilot.press("a", "a")
        await pilot.pause()
        assert drive.calls == [("accept",)] and "Not stored: stroke 97 was accepted already" in shown(app)
        await pilot.press("u")
        await pilot.pause()
        assert drive.calls == [("accept",), ("undo_last",)]
        assert "STROKE 97  proposed" in shown(app)


async def test_what_readings_have_changed_since_is_accepted_anew(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("a")
        await pilot.pause()
        advice = drive.current.advice
        other = replace(advice, correction=replace(advice.correction, right_mm_per_m=-4.5))
        drive.put(replace(drive.current, advice=other, readings_used=1950))
        await app.look()
        await pilot.press("a")
        await pilot.pause()
        assert drive.calls == [("accept",)] * 2


async def test_nothing_to_accept_when_readings_stopped(make_app, clock):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        clock.move(16 * 60)
        await app.look()
        assert "NO PROPOSAL  Readings stopped" in shown(app)
        await pilot.press("a")
        await pilot.pause()
        assert drive.calls == []
        assert "no proposal to accept" in shown(app)


async def test_own_note_does_not_make_old_readings_new(make_app, clock):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        clock.move(16 * 60)
        drive.put(replace(drive.current, last_event_time="2026-03-04T09:57:00+00:00", log_sequence=1999))
        await app.look()
        assert "NO PROPOSAL  Readings stopped" in shown(app)


@pytest.mark.parametrize("told", [True, False])
async def test_new_readings_bring_the_proposal_back(make_app, clock, told):
    # A source tells when the newest reading arrived, or only how many there are.
    def extra(arrived):
        return {"last_reading_arrival": arrived} if told else {}

    drive = fake_drive.FakeDrive(replace(fake_drive.good(), extra=extra(fake_drive.ARRIVED)))
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        clock.move(16 * 60)
        await app.look()
        assert "NO PROPOSAL  Readings stopped" in shown(app)
        newer = extra("2026-03-04T09:57:20+00:00")
        drive.put(replace(fake_drive.good(97.0), readings_used=2000, extra=newer))
        await app.look()
        assert "STROKE 98  proposed" in shown(app)


@pytest.mark.parametrize("size", [(80, 24), (60, 20), (80, 12)])
@pytest.mark.parametrize("keys", ["a", "2r", "ln"])
async def test_why_nothing_was_stored_is_said_to_its_end(make_app, size, keys):
    """The longest refusal there is: what SQLite's "full" is said as, after the log's name."""
    from steer.log.trouble import plain_words

    drive = fake_drive.FakeDrive()

    def full(*_):
        with plain_words("willow/drive.db"):
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise error

    drive.accept = drive.note = drive.reject_shot = full
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press(*keys)
        if "n" in keys:
            await pilot.press("x", "enter", "escape")
        await pilot.pause()
        said = " ".join(" ".join(row.text for row in app.screen.query("Rows")).split())
        assert "Not stored:" in said and "make space and try again; what was stored before is safe" in said


@pytest.mark.parametrize("jump_s", [-7200.0, 7200.0])
async def test_a_clock_set_anew_changes_nothing(make_app, clock, jump_s):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        clock.wall_s += jump_s
        await app.look()
        assert "STROKE 97  proposed" in shown(app)


async def test_old_log_is_stale_from_the_start(make_app, clock):
    clock.wall_s += 86400.0 * 5
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        assert "NO PROPOSAL  Readings stopped" in shown(app) and "5 days ago" in shown(app)


async def test_a_clock_behind_the_log_hides_the_proposal_until_a_reading_comes(make_app, clock):
    clock.wall_s -= 3 * 3600
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        assert "NO PROPOSAL  Clock is behind" in shown(app)
        assert "clock is 2 h behind" in " ".join(shown(app).split()) and "LEFT 3.5" not in shown(app)
        newer = {"last_reading_arrival": "2026-03-04T06:43:00+00:00"}
        drive.put(replace(fake_drive.good(97.0), readings_used=2000, extra=newer))
        await app.look()
        assert "STROKE 98  proposed" in shown(app)


async def test_a_clock_some_minutes_behind_the_log_is_right_enough(make_app, clock):
    clock.wall_s -= 4 * 60
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        assert "STROKE 97  proposed" in shown(app)


@pytest.mark.parametrize("width", [60, 80, 120])
async def test_a_reading_of_another_day_has_its_date_in_the_head(make_app, clock, width):
    app = make_app()
    async with app.run_test(size=(width, 24)) as pilot:
        await ready(app, pilot)
        assert " 09:41 UTC" in shown(app).splitlines()[0] and "2026-03-04" not in shown(app)
        clock.wall_s += 15 * 3600  # past midnight
        await app.look()
        assert "2026-03-04 09:41 UTC" in shown(app).splitlines()[0]


@pytest.mark.parametrize(
    "trouble",
    [
        FolderUnusable("drive.db is gone"),
        OSError("drive.db is gone"),
        sqlite3.OperationalError("drive.db is gone"),
        ZeroDivisionError("drive.db is gone"),
    ],
    ids=lambda trouble: type(trouble).__name__,
)
async def test_log_out_of_reach_and_back(make_app, trouble):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        drive.trouble = trouble
        await app.look()
        assert "NO PROPOSAL  Log out of reach" in shown(app) and "drive.db is gone" in shown(app)
        drive.trouble = None
        await app.look()
        assert "STROKE 97  proposed" in shown(app)


async def test_follows_the_log_by_itself(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive, poll_s=0.02)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        drive.put(replace(fake_drive.good(97.0), readings_used=1950))
        await until(pilot, lambda: "STROKE 98  proposed" in shown(app))


async def test_nothing_is_painted_while_nothing_changes(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        painted = []
        page = app.screen.query_one("#page")
        page.refresh = lambda *regions, **_: painted.extend(regions or ["all"])
        for _ in range(5):
            await app.look()
        assert painted == []


async def test_stretch_and_scale(make_app):
    app = make_app()
    async with app.run_test(size=(120, 40)) as pilot:
        await ready(app, pilot)
        assert "limit 50 mm right" in shown(app)
        await pilot.press("z")
        assert "limit 50 mm right" not in shown(app) and "limit 50 mm" in shown(app)
        await pilot.press("z", "w", "w")
        assert "shaft" in shown(app).splitlines()[-3]


async def test_override_checks_limits_while_typing(make_app, clock):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await pilot.pause()
        problems = app.screen.query_one("#problems")
        meaning = app.screen.query_one("#meaning")
        await pilot.press(*"70 right")
        await pilot.pause()
        assert "! cylinder 1 would stand at" in str(problems.content)
        await pilot.press("enter", "enter")
        await pilot.pause()
        assert "the machine cannot be set so" in str(app.screen.query_one("#keys").content)
        clock.move(5.0)
        await pilot.press("enter")
        await pilot.pause()
        assert drive.calls == []
        await pilot.press("shift+tab", *"4,5 r")
        await pilot.pause()
        assert str(problems.content) == "" and "4.5 mm/m right" in str(meaning.content)
        await pilot.press("enter", *"down 1", "enter")
        await pilot.pause()
        await pilot.pause()
        assert drive.calls == [("override", 4.5, -1.0)]
        assert "own setting" in shown(app)


async def test_a_setting_beyond_a_limit_is_stored_by_who_says_so_again(make_app, clock):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o", *"22 right", "enter", "enter")
        await pilot.pause()
        keys, problems = app.screen.query_one("#keys"), app.screen.query_one("#problems")
        assert "Enter again a second later stores it" in str(keys.content)
        assert "line would change by 24.0 mm/m in one stroke; allowed are 10 mm/m" in str(problems.content)
        for _ in range(6):  # a key held down for three seconds
            await pilot.press("enter")
            await pilot.pause()
            clock.move(0.5)
        assert drive.calls == []
        clock.move(0.6)
        await pilot.press(*"12 up", "enter")  # another limit as well: asked for anew
        await pilot.pause()
        assert drive.calls == [] and "level would change" in str(problems.content)
        clock.move(1.1)
        await pilot.press("enter")
        await pilot.pause()
        await pilot.pause()
        assert drive.calls == [("override", 22.0, 12.0, "line_change", "level_change")]
        assert "12.0 mm/m up, beyond a limit. Key u" in shown(app)


async def test_override_says_what_enter_does_and_a_space_empties_no_line(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await pilot.pause()
        keys = app.screen.query_one("#keys")
        line, level = app.screen.query_one("#line"), app.screen.query_one("#level")
        was = line.value, level.value
        assert all(was)
        assert "Enter or Tab goes on to the level; nothing is stored yet" in str(keys.content)
        await pilot.press("space", "enter")
        await pilot.pause()
        assert app.focused is level and drive.calls == []
        assert "Enter stores both" in str(keys.content)
        await pilot.press("space", "space")
        await pilot.pause()
        assert (line.value, level.value) == was
        await pilot.press("shift+tab")
        await pilot.pause()
        assert "goes on" in str(keys.content)
        await pilot.press("tab", *"1 up", "enter")
        await pilot.pause()
        await pilot.pause()
        (call,) = drive.calls
        assert call[0] == "override" and call[2] == 1.0


@pytest.mark.parametrize(
    ("rows", "seen"),
    [
        (24, ("Type such as", "Cylinders 1:", "Then corrected")),
        (11, ("Type such as", "Cylinders 1:")),
        (10, ("Cylinders 1:",)),
    ],
)
async def test_override_says_how_far_out_it_leads_where_there_is_a_row_for_it(make_app, rows, seen):
    drive = fake_drive.FakeDrive()
    advice = drive.current.advice
    far = (
        replace(advice.forecast[0], line_mm=-31.4, level_mm=2.0, chainage_m=98.0),
        replace(advice.forecast[0], line_mm=12.0, level_mm=8.2, chainage_m=101.9),
    )
    drive.put(replace(drive.current, advice=replace(advice, forecast=far)))
    app = make_app(drive)
    async with app.run_test(size=(80, rows)) as pilot:
        await ready(app, pilot)
        await pilot.press("o", *"3 right")
        await until(pilot, lambda: "mm/m right" in str(app.screen.query_one("#meaning").content))
        text = screen_text(app)
        assert ("Then corrected, furthest 31 mm left at 98.0 m, 8 mm high at 101.9 m." in text) == (
            rows == 24
        )
        for part in ("Type such as", "Cylinders 1:", "Then corrected"):
            assert (part in text) == (part in seen), part
        await pilot.press("tab", "shift+tab", *"70 right")
        await until(pilot, lambda: "would stand" in str(app.screen.query_one("#problems").content))
        assert "Then corrected" not in screen_text(app)  # nobody can set that


async def test_override_can_be_left(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o", "escape")
        await pilot.pause()
        assert drive.calls == [] and "proposed" in shown(app)


async def test_note(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("n", "enter")
        await pilot.pause()
        assert drive.calls == []
        await pilot.press(*"wet sand", "enter")
        await pilot.pause()
        await pilot.pause()
        assert drive.calls == [("note", "wet sand")]
        assert "Note stored" in shown(app)


async def test_refused_by_the_drive_is_said(make_app):
    drive = fake_drive.FakeDrive()

    def full(*_):
        raise FolderUnusable("the disk is full")

    drive.accept = full
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("a")
        await pilot.pause()
        assert "Not stored: the disk is full" in shown(app) and "proposed" in shown(app)


async def test_every_palette_draws_and_no_color_has_one(make_app, monkeypatch):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        seen = []
        for _ in range(4):
            seen.append(app.palette_name)
            await pilot.press("c")
            await pilot.pause()
        assert seen == ["slate", "daylight", "night", "plain"] and app.palette_name == "slate"
    monkeypatch.setenv("NO_COLOR", "1")
    from tui.app import SteerApp

    plain = SteerApp(fake_drive.FakeDrive(), poll_s=3600.0)
    async with plain.run_test(size=(80, 24)) as pilot:
        await ready(plain, pilot)
        assert plain.palette_name == "plain"
        styles = {str(s.style) for line in plain.screen._compositor.render_strips() for s in line if s.style}
        assert not any("#" in style for style in styles)
        await pilot.press("c")
        assert plain.palette_name == "plain"


async def test_resized_live(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for size in ((120, 40), (200, 60), (60, 18), (80, 24)):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            assert len(shown(app).splitlines()) <= size[1] - 1
        assert "STROKE 97" in shown(app)


async def test_quit(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("q")
        await pilot.pause()
    assert app.return_code == 0


async def test_opens_after_the_first_paint(make_app):
    import threading

    gate = threading.Event()
    threads = []

    def opened():
        gate.wait(10)
        threads.append(threading.current_thread().name)
        return fake_drive.FakeDrive()

    app = make_app(opened, name="willow/lane")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "NO PROPOSAL  Opening" in shown(app) and "willow/lane" in shown(app)
        await pilot.press("a", "u")
        assert "still being read" in shown(app)
        gate.set()
        await until(pilot, lambda: "STROKE 97  proposed" in shown(app))
    assert threads and threads[0].startswith("drive")


async def test_refused_when_opening_ends_the_app_with_the_refusal(make_app):
    def opened():
        raise FolderUnusable("drive.toml: no such thing")

    app = make_app(opened, name="nowhere")
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: app.refusal is not None)
    assert str(app.refusal) == "drive.toml: no such thing" and app.refusal.exit_code == 3
