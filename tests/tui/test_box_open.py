"""While a box for typing is open the page behind it goes on, and what it shows is what it stores."""

from dataclasses import replace

import fake_drive
import pytest
from kept import screen_text
from screen_pilot import ready, until

from steer.advice import Notice


def later(snapshot, face_m=97.4, notices=()):
    """A stroke's readings further on."""
    advice = replace(snapshot.advice, chainage_m=face_m, notices=notices)
    return replace(snapshot, advice=advice, log_sequence=snapshot.log_sequence + 9, readings_used=1930)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("keys", ["n", "o"])
async def test_readings_and_notices_that_come_in_are_shown_behind_it(make_app, size, keys):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press(keys)
        await pilot.pause()
        assert "face 96.00 m" in screen_text(app)
        drive.put(later(drive.current, notices=(Notice("beam_lost", "The beam is lost.", 97.0),)))
        await app.look()
        await until(pilot, lambda: "face 97.40 m" in screen_text(app))
        await until(pilot, lambda: "! 1 notice, Esc, key l: The beam is lost." in screen_text(app))


@pytest.mark.parametrize("keys", [("n",), ("o",), ("l", "slash"), ("2", "f")])
async def test_that_readings_stopped_is_said_with_a_box_open(make_app, clock, keys):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in keys:
            await pilot.press(key)
            await pilot.pause()
        assert "Readings stopped" not in screen_text(app)
        clock.move(1300.0)
        await app.look()
        await until(pilot, lambda: "Readings stopped 21 min ago" in screen_text(app))
        if keys[0] in "no":
            assert "NO PROPOSAL" in screen_text(app) and "LEFT" not in screen_text(app)


def moved_on(drive):
    """The machine rolled: the same setting takes other cylinders."""
    first = drive.try_setting

    def tried(right_mm_per_m, up_mm_per_m):
        made = first(right_mm_per_m, up_mm_per_m)
        return replace(made, cylinder_mm=tuple(mm + 0.5 for mm in made.cylinder_mm))

    drive.try_setting = tried
    drive.put(later(drive.current))


async def test_other_cylinders_than_were_shown_are_shown_before_they_are_stored(make_app, clock):
    drive = fake_drive.FakeDrive()
    stored = []
    drive.override = lambda right, up, shown, shown_mm, despite: stored.append(shown_mm)
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await pilot.pause()
        await pilot.press(*"4 left", "enter", *"3 down")
        await pilot.pause()
        box = app.screen
        meaning, keys = box.query_one("#meaning"), box.query_one("#keys")
        shown = str(meaning.content)
        moved_on(drive)
        # not looked at yet: the key's own look finds it
        await pilot.press("enter")
        await until(pilot, lambda: "changed the cylinders just now" in str(keys.content))
        assert stored == [] and str(meaning.content) != shown
        await pilot.press("enter")  # at once: nobody has looked
        await pilot.pause()
        assert stored == []
        clock.move(1.1)
        await pilot.press("enter")
        await until(pilot, lambda: stored)
        assert all(f"{mm:.1f}" in str(meaning.content) for mm in stored[0])
        await until(pilot, lambda: "Stored: your own setting, 4.0 mm/m left" in screen_text(app))


async def test_cylinders_follow_readings_while_the_box_is_open(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await pilot.pause()
        meaning = app.screen.query_one("#meaning")
        shown = str(meaning.content)
        moved_on(drive)
        await app.look()
        await until(pilot, lambda: str(meaning.content) != shown)


@pytest.mark.parametrize("stroke", [97, 95], ids=["ended", "counted anew"])
@pytest.mark.parametrize("typed", [(), ("x", "tab", "y")], ids=["as it was", "no setting"])
async def test_a_stroke_that_is_no_longer_the_coming_one_is_said_in_the_box(make_app, stroke, typed):
    """It may have ended, or a counter put right had the strokes counted anew."""
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o", *typed)
        await pilot.pause()
        assert "Enter" in str(app.screen.query_one("#keys").content)
        first = drive.current
        now = later(first)
        drive.put(replace(now, advice=replace(now.advice, stroke=stroke)))
        await app.look()
        await until(pilot, lambda: f"The coming stroke is {stroke + 1} by now, not 97" in screen_text(app))
        assert "ended" not in screen_text(app)
        assert str(app.screen.query_one("#keys").content) == "Nothing is stored any more. Esc leaves."
        await pilot.press("shift+tab")
        assert str(app.screen.query_one("#keys").content) == "Nothing is stored any more. Esc leaves."
        await pilot.press("enter", "enter")
        await pilot.pause()
        assert drive.calls == []
        drive.put(replace(first, log_sequence=5000))  # the counter is put right once more
        await app.look()
        await until(pilot, lambda: "Enter" in str(app.screen.query_one("#keys").content))


@pytest.mark.parametrize("size", [(46, 12), (80, 12), (120, 15)], ids=["46x12", "80x12", "120x15"])
@pytest.mark.parametrize("keys", [("n",), ("o",), ("l", "slash"), ("2", "f")])
@pytest.mark.parametrize("ascii_only", [False, True])
async def test_where_a_box_has_no_row_for_them_its_frame_says_that_notices_stand(
    make_app, clock, size, keys, ascii_only
):
    drive = fake_drive.FakeDrive()
    app = make_app(drive, ascii_only=ascii_only)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        for key in keys:
            await pilot.press(key)
            await pilot.pause()
        box = app.screen.query_one("#box")
        assert "!" not in screen_text(app) and "leave" in screen_text(app)

        def framed(said):
            text = screen_text(app)
            return f"{'+-' if ascii_only else '┌─'} {said}" in text and "leave" in text

        drive.put(later(drive.current, notices=(Notice("beam_lost", "The beam is lost.", 97.0),)))
        await app.look()
        await until(pilot, lambda: framed("! 1 notice, Esc, key l"))
        clock.move(1300.0)
        await app.look()
        await until(pilot, lambda: framed("! Readings stopped, 1 notice"))
        assert "…" not in box.border_title
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: "Readings stopped 21 min ago" in screen_text(app))
        assert not box.border_title and "The beam is lost." in screen_text(app)
