"""A box left with Esc while what it asked for is still at work: its end has no box to close."""

import asyncio

from screen_pilot import ready
from test_other_screens import settle
from textual import events

from tui.dialogs.ask_line import AskLineDialog


async def test_esc_while_a_file_is_read_leaves_the_program_running(make_app):
    begun, go_on = asyncio.Event(), asyncio.Event()

    async def work(line: str) -> bool:
        begun.set()
        await go_on.wait()
        return True

    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        front = app.screen
        box = AskLineDialog("A file", work, "shots.csv")
        await app.push_screen(box)
        box.query_one("#line").post_message(events.Key("enter", None))
        await begun.wait()
        box.action_cancel()
        go_on.set()
        await settle(pilot)
        assert app.screen is front and app.is_running
