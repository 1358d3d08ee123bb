"""What is said at the foot belongs to the screen and to the stroke it was said of; so does what a shot's word changed."""

from dataclasses import replace

import fake_drive
import pytest
from screen_pilot import ready, until
from test_other_screens import screen_text, settle


def stroke_on(drive) -> None:
    """Another process ends the stroke."""
    advice = drive.current.advice
    drive.put(replace(drive.current, advice=replace(advice, stroke=advice.stroke + 1)))


async def test_an_answer_stays_behind_on_the_screen_where_it_was_given(make_app):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "a")
        await until(pilot, lambda: "is accepted. Key u takes that back" in screen_text(app))
        await pilot.press("1")
        await settle(pilot)
        assert "Key u" not in screen_text(app) and "It advises" in screen_text(app)
        await app.look()
        await pilot.press("2")
        await settle(pilot)
        assert "is accepted. Key u" not in screen_text(app)


async def test_an_answer_goes_with_the_stroke_that_it_speaks_of(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("a")
        await until(pilot, lambda: "Stroke 97 accepted: " in screen_text(app))
        drive.put(replace(drive.current, readings_used=drive.current.readings_used + 1))
        await app.look()
        await settle(pilot)
        assert "Stroke 97 accepted: " in screen_text(app)
        stroke_on(drive)
        await app.look()
        await settle(pilot)
        assert "STROKE 98" in screen_text(app) and "Stroke 97 accepted" not in screen_text(app)


async def test_colours_are_of_no_stroke(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("c")
        stroke_on(drive)
        await app.look()
        await settle(pilot)
        assert "Colours:" in screen_text(app)


@pytest.mark.parametrize(("screen", "keys"), [("1", "Key u takes"), ("l", "Keys 1 and u take")])
async def test_a_note_says_the_keys_that_take_it_back_from_here(make_app, screen, keys):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press(screen, "n", *"wet", "enter")
        await until(pilot, lambda: f"Note stored. {keys} it back" in screen_text(app))


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        (("f", "f"), "Not seen here, where advised are shown: key f."),
        (("slash", *"sand", "enter"), "Not seen here, where 'sand' is searched for: key /."),
        (("f",), ""),
    ],
)
async def test_a_note_that_the_log_does_not_show_is_said_to_be_there(make_app, keys, why):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l", *keys)
        await pilot.press("n", *"wet", "enter")
        await until(pilot, lambda: "Note stored." in screen_text(app))
        seen = " ".join(screen_text(app).split())
        assert (why in seen) if why else "Not seen" not in seen


async def test_what_a_word_changed_is_said_under_its_shot_and_until_more_comes_in(make_app):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "x")
        await until(pilot, lambda: "The face stays" in screen_text(app))
        await pilot.press("up")
        await settle(pilot)
        assert "Shot 2," in screen_text(app) and "The face stays" not in screen_text(app)
        await pilot.press("down")
        await until(pilot, lambda: "The face stays" in screen_text(app))
        advice = drive.current.advice
        moved = replace(advice, estimate=replace(advice.estimate, line_mm=-40.0))
        drive.put(replace(drive.current, advice=moved, log_sequence=drive.current.log_sequence + 1))
        await app.look()
        await settle(pilot)
        assert "40 mm left" in screen_text(app) and "The face stays" not in screen_text(app)


@pytest.mark.parametrize("moved", [(), ("up",)], ids=["at the newest", "further up"])
async def test_the_cursor_stays_on_its_shot_when_others_come_in(make_app, moved):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", *moved)
        await settle(pilot)
        shot = app.screen.shot()
        late = (replace(shot, number=77, chainage_m=1.0), replace(shot, number=78, chainage_m=95.9))
        shots = sorted((*drive.current.shots, *late), key=lambda one: one.chainage_m)
        drive.put(replace(drive.current, shots=tuple(shots)))
        await app.look()
        await settle(pilot)
        assert f"Shot {shot.number}," in screen_text(app)
        (row,) = (line for line in screen_text(app).splitlines() if line.startswith(">"))
        assert row.split()[0].strip(">!?x") in ("", str(shot.number)) and f"{shot.chainage_m:.2f}" in row
        await pilot.press("x")
        await settle(pilot)
        assert drive.calls == [("shot", shot.number, "withdrawn")]


async def test_the_cursor_stays_on_its_pipe_when_the_account_is_worked_out_anew(make_app):
    drive = fake_drive.FakeDrive()
    whole = drive.asbuilt()
    drive.asbuilt = lambda: replace(whole, pipes=whole.pipes[3:])
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await until(pilot, lambda: "no pipe" not in screen_text(app) and ">" in screen_text(app))
        await pilot.press("down")
        drive.asbuilt = lambda: whole
        drive.put(replace(drive.current, log_sequence=drive.current.log_sequence + 1))
        await app.look()
        await pilot.press("r")
        await until(pilot, lambda: app.screen.built is whole)
        await settle(pilot)
        (row,) = (line for line in screen_text(app).splitlines() if line.startswith(">"))
        assert row[1:].split()[0] == str(whole.pipes[4].number)


async def test_the_cursor_stays_on_its_sight_when_rows_change_places(make_app):
    from test_reduction_screen import opened

    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(app, pilot)
        assert app.screen.sight().row == 5
        reduced = app.screen.reduced
        app.screen.reduced = replace(reduced, sights=tuple(reversed(reduced.sights)))
        assert app.screen.sight().row == 5
