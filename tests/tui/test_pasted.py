"""What is pasted is text: in its order, as far as it fits, and nothing in it is a key."""

import fake_drive
import pytest
from screen_pilot import ready, until
from test_other_screens import screen_text, settle
from textual import events
from textual.drivers import linux_driver

from tui.pasted import PasteParser, install

NOTE = "first line\x1b[31m second\rthird \x1b and last\r"
WHOLE = f"a\x1b[200~{NOTE}\x1b[201~z"


def told(pieces) -> tuple[str, list[str]]:
    """What a terminal's bytes come to: the pasted text, and the keys."""
    parser = PasteParser()
    found = [event for piece in pieces for event in parser.feed(piece)]
    pasted = "".join(event.text for event in found if isinstance(event, events.Paste))
    return pasted, [event.key for event in found if isinstance(event, events.Key)]


@pytest.mark.parametrize("size", range(1, len(WHOLE) + 1))
def test_a_paste_is_one_text_however_it_arrives(size):
    pieces = [WHOLE[n : n + size] for n in range(0, len(WHOLE), size)]
    pasted, keys = told(pieces)
    assert keys == ["a", "z"]
    assert pasted.split() == NOTE.replace("\x1b", " ").split()


def test_keys_outside_of_a_paste_are_what_they_were():
    assert told(["\x1b[A", "q", "\r", "\x1b[200~x\x1b[201~", "\x1b[B"]) == ("x", ["up", "q", "enter", "down"])


async def test_of_a_long_paste_what_fits_is_taken_and_the_rest_told_of(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("n", *"wet ")
        line = app.screen.query_one("#text")
        line.post_message(events.Paste("one\ntwo " + "x" * 600))
        await until(pilot, lambda: len(line.value) == 500)
        said = str(app.screen.query_one("#said").content)
        assert "500 characters at most: the last 112 of the paste are left out" in said
        await pilot.press("y")
        await settle(pilot)
        assert "no more is taken" in str(app.screen.query_one("#said").content) and drive.calls == []
        await pilot.press("enter")
        await until(pilot, lambda: drive.calls)
        (call,) = drive.calls
        assert call[1].startswith("wet one two xxx") and len(call[1]) == 500


async def test_a_paste_takes_the_place_of_what_is_selected(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "f", *"abc", "shift+left", "shift+left")
        line = app.screen.query_one("#line")
        line.post_message(events.Paste(" monday.csv\n"))
        await until(pilot, lambda: line.value == "amonday.csv")


async def test_a_shot_that_counts_is_not_accepted_again(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "a")
        await settle(pilot)
        assert "Shot 3 counts already" in screen_text(app) and drive.calls == []


def test_a_byte_of_another_character_set_is_shown_and_ends_nothing():
    """As a terminal that is set to Latin-1 sends it; the rest of the line is read."""
    install()
    decoder = linux_driver.getincrementaldecoder("utf-8")()
    assert (
        decoder.decode(b"fr\xe4v") + decoder.decode(b"el \xc3") + decoder.decode(b"\xa4")
        == "fr\ufffdvel \u00e4"
    )
    assert decoder.decode(b"\xe4", final=True) == "\ufffd"
