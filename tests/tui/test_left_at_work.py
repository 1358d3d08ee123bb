"""A box left with Esc while what it asked for is still at work: its end has no box to close."""

import asyncio
import threading

import fake_drive
import pytest
from screen_pilot import ready
from test_other_screens import settle
from textual import events

from tui.dialogs.ask_line import AskLineDialog
from tui.dialogs.note import NoteDialog
from tui.dialogs.override import OverrideDialog
from tui.dialogs.what_if import WhatIfDialog


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


async def test_a_box_is_painted_while_what_it_asked_for_is_at_work(make_app):
    """On a slow machine nothing told that Enter had been heard: the box waited itself, and no message reached it."""
    begun, go_on, heard = asyncio.Event(), asyncio.Event(), asyncio.Event()

    async def work(line: str) -> bool:
        begun.set()
        await go_on.wait()
        return False

    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        box = AskLineDialog("A file", work, "shots.csv")
        await app.push_screen(box)
        box.query_one("#line").post_message(events.Key("enter", None))
        await begun.wait()
        box.call_later(heard.set)
        await asyncio.wait_for(heard.wait(), 20.0)
        assert "One moment." in str(box.query_one("#said").content)
        go_on.set()
        await settle(pilot)
        assert app.screen is box and "One moment." not in str(box.query_one("#said").content)


def held(drive, method):
    """The drive's method, which begins and then waits to be let go on."""
    begun, go_on = threading.Event(), threading.Event()
    does = getattr(drive, method)

    def work(*given):
        begun.set()
        assert go_on.wait(60.0)
        return does(*given)

    setattr(drive, method, work)
    return begun, go_on


@pytest.mark.parametrize(
    ("box", "lines", "method", "stored"),
    [
        (lambda app: NoteDialog(), {"text": "loose stones"}, "note", True),
        (lambda app: OverrideDialog(app.scene), {"line": "4 left", "level": "3 down"}, "override", True),
        (lambda app: OverrideDialog(app.scene), {"line": "4 left", "level": "3 down"}, "try_setting", False),
        (lambda app: WhatIfDialog(5.4), {"text": "tolerance.line_mm=30"}, "check_what_if", False),
    ],
    ids=["note", "own setting stored", "own setting tried", "what if"],
)
async def test_esc_while_the_drive_is_at_work_leaves_the_program_running(
    make_app, box, lines, method, stored
):
    drive = fake_drive.FakeDrive()
    came = []
    drive.note = came.append
    drive.override = lambda *given: came.append(given)
    drive.check_what_if = lambda text: None
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        front, dialog = app.screen, box(app)
        await app.push_screen(dialog)
        for name, text in lines.items():
            field = dialog.query_one(f"#{name}")
            field.focus()
            field.value = text
            await pilot.pause()
        begun, go_on = held(drive, method)
        await field.action_submit()
        assert await asyncio.to_thread(begun.wait, 30.0)
        dialog.action_cancel()
        go_on.set()
        await app.desk.do(lambda: None)  # after what was held
        await settle(pilot)
        assert app.screen is front
        assert bool(came) == stored
    assert app._exception is None
