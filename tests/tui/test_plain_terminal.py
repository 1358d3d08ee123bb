"""The console of Linux gets only what it knows: console_codes(4) for sequences, code page 437 for characters."""

import re
from types import SimpleNamespace

import pytest
from test_terminal import Terminal, sample, steer  # noqa: F401 - a fixture

SEQUENCE = re.compile(
    r"\x1b(?:\[(?P<start>[<=>?]?)(?P<numbers>[\d;]*)(?P<between>[ -/]*)(?P<end>[@-~])|(?P<odd>.))"
)
# Of console_codes(4): ECMA-48 SGR without the bright colours, cursor, erase; modes of DEC's own, of which the
# console knows some and drops the others.
LOOKS = {0, 1, 4, 7, 22, 24, 27, *range(30, 38), 39, *range(40, 48), 49}


def check(sent: str) -> None:
    for found in SEQUENCE.finditer(sent):
        assert found["odd"] is None and not found["between"], repr(found[0])
        numbers = [int(n or 0) for n in found["numbers"].split(";")]
        if found["end"] in "hl":
            assert found["start"] == "?", repr(found[0])
        elif found["end"] == "m":
            assert not found["start"] and LOOKS.issuperset(numbers), repr(found[0])
            # Bold black is dark grey there, on light grey: hard to read.
            assert not {1, 7} <= set(numbers), repr(found[0])
        else:
            assert not found["start"] and found["end"] in "HJ", repr(found[0])
    text = SEQUENCE.sub("", sent)
    text.encode("cp437")
    assert not set(text) - {"\r", "\n"} & {chr(n) for n in range(32)}


@pytest.mark.parametrize(
    ("language", "ascii_only"), [("C", True), ("", True), ("C.UTF-8", False), ("de_DE.UTF-8", False)]
)
def test_the_console_of_linux(sample, language, ascii_only):  # noqa: F811
    environment = {"TERM": "linux", "LANG": language, "COLORTERM": "", "LC_ALL": "", "LC_CTYPE": ""}
    command = steer("open", sample, "--stale-after", "0")
    terminal = Terminal(["env", "-u", "NO_COLOR", "-u", "LC_ALL", "-u", "LC_CTYPE", *command], **environment)
    sent = b""
    try:
        for key, shown in (
            (b"", "STROKE 112"),
            (b"2", "CHECK SHOTS"),
            (b"3", "AS-BUILT"),
            (b"l", "LOG"),
            (b"?", "KEYS of this screen"),
            (b"\x1b", "EVENT"),
            (b"1", "STROKE 112"),
            (b"o", "Own setting"),
            (b"\x1b", "LEVEL "),
        ):
            terminal.send(key)
            sent += terminal.until(shown)
        terminal.send(b"q")
        assert terminal.end() == 0
        sent += terminal.seen
    finally:
        terminal.close()
    said = sent.decode("ascii" if ascii_only else "utf-8")
    check(said)
    assert ("\u2588" in said) != ascii_only
    # It has no second screen to go back from: what was drawn does not stay under the next command.
    assert "\x1b[2J\x1b[H" in said[-80:]


@pytest.mark.parametrize(
    "odd", ["\x1b]22;text\x07", "\x1b[>25u", "\x1b[<u", "\x1b[?2026$p", "\x1b[97;40m", "\u2026"]
)
def test_the_check_tells_what_the_console_would_print(odd):
    with pytest.raises((AssertionError, UnicodeEncodeError)):
        check(f"text{odd}text")


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
