"""`steer open` in a real pseudo-terminal, with another process writing the log beside it."""

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time

import pytest


class Terminal:
    """A process in a pseudo-terminal of 80 by 24; its messages in a file where one is given."""

    def __init__(self, command, stderr=None, **environment):
        self.main, side = pty.openpty()
        fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        env = os.environ | {"TERM": "xterm-256color", "NO_COLOR": "1"} | environment
        self.process = subprocess.Popen(
            command, stdin=side, stdout=side, stderr=stderr or side, env=env, start_new_session=True
        )
        os.close(side)
        self.seen = b""

    def read(self, seconds):
        if select.select([self.main], [], [], seconds)[0]:
            with contextlib.suppress(OSError):
                self.seen += os.read(self.main, 65536)

    def until(self, text, seconds=30.0):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            plain = re.sub(rb"\x1b\[[0-9;?>]*[A-Za-z]", b"", self.seen).decode("utf-8", "replace")
            if text in plain:
                seen, self.seen = self.seen, b""
                return seen
            self.read(0.2)
        raise AssertionError(f"{text!r} did not come")

    def send(self, keys):
        os.write(self.main, keys)

    def end(self, seconds=20.0):
        end = time.monotonic() + seconds
        while self.process.poll() is None and time.monotonic() < end:
            self.read(0.1)
        return self.process.poll()

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.main)


@pytest.fixture
def drive(tmp_path):
    """The first strokes of the sample drive."""
    import sample

    return sample.copied(tmp_path / "drive", 13)


def steer(*arguments):
    return [sys.executable, "-m", "steer.cli.main", *map(str, arguments)]


def test_a_shift_in_short(drive):
    terminal = Terminal(steer("open", drive))
    try:
        terminal.until("STROKE 14")
        terminal.send(b"n")
        terminal.until("Note for the log")
        terminal.send(b"wet sand\r")
        terminal.until("Note stored")
        terminal.send(b"l")
        terminal.until("wet sand")
        terminal.send(b"1")
        terminal.until("STROKE 14")
        row = drive / "more.csv"
        row.write_text("chainage_m,spot_right_mm,spot_up_mm\n12.75,3.4,-4.9\n")
        subprocess.run(steer("read", drive, row), check=True, capture_output=True)
        terminal.until("12.75")  # every cell of it differs from 11.70: the rest is not sent again
        terminal.send(b"q")
        assert terminal.end() == 0
    finally:
        terminal.close()
    from steer.log import Log

    with Log.open(drive) as log:
        assert [event.body["text"] for event in log.events() if event.kind == "note"] == ["wet sand"]


@pytest.mark.parametrize("how", [b"\x03", b"q"])
def test_ends_at_once_by_key(drive, how):
    terminal = Terminal(steer("open", drive, "--ascii"))
    try:
        terminal.until("STROKE 14")
        terminal.send(how)
        assert terminal.end() == 0
    finally:
        terminal.close()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize(("command", "shows"), [("open", "STROKE 14"), ("replay", "KNOWN NOW")])
def test_a_signal_leaves_no_proposal_on_the_terminal(drive, command, shows, number):
    """As a key does: the main screen is back (DECRST 1049, the cursor shown again: xterm's control sequences),
    line editing is on, and the exit code is that of a shell for a signal."""
    terminal = Terminal(steer(command, drive, "--ascii"))
    try:
        before = termios.tcgetattr(terminal.main)[3]
        terminal.until(shows)
        assert not termios.tcgetattr(terminal.main)[3] & termios.ICANON
        os.kill(terminal.process.pid, number)
        assert terminal.end() == 128 + number
        terminal.read(0.5)
        assert b"\x1b[?1049l" in terminal.seen and b"\x1b[?25h" in terminal.seen
        assert b"Traceback" not in terminal.seen
        assert before & termios.ICANON and termios.tcgetattr(terminal.main)[3] == before
    finally:
        terminal.close()


def test_a_spoilt_drive_file_ends_with_code_3_and_its_message(tmp_path):
    (tmp_path / "drive.toml").write_text("[drive\n")
    terminal = Terminal(steer("open", tmp_path))
    try:
        terminal.until("not valid TOML")
        assert terminal.end() == 3
    finally:
        terminal.close()


_A_FAULT = """
import sys
import textual.drivers.linux_driver as linux
real = linux.LinuxDriver.process_message
def process(self, message):
    if getattr(message, "key", "") == "x":
        raise RuntimeError("of the reader")
    real(self, message)
linux.LinuxDriver.process_message = process
from steer.cli.main import main
sys.exit(main(["open", sys.argv[1], "--ascii"]))
"""


def test_a_fault_in_the_thread_that_reads_the_keys_is_said_and_no_success(drive):
    terminal = Terminal([sys.executable, "-c", _A_FAULT, str(drive)])
    try:
        terminal.until("STROKE 14")
        terminal.send(b"x")
        terminal.until("ended by a fault in the program")
        assert terminal.end() == 1
    finally:
        terminal.close()


def test_with_the_messages_in_a_file_the_screens_are_painted_on_the_terminal(drive, tmp_path):
    with open(tmp_path / "messages", "wb") as messages:
        terminal = Terminal(steer("open", drive, "--ascii"), stderr=messages)
        try:
            terminal.until("STROKE 14")
            terminal.send(b"q")
            assert terminal.end() == 0
        finally:
            terminal.close()
    assert (tmp_path / "messages").read_bytes() == b""
