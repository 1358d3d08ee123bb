"""The console of Linux gets only what it knows: console_codes(4) for sequences, its fonts for characters."""

import re
from dataclasses import asdict
from types import SimpleNamespace

import pytest
from rich.style import Style
from test_palettes import contrast

from tui.draw.glyphs import CONSOLE
from tui.draw.palette import ROLES, named

SEQUENCE = re.compile(r"\x1b(?:\[(?P<numbers>[^@-~]*)(?P<end>[@-~])|(?P<odd>.))", re.DOTALL)
# console_codes(4) of man-pages 6.03, in its words: all that is sent of it.
PAGE = {
    "H": "Move cursor to the indicated row, column (origin at 1,1).",
    "2J": "erase whole display",
    "?7": "DECAWM (default on): Set autowrap on.",
    "?25": "DECTECM (default on): Make cursor visible.",
}
PAGE_LOOKS = {
    "0": "reset all attributes to their defaults",
    "1": "set bold",
    "4": "set underscore",
    "7": "set reverse video",
    "39": "set default foreground color",
    "49": "set default background color",
}
# Second screen, focus, marks of a paste. The page has no word on modes that are not on it; the kernel itself,
# set_mode() in drivers/tty/vt.c of Linux 6.1, has no branch for them and does nothing.
NOT_THERE = {"?1004", "?1049", "?2004"}
# What the font of the kernel has (code page 437), and the 456 of Debian's console-setup 1.221 but for 6 of Ethiopian
# letters and, for the dot, 5 of Asian Cyrillic. Half blocks are in 139 of them, and in none of Latin-1 (Lat15).
# The double line is in 450 of them, but 368 (Lat15 too) draw it as the single one: it cannot be told from an edge.
CONSOLE_GLYPHS = set("─│┌┐└┘█░±°·")


def check(sent: str) -> None:
    """That a console knows every sequence, and that none of them makes it hard to read."""
    for found in SEQUENCE.finditer(sent):
        assert found["odd"] is None, repr(found[0])
        numbers, end = found["numbers"], found["end"]
        if end in "hl":
            assert numbers in PAGE.keys() | NOT_THERE, repr(found[0])
        elif end == "m":
            looks = numbers.split(";")
            assert PAGE_LOOKS.keys() >= set(looks), repr(found[0])
            assert not {"1", "7"} <= set(looks), repr(found[0])
        elif end == "H":
            assert re.fullmatch(r"(\d+;\d+)?", numbers), repr(found[0])
        else:
            assert numbers + end in PAGE, repr(found[0])
    text = SEQUENCE.sub("", sent)
    assert not set(text) - {"\r", "\n"} & {chr(n) for n in [*range(32), 127, *range(128, 160)]}
    assert {c for c in text if ord(c) > 127} <= CONSOLE_GLYPHS


@pytest.mark.parametrize(
    "odd",
    [
        "\x1b]22;text\x07",
        "\x1b[>25u",
        "\x1b[<u",
        "\x1b[?2026$p",
        "\x1b[?2026h",
        "\x1b[97;40m",
        "\x1b[1;7m",
        "\x1b[2;3",
        "\x1b(0",
        "\x9b1m",
        "\u2580",
    ],
)
def test_the_check_tells_what_the_console_would_print(odd):
    check("text\x1b[?25l\x1b[2J\x1b[H\x1b[1;4;39;49mtext\x1b[0m\x1b[3;4H\u2588")
    with pytest.raises(AssertionError):
        check(f"text{odd}text")


def console_colours(bold: bool, underline: bool, reverse: bool) -> str:
    """A look in the console's colours, as build_attr() of vt.c in Linux 6.1 mixes them: grey on black; underlined is
    cyan; bold is bright, whatever the colour is then."""
    ink, paper = 3 if underline else 7, 0
    if reverse:
        ink, paper = paper, ink
    ink ^= 8 * bold
    names = []
    for colour in (ink, paper):  # bits: bright, red, green, blue
        names.append(
            "#" + "".join(f"{0xAA * (colour >> n & 1) + 0x55 * (colour >> 3):02x}" for n in (2, 1, 0))
        )
    return " on ".join(names)


def test_every_look_of_the_plain_palette_can_be_read_on_the_console():
    looks = [Style.parse(named("plain").style(role)) for role in ROLES] + [Style.parse("reverse underline")]
    for style in looks:
        colours = console_colours(bool(style.bold), bool(style.underline), bool(style.reverse))
        assert contrast(Style.parse(colours)) >= 4.5, style
    assert contrast(Style.parse(console_colours(True, False, True))) < 4.5  # why no look is both


def test_the_locale_decides_on_a_plain_terminal_only(monkeypatch):
    from steer.cli import open as open_command

    monkeypatch.setattr(open_command.sys, "stderr", SimpleNamespace(encoding="utf-8"))
    for name in ("LC_ALL", "LC_CTYPE", "STEER_ASCII"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LANG", "C")
    monkeypatch.setenv("LC_CTYPE", "C.UTF-8")  # as Python itself sets it
    for term, wanted in (("linux", True), ("vt220", True), ("xterm-256color", False), ("tmux", False)):
        monkeypatch.setenv("TERM", term)
        assert open_command._ascii_wanted() == wanted
    monkeypatch.setenv("TERM", "linux")
    monkeypatch.setenv("STEER_ASCII", "0")
    assert not open_command._ascii_wanted()
    monkeypatch.delenv("STEER_ASCII")
    for name in ("LC_ALL", "LANG"):
        monkeypatch.setenv(name, "nl_NL.utf8")
        assert not open_command._ascii_wanted()
        monkeypatch.delenv(name)
    assert open_command._ascii_wanted()  # no locale at all


@pytest.mark.parametrize(
    ("term", "colorterm", "few"),
    [("linux", "", True), ("xterm", "", True), ("xterm-256color", "", False), ("xterm", "truecolor", False)],
)
def test_few_colours_by_what_the_terminal_says_of_itself(monkeypatch, term, colorterm, few):
    from tui.plain_terminal import few_colours

    monkeypatch.setenv("TERM", term)
    monkeypatch.setenv("COLORTERM", colorterm)
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert few_colours() == few


def test_a_drawing_on_the_console_is_of_what_its_fonts_have():
    assert {c for c in "".join(map(str, asdict(CONSOLE).values())) if ord(c) > 127} <= CONSOLE_GLYPHS


async def test_what_a_consoles_fonts_lack_is_written_with_what_they_have(make_app):
    from screen_pilot import ready

    app = make_app(few_glyphs=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        app.say("Größe: 5 mm/m² …")
        assert "Größe: 5 mm/m2 ..." in app.screen.query_one("#page").text


async def test_with_few_colours_only_the_terminals_own_two(make_app):
    from screen_pilot import ready

    app = make_app(few_colours=True, palette="slate")
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in ("1", "2", "3", "l", "question_mark", "escape", "1", "c", "o"):
            await pilot.press(key)
            await pilot.pause()
            styles = [s.style for line in app.screen._compositor.render_strips() for s in line if s.style]
            colours = {c.name for style in styles for c in (style.color, style.bgcolor) if c is not None}
            assert colours <= {"default"}, key
            assert any(style.reverse for style in styles), key
            if key == "c":
                assert "This terminal has few colours" in app.screen.query_one("#page").text
    assert app.palette_name == "plain"
