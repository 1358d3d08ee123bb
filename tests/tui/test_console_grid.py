"""The screens on a bare console of Linux, as pyte draws it: an emulator written after console_codes(4).

Every cell must be what the program's own picture of the same drive has, after each key, reading and change of size.
"""

import contextlib
import fcntl
import json
import os
import pty
import select
import shutil
import signal
import struct
import subprocess
import termios
from importlib import resources

import pyte
import pytest
from pyte import modes
from test_plain_terminal import check
from test_terminal import steer

KEYS = (  # as the console sends them, as the picture is told, and what the screen shows then
    (b"2", "2", "CHECK SHOTS"),
    (b"3", "3", "AS-BUILT"),
    (b"l", "l", "LOG "),
    (b"\x1b[1~", "home", "LOG "),
    (b"\x1b[B", "down", "LOG "),
    (b"?", "question_mark", "KEYS of this screen"),
    (b"\x1b", "escape", "LOG "),
    (b"1", "1", "STROKE 38"),
    (b"o", "o", "Own setting"),
    (b"7", "7", "Own setting"),
    (b"\x1b", "escape", "STROKE 38"),
)


class Grid(pyte.Screen):
    """Keeps what the emulator did not know, and what it was asked: the answer would come in as keys."""

    def __init__(self, *size):
        self.strange = []
        super().__init__(*size)

    def debug(self, *what, **more):
        self.strange.append((what, more))

    def write_process_input(self, data):
        self.strange.append(data)


class Console:
    """The program on a console of `size` (columns, rows)."""

    def __init__(self, folder, size, language):
        self.screen = Grid(*size)
        self.stream = pyte.ByteStream(self.screen)
        self.sent = b""
        self.main, side = pty.openpty()
        unset = ("NO_COLOR", "LC_ALL", "LC_CTYPE", "STEER_ASCII", "COLORTERM", "COLUMNS", "LINES")
        env = {name: value for name, value in os.environ.items() if name not in unset}
        self._size(size)
        self.process = subprocess.Popen(
            steer("open", folder, "--stale-after", "0"),
            stdin=side,
            stdout=side,
            stderr=side,
            env=env | {"TERM": "linux", "LANG": language},
            start_new_session=True,
        )
        os.close(side)

    def _size(self, size):
        fcntl.ioctl(self.main, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))

    def resize(self, size):
        self.screen.resize(lines=size[1], columns=size[0])
        self._size(size)
        self.process.send_signal(signal.SIGWINCH)

    def send(self, keys):
        os.write(self.main, keys)

    def look(self, seconds=0.0):
        """Draws what has come; whether anything came."""
        data = b""
        if select.select([self.main], [], [], seconds)[0]:
            with contextlib.suppress(OSError):  # it has ended
                data = os.read(self.main, 65536)
        self.sent += data
        self.stream.feed(data)
        return bool(data)

    def cells(self):
        """Rows of (character, bold, reverse, underlined)."""
        lines = [
            [self.screen.buffer[y][x] for x in range(self.screen.columns)] for y in range(self.screen.lines)
        ]
        return [[look(c.data, c.bold, c.reverse, c.underscore) for c in line] for line in lines]

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.main)


def look(character, bold, reverse, underline):
    """A cell; no blank is seen to be bold."""
    return character, bool(bold) and character != " ", bool(reverse), bool(underline)


def drawn(app):
    """The program's own picture, cell by cell."""
    return [
        [look(c, s.style.bold, s.style.reverse, s.style.underline) for s in strip for c in s.text]
        for strip in app.screen._compositor.render_strips()
    ]


@contextlib.contextmanager
def feed(folder):
    """Another process that stores readings, one a call with its chainage."""
    process = subprocess.Popen(steer("feed", folder), stdin=subprocess.PIPE)

    def reading(chainage):
        line = {"kind": "reading", "chainage_m": chainage, "yaw_mm_per_m": 0.4}
        process.stdin.write(json.dumps(line).encode() + b"\n")
        process.stdin.flush()

    try:
        yield reading
        process.stdin.close()
        assert process.wait(20.0) == 0
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def text(cells):
    return "\n".join("".join(cell[0] for cell in row) for row in cells)


async def agree(console, app, pilot, shows):
    """Until both show that, and the same in every cell."""
    for _ in range(1000):
        await pilot.pause(0.01)
        if console.look():
            continue  # compared when all has come
        there, here = console.cells(), drawn(app)
        if there == here and shows in text(there):
            assert not any(bold and reverse for row in there for _, bold, reverse, _ in row)
            return
    assert shows in text(here)
    assert text(there) == text(here)
    assert there == here


async def shown_alike(console, app, size, other, reading):
    """The same in both through keys and a reading, at one size and then at the other."""
    async with app.run_test(size=size) as pilot:
        await agree(console, app, pilot, "STROKE 38")
        for now, chainage in ((size, 33.25), (other, 33.5)):
            if now != size:
                console.resize(now)
                await pilot.resize_terminal(*now)
                await agree(console, app, pilot, "STROKE 38")
            for key, name, shows in KEYS:
                console.send(key)
                await pilot.press(name)
                await agree(console, app, pilot, shows)
            reading(chainage)
            await agree(console, app, pilot, f"{chainage:.2f}")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The first 33 m of the sample drive with its first check shot, made once."""
    from steer.cli.main import main

    folder = tmp_path_factory.mktemp("made") / "drive"
    folder.mkdir()
    with resources.as_file(resources.files("sample_surveys") / "quillbeck_lane") as whole:
        shutil.copy(whole / "drive.toml", folder)
        for name, command in (("readings.csv", "read"), ("shots.csv", "shots")):
            head, *rows = (whole / name).read_text().splitlines(keepends=True)
            (folder / name).write_text(head + "".join(r for r in rows if float(r.split(",")[1]) < 33.0))
            assert main([command, str(folder), str(folder / name)]) == 0
    return folder


@pytest.fixture
def drive(made, tmp_path):
    """That drive, for one test."""
    return shutil.copytree(made, tmp_path / "drive")


@pytest.mark.parametrize(
    ("language", "size", "other"),
    [("C", (80, 24), (128, 48)), ("C.UTF-8", (128, 48), (80, 24))],
    ids=["ascii", "utf8"],
)
async def test_the_console_shows_the_programs_own_picture(drive, monkeypatch, language, size, other):
    from steer.cli.open import open_drive
    from tui.app import SteerApp

    monkeypatch.delenv("NO_COLOR", raising=False)
    app = SteerApp(
        lambda: open_drive(drive),
        name=str(drive),
        ascii_only=language == "C",
        few_colours=True,
        few_glyphs=True,
        stale_minutes=0.0,
    )
    console = Console(drive, size, language)
    try:
        with feed(drive) as reading:
            await shown_alike(console, app, size, other, reading)
        console.send(b"q")
        while console.look(20.0):
            pass
        assert console.process.wait(20.0) == 0
    finally:
        console.close()
    grid = console.screen
    assert text(console.cells()).strip() == ""
    assert (grid.cursor.x, grid.cursor.y, grid.cursor.hidden) == (0, 0, False)
    assert grid.cursor.attrs == grid.default_char and modes.DECAWM in grid.mode
    assert grid.strange == []
    check(console.sent.decode("ascii" if language == "C" else "utf-8"))
