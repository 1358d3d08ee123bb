"""What the operator's screen costs: first paint against a bare application, bytes, processor time.

    python tests/bench/screen_cost.py [FOLDER]

FOLDER is a drive folder (default: a sample drive made for it). Runs in a pseudo-terminal of 80 by 24 with
true colours and one of NO_COLOR; prints figures, checks nothing. "Paint" counts from the start of the
process to the last byte of the first full screen.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import shutil
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time

BARE = (
    "from textual.app import App\n"
    "from textual.widgets import Static\n"
    "class Bare(App):\n"
    "    def compose(self):\n"
    "        yield Static('bare', id='page')\n"
    "Bare().run(mouse=False)\n"
)


class Terminal:
    """A process in a pseudo-terminal; what it writes is counted."""

    def __init__(self, command: list[str], **environment: str) -> None:
        self.main, side = pty.openpty()
        fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        env = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor"} | environment
        self.start = time.perf_counter()
        self.process = subprocess.Popen(
            command, stdin=side, stdout=side, stderr=side, env=env, start_new_session=True
        )
        os.close(side)

    def read(self, seconds: float, until: bytes = b"") -> bytes:
        """What comes within some seconds, or until a text came."""
        out = b""
        end = time.perf_counter() + seconds
        while (left := end - time.perf_counter()) > 0:
            if select.select([self.main], [], [], left)[0]:
                with contextlib.suppress(OSError):
                    out += os.read(self.main, 65536)
            if until and until in out:
                break
        return out

    def send(self, keys: bytes) -> None:
        os.write(self.main, keys)

    def close(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGTERM)
        self.process.wait()
        os.close(self.main)


def paint_s(command: list[str], mark: bytes) -> float:
    terminal = Terminal(command)
    terminal.read(20.0, mark)
    took = time.perf_counter() - terminal.start
    terminal.close()
    return took


def main() -> None:
    steer = os.path.join(os.path.dirname(sys.executable), "steer")
    folder = sys.argv[1] if len(sys.argv) > 1 else ""
    if not folder:
        folder = os.path.join(tempfile.mkdtemp(), "drive")
        subprocess.run([steer, "demo", folder, "--no-open"], check=True, stdout=subprocess.DEVNULL)
    opened = [steer, "open", folder]
    bare = statistics.median(paint_s([sys.executable, "-c", BARE], b"bare") for _ in range(7))
    ours = statistics.median(paint_s(opened, b"quit") for _ in range(7))
    advice = statistics.median(paint_s(opened, b"STROKE") for _ in range(7))
    print(
        f"median of 7: bare application {bare:.2f} s; steer open, first paint {ours:.2f} s "
        f"({ours / bare:.1f} times), the correction {advice:.2f} s"
    )

    chainage = 99.9  # the face of the sample drive
    for name, extra in (("true colours", {}), ("NO_COLOR", {"NO_COLOR": "1"})):
        terminal = Terminal(opened, **extra)
        first = terminal.read(60.0, b"STROKE") + terminal.read(3.0)
        rest = terminal.read(20.0)
        terminal.send(b"z")
        change = terminal.read(1.5)
        terminal.send(b"z")
        terminal.read(1.5)
        with open(os.path.join(folder, "more.jsonl"), "w", encoding="utf-8") as file:
            chainage += 0.05
            file.write(f'{{"kind": "reading", "chainage_m": {chainage:.3f}, "yaw_mm_per_m": 0.4}}\n')
        subprocess.run([steer, "read", folder, file.name], check=False, stdout=subprocess.DEVNULL)
        reading = terminal.read(6.0)
        terminal.send(b"q")
        terminal.read(2.0)
        terminal.close()
        print(
            f"{name}: first screen {len(first):,} bytes, at rest {len(rest):,} bytes in 20 s, "
            f"another scale {len(change):,} bytes, a new reading {len(reading):,} bytes "
            f"({len(reading) / 960:.1f} s at 9,600 bit/s)"
        )

    terminal = Terminal(opened)
    terminal.read(60.0, b"STROKE")
    terminal.read(3.0)
    ticks = os.sysconf("SC_CLK_TCK")

    def used() -> float:
        with open(f"/proc/{terminal.process.pid}/stat", encoding="ascii") as stat:
            fields = stat.read().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / ticks

    start = used()
    terminal.read(30.0)
    print(f"idle: {100 * (used() - start) / 30:.1f} % of one core over 30 s")
    terminal.close()
    if len(sys.argv) < 2:
        shutil.rmtree(os.path.dirname(folder))


if __name__ == "__main__":
    main()
