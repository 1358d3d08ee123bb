"""Keys that come in faster than they are handled, as on a slow link, act in the order of typing."""

import pytest
from screen_pilot import ready, until
from test_other_screens import settle
from textual import events


@pytest.mark.parametrize("keys", [("o",), ("n",), ("l", "slash"), ("2", "f")])
async def test_backspace_takes_the_letter_typed_before_it(make_app, keys):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press(*keys)
        await until(pilot, lambda: app.screen.query("Input"))
        line = app.screen.focused
        await pilot.press(*"78")
        for key, letter in (("backspace", None), ("full_stop", "."), ("5", "5"), ("home", None), ("1", "1")):
            app.post_message(events.Key(key, letter))
        await until(pilot, lambda: len(line.value) == 4)
        await settle(pilot)
        assert line.value == "17.5"


@pytest.mark.parametrize("on", ["enter", "tab"])
async def test_a_setting_that_comes_in_one_piece_stands_in_its_two_lines(make_app, on):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await until(pilot, lambda: app.screen.query("Input"))
        letters = {" ": "space", ".": "full_stop"}
        keys = (
            [(letters.get(c, c), c) for c in "9 left"]
            + [(on, None)]
            + [(letters.get(c, c), c) for c in "8 down"]
        )
        for key, letter in [*keys, ("shift+tab", None), ("end", None), ("x", "x")]:
            app.post_message(events.Key(key, letter))
        line, level = app.screen.query_one("#line"), app.screen.query_one("#level")
        await until(pilot, lambda: line.value.endswith("x"))
        await settle(pilot)
        assert (line.value, level.value) == ("9 leftx", "8 down")


async def test_a_setting_typed_with_its_key_and_tab_goes_on_in_the_level(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in ("o", *"7l", "tab"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: app.screen.query("Input") and app.screen.query_one("#line").value == "7l")
        await settle(pilot)
        for key in "48":
            app.post_message(events.Key(key, key))
        await settle(pilot)
        assert (app.screen.query_one("#line").value, app.screen.query_one("#level").value) == ("7l", "48")


async def test_letters_after_enter_are_no_part_of_a_note_and_enter_held_down_stores_it_once(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in ("n", *"ok", "enter", "l", "enter", "enter"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: ("note", "ok") in app.source.calls or app.screen.query("Input"))
        await until(pilot, lambda: not app.screen.query("Input"))
        await settle(pilot)
        assert [call for call in app.source.calls if call[0] == "note"] == [("note", "ok")]


async def test_letters_after_enter_are_not_searched_for(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in ("l", "slash", *"ab", "enter", "f", "enter"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: getattr(app.screen, "search", ""))
        await settle(pilot)
        assert app.screen.search == "ab"


@pytest.mark.parametrize("keys", [("o",), ("n",), ("l", "slash"), ("2", "f")])
async def test_letters_that_come_in_one_piece_with_the_key_of_a_box_stand_in_it(make_app, keys):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in (*keys, *"48l"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: app.screen.focused is not None)
        await settle(pilot)
        assert app.screen.focused.value == "48l"


async def test_what_is_typed_ahead_while_a_replay_is_wound_stands_in_the_box_for_what_if():
    from fake_practice import FakeReplay

    from tui.replay import ReplayApp

    app = ReplayApp(FakeReplay(0), stale_minutes=0.0, poll_s=3600.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in ("right", "right", "f", *"plf"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: app.screen.query("#text"))
        await until(pilot, lambda: app.screen.query_one("#text").value == "plf")
        assert app.source.number == 2
