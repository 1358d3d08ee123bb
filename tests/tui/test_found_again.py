"""Small things that a person looks for: a way back, a hit, a limit, the notices, a key that does what it says."""

from dataclasses import replace

import fake_drive
import pytest
from kept import screen_text
from screen_pilot import ready, until
from test_other_screens import settle
from test_reduction_screen import opened
from textual import events


@pytest.mark.parametrize("key", ["2", "3", "l"])
async def test_esc_goes_back_to_the_stroke(make_app, key):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press(key)
        await settle(pilot)
        assert "STROKE 97" not in screen_text(app)
        await pilot.press("escape")
        await settle(pilot)
        assert "STROKE 97" in screen_text(app)


async def test_a_search_without_a_hit_says_so(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l", "slash", *"gravel", "enter")
        await settle(pilot)
        assert "No line of all but readings holds 'gravel'" in screen_text(app)


async def test_notices_are_counted_without_the_row_above_them(make_app, clock):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(80, 40)) as pilot:
        await ready(app, pilot)
        clock.move(1300.0)
        await pilot.press("l")
        await app.look()
        await settle(pilot)
        rows = screen_text(app).splitlines()
        at = next(n for n, row in enumerate(rows) if "NOTICES  3 when" in row)
        assert any("Readings stopped" in row for row in rows[:at])
        assert sum(row.startswith(" !") for row in rows) == 3


def test_an_event_is_named_as_the_command_names_it():
    from tui.draw.log_page import line_of

    event = fake_drive.Logged(9, fake_drive.ARRIVED, "chainage_set", {"add_m": 0.5, "from_sequence": 2906})
    assert "from event 2906" in line_of(event).text and "sequence" not in line_of(event).text


@pytest.mark.parametrize(
    ("text", "fields", "said"),
    [
        ("3.5 left\n12 up\n", ("3.5 left", "12 up"), None),
        ("3.5 left", ("3.5 left", None), None),
        ("3.5 left\n12 up\n1 down", ("2.0 left", "0.8 up"), "Nothing pasted: 3 lines, and a setting has two"),
        ("line\n3.5 left\n\n12 up", ("2.0 left", "0.8 up"), "Nothing pasted: 3 lines"),
        (
            "3.5 left and then some more of it\n12 up",
            ("3.5 left and then so", "12 up"),
            "first 20 characters",
        ),
    ],
)
async def test_what_is_pasted_into_an_own_setting_fills_both_lines_or_says_so(make_app, text, fields, said):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await settle(pilot)
        app.screen.focused.post_message(events.Paste(text))
        await settle(pilot)
        for plane, value in zip(("line", "level"), fields, strict=True):
            if value is not None:
                assert app.screen.query_one(f"#{plane}").value == value
        if said:
            await until(pilot, lambda: said in str(app.screen.query_one("#keys").content))


async def test_a_notes_limit_is_said_before_it_is_reached(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("n")
        await settle(pilot)
        assert "500 characters at most" in screen_text(app)
        assert app.screen.query_one("#text").max_length == 500


@pytest.mark.parametrize("keys", [("question_mark",), ("g",), ("2", "question_mark")])
async def test_notices_are_said_over_help_and_guide(make_app, keys):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press(*keys)
        await settle(pilot)
        assert "! 3 notices, Esc, key l: The spot jumped" in screen_text(app)


async def test_the_reduction_says_notices_and_offers_the_key_that_stores(make_app):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(120, 24)) as pilot:
        await opened(app, pilot)
        assert "! 3 notices, Esc, key l: The spot jumped" in screen_text(app)
        keys = screen_text(app).splitlines()[-1]
        assert "S store all the same" in keys and "s store " not in keys
        await pilot.press("s")
        await settle(pilot)
        assert "key S stores it with a larger sd" in screen_text(app)
        await pilot.press("x")
        await settle(pilot)
        keys = screen_text(app).splitlines()[-1]
        assert "s store" in keys and "S store" not in keys


async def test_a_page_of_one_row_still_marks_notices(make_app):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(20, 5)) as pilot:
        await ready(app, pilot)
        await pilot.press("2")
        await settle(pilot)
        assert "! 3: l" in screen_text(app)


def test_the_demo_says_for_itself_when_readings_stop():
    import argparse

    from steer.cli import demo
    from steer.cli import open as open_command

    parser = argparse.ArgumentParser()
    demo.add_arguments(parser)
    assert "default 0: never" in " ".join(parser.format_help().split())
    parser = argparse.ArgumentParser()
    open_command.add_arguments(parser)
    assert "default 15" in " ".join(parser.format_help().split())


@pytest.mark.parametrize(("width", "said"), [(100, "eye over 99 %"), (120, "inside the eye over 99 %")])
def test_the_chance_of_the_eye_is_said_at_100_columns(width, said, monkeypatch):
    from test_stroke_page import page

    far = fake_drive.good()
    advice = replace(far.advice, chainage_m=121.25, stroke=121, eye_probability=0.999, next_survey_m=145.0)
    far = replace(far, advice=advice, end_chainage_m=252.5, path=fake_drive.path(121.25))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: far)
    assert said in page("good", width, 39)


@pytest.mark.parametrize("state", ["good", "warning"])
def test_no_figure_beside_a_narrow_strip_loses_its_end(state):
    from test_stroke_page import page

    text = page(state, 50, 60)
    rows = [row.split("│")[0].strip() for row in text.splitlines() if "│" in row]
    side = "50 mm right" if state == "warning" else "12 mm left"
    assert side in rows and any(row.startswith("± ") and row.endswith(" mm") for row in rows)
    assert "nose left 0.8" in rows and "nose up 0.2" in rows and "8 mm high ± 3" in rows


def test_of_two_curves_the_one_further_right_has_its_words_above_and_its_mark():
    from test_stroke_page import page

    text = page("warning", 80, 23, ascii_only=True)
    rows = text.splitlines()
    without, with_it = (next(n for n, row in enumerate(rows) if s in row) for s in ("without 76", "with 20"))
    assert without < with_it and "^" in rows[without]


async def test_the_log_says_of_which_year_and_zone_its_times_are(make_app):
    drive = fake_drive.FakeDrive()
    first, last = (
        fake_drive.Logged(n, f"{2030 + n}-03-04T09:41:20+00:00", "note", {"text": "x"}) for n in (1, 2)
    )
    drive.events = lambda after=0: (event for event in (first, last) if event.sequence > after)
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await until(pilot, lambda: "2 lines" in screen_text(app))
        assert "stored 2031 to 2032, UTC" in screen_text(app)


@pytest.mark.parametrize("size", [(80, 24), (80, 14), (46, 12)], ids=["80x24", "80x14", "46x12"])
async def test_who_looks_for_refused_readings_finds_them_beside_the_log_s_lines(make_app, size):
    app = make_app()
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await until(pilot, lambda: "check shot" in screen_text(app))
        words = " ".join(screen_text(app).split())
        told = f"1,907 readings used, 12 refused; {fake_drive.LATELY}" in words
        assert told or size[1] < 14
        assert app.screen.query_one("#list").size.height >= 3
