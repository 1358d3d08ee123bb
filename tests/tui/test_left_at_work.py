"""A box left with Esc while what it asked for is still at work: its end has no box to close."""

import argparse
import asyncio
import threading
from contextlib import asynccontextmanager
from dataclasses import replace
from types import SimpleNamespace

import fake_drive
import pytest
from kept import screen_text
from screen_pilot import ready, until
from test_other_screens import settle
from textual import events

from steer.cli import open as open_
from steer.errors import InputRefused
from tui.dialogs.ask_line import AskLineDialog
from tui.dialogs.note import NoteDialog
from tui.dialogs.override import OverrideDialog
from tui.dialogs.what_if import WhatIfDialog
from tui.draw.scene import Scene


@asynccontextmanager
async def at_work(app, taken):
    """The program with a box whose line is at work till the event given is set; it is `taken` then, or refused."""
    begun, go_on = asyncio.Event(), asyncio.Event()

    async def work(line: str) -> bool:
        begun.set()
        await go_on.wait()
        return taken

    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        box = AskLineDialog("A file", work, "shots.csv")
        await app.push_screen(box)
        box.query_one("#line").post_message(events.Key("enter", None))
        await begun.wait()
        yield pilot, box, go_on


async def test_esc_while_a_line_is_at_work_leaves_the_program_running(make_app):
    app = make_app()
    async with at_work(app, True) as (pilot, box, go_on):
        box.action_cancel()
        go_on.set()
        await settle(pilot)
        assert app.screen is app.screen_stack[0] and app.is_running


async def test_a_box_is_painted_while_what_it_asked_for_is_at_work(make_app):
    """On a slow machine nothing told that Enter had been heard: the box waited itself, and no message reached it."""
    app, heard = make_app(), asyncio.Event()
    async with at_work(app, False) as (pilot, box, go_on):
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


async def left_while(app, pilot, drive, method):
    """The shots page again, its box for a file left with Esc while the drive is at work; lets it go on."""
    await ready(app, pilot)
    await pilot.press("2", "f")
    await settle(pilot)
    begun, go_on = held(drive, method)
    await pilot.press(*"many.csv", "enter")
    assert await asyncio.to_thread(begun.wait, 30.0)
    await pilot.press("escape")
    await settle(pilot)
    return go_on


async def test_shots_being_read_are_told_of_on_every_page_and_how_it_ended_wherever_one_looks(
    make_app, clock
):
    drive = fake_drive.FakeDrive()
    many = [replace(drive.current.shots[0], number=n, chainage_m=0.1 * n) for n in range(200, 240)]

    def read_shots(path):
        drive.current = replace(drive.current, shots=(*many, *drive.current.shots))
        drive._store("read_shots", path)
        return "40 shots."

    drive.read_shots = read_shots
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        go_on = await left_while(app, pilot, drive, "read_shots")
        looked_at = app.screen.shot().number
        for key in ("2", "1", "3", "l", "2"):
            await pilot.press(key)
            await settle(pilot)
            said = " ".join(screen_text(app).split())
            assert "many.csv is being read and stored: not in these figures yet." in said, key
            assert "It advises" in said, key
        go_on.set()
        await until(pilot, lambda: "File read. 40 shots." in screen_text(app))
        assert "is being read" not in screen_text(app)
        assert app.screen.shot().number == looked_at  # where a key for a word would fall
        clock.move(30.0)
        await app.look()
        assert "File read. 40 shots." in screen_text(app)  # who left the box may look elsewhere


def test_who_quits_while_shots_are_read_is_told_that_they_are(monkeypatch, capsys):
    """The terminal stood empty until all was stored, and then the program ended without a word."""
    scene = Scene(None, at_work="many.csv is being read and stored")
    app = SimpleNamespace(
        run=lambda mouse: None, scene=scene, source=None, refusal=None, fault=False, return_code=0
    )
    monkeypatch.setattr(open_, "has_terminal", lambda: True)
    assert open_.show(lambda: None, argparse.Namespace(), "willow", make=lambda *given, **more: app) == 0
    told = capsys.readouterr().err
    assert "many.csv is being read and stored; that is finished first. `steer shots willow` lists" in told


async def test_a_file_whose_box_was_left_before_it_was_opened_is_not_read(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        go_on = await left_while(app, pilot, drive, "holds_sights")
        go_on.set()
        await until(pilot, lambda: "many.csv was not read: the box was left before." in screen_text(app))
        assert drive.calls == []


async def test_a_file_refused_after_its_box_was_left_is_said_to_be(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)

    def refuses(path):
        raise InputRefused([f"{path}: line 2: sd_mm: missing"])

    drive.read_shots = refuses
    async with app.run_test(size=(80, 24)) as pilot:
        go_on = await left_while(app, pilot, drive, "read_shots")
        go_on.set()
        await until(pilot, lambda: "Not stored: many.csv: line 2: sd_mm: missing" in screen_text(app))
        assert "is being read" not in screen_text(app)


async def test_a_word_while_shots_are_read_is_refused_and_holds_no_page_up(make_app):
    """It waited behind them, and every key after it, without a sign."""
    drive = fake_drive.FakeDrive()
    drive.read_shots = lambda path: drive._store("read_shots", path)
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        go_on = await left_while(app, pilot, drive, "read_shots")
        await pilot.press("r")
        await settle(pilot)
        said = " ".join(screen_text(app).split())
        assert "Not stored: many.csv is being read and stored; try again when that is done." in said
        await pilot.press("1")
        await settle(pilot)
        assert app.current_mode == "stroke"
        go_on.set()
        await until(pilot, lambda: "File read." in screen_text(app))
        await pilot.press("2", "r")
        await settle(pilot)
        assert [call[0] for call in drive.calls] == ["read_shots", "shot"]
