"""What goes over the line: only what changed, and it makes the screen what it should be."""

import re
from dataclasses import replace

import fake_drive
import pytest
from screen_pilot import ready, until

MOVE_OR_LOOK = re.compile(r"\x1b\[(\d+);(\d+)H|\x1b\[[\d;]*m")


@pytest.fixture
def sent(monkeypatch) -> list[str]:
    """What a terminal gets of partial updates, one text each."""
    from rich.console import Console

    from tui.widgets.narrow import NarrowCompositor

    texts: list[str] = []
    terminal = Console(force_terminal=True, color_system="truecolor")
    update_of = NarrowCompositor.render_partial_update

    def kept(compositor):
        update = update_of(compositor)
        if update is not None:
            texts.append(update.render_segments(terminal))
        return update

    monkeypatch.setattr(NarrowCompositor, "render_partial_update", kept)
    return texts


def terminal_rows(app) -> list[str]:
    return [strip.text for strip in app.screen._compositor.render_strips()]


def written(rows: list[str], text: str) -> tuple[list[str], int]:
    """Rows after a terminal of single-width cells took a text, and how many cells it wrote."""
    grid = [list(row) for row in rows]
    row = column = cells = place = 0
    for found in [*MOVE_OR_LOOK.finditer(text), None]:
        for character in text[place : found.start() if found else len(text)]:
            grid[row][column] = character
            column, cells = column + 1, cells + 1
        if found and found[1]:
            row, column = int(found[1]) - 1, int(found[2]) - 1
        place = found.end() if found else len(text)
    return ["".join(line) for line in grid], cells


async def sent_for(app, pilot, sent, change) -> int:
    """Cells sent for a change; fails when the terminal would show anything but the screen."""
    before = terminal_rows(app)
    sent.clear()
    await change()
    await pilot.pause()
    after, cells = written(before, "".join(sent))
    assert after == terminal_rows(app) != before
    return cells


async def test_a_small_change_sends_few_cells(make_app, sent):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        advice = replace(drive.current.advice, cylinder_now_mm=(37.0, 38.0, 36.0, 34.0))
        drive.put(replace(drive.current, advice=advice))
        assert await sent_for(app, pilot, sent, app.look) < 30


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
async def test_a_stroke_sends_less_than_half_the_screen_and_other_keys_what_they_change(make_app, sent, size):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("z", "z")  # the greeting goes
        drive.put(fake_drive.good(97.0))
        assert await sent_for(app, pilot, sent, app.look) < size[0] * size[1] / 2
        for key in ("z", "w", "a", "u"):
            await sent_for(app, pilot, sent, lambda key=key: pilot.press(key))


async def test_a_look_that_brings_nothing_draws_nothing(make_app, clock, monkeypatch):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        drawn = []
        monkeypatch.setattr(app.screen, "scene_changed", lambda: drawn.append("again"))
        for _ in range(50):
            clock.move(1.0)
            await app.look()
        assert drawn == []
        clock.move(900.0)  # now the readings have stopped
        await app.look()
        assert drawn == ["again"]


async def test_a_terminal_that_is_as_large_again_as_it_was_gets_every_row(make_app, monkeypatch):
    """Made smaller and large again while a key was at work: its rows are lost, and the size tells nothing."""
    from rich.console import Console
    from textual import events
    from textual.geometry import Size

    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.pause()
        updates = []
        monkeypatch.setattr(app, "_display", lambda screen, update: updates.append(update))
        app.post_message(events.Resize(Size(80, 24), Size(80, 24)))
        await until(pilot, lambda: any(updates))
        text = "".join(u.render_segments(Console(force_terminal=True)) for u in updates if u)
        rows, cells = written([" " * 80] * 24, text.replace("\n", ""))
        assert rows == terminal_rows(app) and cells >= 80 * 24
