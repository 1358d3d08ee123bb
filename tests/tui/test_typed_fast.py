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
