"""A 12-hour shift in a real terminal, faster than real: memory, processor time, bytes, key to screen.

    python tests/bench/screen_real_shift.py [--times 50] [--hours 12]

`steer open` runs in a pseudo-terminal of 80 by 24 over a new drive (invented); `steer feed`, another process,
writes a reading every 20 s of simulated time and ends a stroke every 20 minutes: 2,160 readings and 36 strokes
in 12 hours, which take 14.4 minutes at 50 times speed. Keys are pressed all along. Prints a row a simulated hour.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from screen_cost import Terminal

READING_S = 20.0
READINGS_A_STROKE = 60
KEYS = (b"z", b"z", b"w", b"w", b"w", b"w", b"2", b"l", b"3", b"1")
STEER = (sys.executable, "-m", "steer.cli.main")


def memory_mb(process: int) -> float:
    """Resident memory of a process now."""
    with open(f"/proc/{process}/status", encoding="ascii") as status:
        line = next(text for text in status if text.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def used_s(process: int) -> float:
    """Processor time of a process so far."""
    with open(f"/proc/{process}/stat", encoding="ascii") as stat:
        fields = stat.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def reading(number: int, rng: np.random.Generator) -> dict[str, object]:
    """A machine that wanders a little about the axis; what it shows is invented."""
    chainage = number / READINGS_A_STROKE
    line, level = 8.0 * np.sin(chainage / 9.0), 5.0 * np.sin(chainage / 7.0)
    return {
        "kind": "reading",
        "chainage_m": round(chainage, 3),
        "spot_right_mm": round(-line + float(rng.normal(0.0, 1.0)), 1),
        "spot_up_mm": round(-level + float(rng.normal(0.0, 1.0)), 1),
        "yaw_mm_per_m": round(8.0 / 9.0 * np.cos(chainage / 9.0) + float(rng.normal(0.0, 0.3)), 2),
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--times", type=float, default=50.0, help="how many times faster than real")
    parser.add_argument("--hours", type=float, default=12.0, help="simulated hours")
    args = parser.parse_args()
    folder = Path(tempfile.mkdtemp()) / "drive"
    subprocess.run([*STEER, "new", str(folder)], check=True, stdout=subprocess.DEVNULL)
    feed = subprocess.Popen(
        [*STEER, "feed", str(folder)], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    )
    assert feed.stdin is not None
    rng = np.random.default_rng(7)
    terminal = Terminal([*STEER, "open", str(folder)])
    terminal.read(20.0, b"quit")
    screen = terminal.process.pid
    waits: list[float] = []
    written = strokes = 0
    count = int(args.hours * 3600.0 / READING_S)
    start = time.monotonic()
    cpu_before, bytes_before = used_s(screen), 0
    print(f"{'hour':>4} {'MB':>6} {'cpu %':>6} {'kB':>7} {'key ms, median':>15} {'worst':>6}")
    for number in range(1, count + 1):
        feed.stdin.write(json.dumps(reading(number, rng)) + "\n")
        if number % READINGS_A_STROKE == 0:
            feed.stdin.write(
                json.dumps({"kind": "stroke_end", "chainage_m": number / READINGS_A_STROKE}) + "\n"
            )
            strokes += 1
        feed.stdin.flush()
        due = start + number * READING_S / args.times
        if number % 6 == 3:
            written += len(terminal.read(max(0.0, 0.5 * (due - time.monotonic()))))
            asked = time.perf_counter()
            terminal.send(KEYS[(number // 6) % len(KEYS)])
            answer = terminal.read(2.0, b"\x1b")
            waits.append(time.perf_counter() - asked)
            written += len(answer)
        written += len(terminal.read(max(0.001, due - time.monotonic())))
        if number % int(3600.0 / READING_S) == 0:
            now = used_s(screen)
            share = 100.0 * (now - cpu_before) / (3600.0 / args.times)
            print(
                f"{number * READING_S / 3600.0:4.0f} {memory_mb(screen):6.1f} {share:6.1f} "
                f"{(written - bytes_before) / 1000.0:7.1f} {1000.0 * statistics.median(waits):15.1f} "
                f"{1000.0 * max(waits):6.0f}",
                flush=True,
            )
            cpu_before, bytes_before = now, written
            waits.clear()
    alive = terminal.process.poll() is None
    terminal.send(b"1q")
    terminal.read(3.0)
    print(f"{count} readings, {strokes} strokes; the screen was {'alive' if alive else 'GONE'} at the end")
    feed.stdin.close()
    feed.wait()
    terminal.close()


if __name__ == "__main__":
    main()
