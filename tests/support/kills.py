"""Programs killed with SIGKILL at random moments, and what the log has to hold afterwards."""

from __future__ import annotations

import json
import math
import random
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

from steer.drivefile import TEMPLATE
from steer.log import LOG_NAME, Log
from steer.log.verify import verify

STEER = [sys.executable, "-m", "steer.cli.main"]
ACCEPT = """
import sys
from steer.drive import Drive
with Drive.open(sys.argv[1], write=True) as drive:
    while True:
        drive.undo_last()  # a proposal is accepted once
        print(drive.accept().sequence, flush=True)
"""


def new_drive(folder: Path) -> Path:
    folder.mkdir(parents=True)
    (folder / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    return folder


def feed_lines(strokes: int) -> list[dict[str, Any]]:
    """An invented drive: a gentle wave, ten readings a stroke, a check shot every fifth one."""
    lines: list[dict[str, Any]] = []
    for stroke in range(1, strokes + 1):
        for k in range(10):
            s = round(stroke - 1 + (k + 1) / 10, 3)
            wave = 4.0 * math.sin(s / 3.0)
            lines.append(
                {
                    "kind": "reading", "chainage_m": s, "spot_right_mm": round(-wave, 2),
                    "spot_up_mm": round(-wave / 2, 2), "yaw_mm_per_m": round(wave / 3, 2),
                    "pitch_mm_per_m": 4.1, "roll_deg": 0.5, "cylinder_mm": [36.0, 37.0, 36.0, 35.0],
                }
            )  # fmt: skip
        if stroke % 5 == 0:
            lines.append(
                {
                    "kind": "check_shot",
                    "chainage_m": s,
                    "point": "face",
                    "line_mm": wave,
                    "level_mm": 1.0,
                    "sd_mm": 2,
                }
            )
        lines.append({"kind": "stroke_end", "chainage_m": float(stroke)})
    return lines


def examine(folder: Path) -> list[tuple[str, float]]:
    """(kind, chainage) of what was sent to the log, after proof that it is whole."""
    db = sqlite3.connect(folder / LOG_NAME)
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    db.close()
    with Log.open(folder) as log:
        assert verify(log).whole
        return [
            (e.kind, float(e.body.get("chainage_m", math.nan)))
            for e in log.events()
            if e.kind not in ("advised", "file", "drive_file")
        ]


def advice_of(folder: Path) -> dict[str, Any]:
    done = subprocess.run([*STEER, "next", str(folder), "--json"], capture_output=True, text=True, check=True)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def unbroken(folder: Path, lines: list[dict[str, Any]]) -> dict[str, Any]:
    """The next advice after a feed that nobody killed."""
    text = "".join(json.dumps(line) + "\n" for line in lines)
    done = subprocess.run(
        [*STEER, "feed", str(folder)], input=text, capture_output=True, text=True, check=True
    )
    assert done.stdout.count('"kind": "advice"') == sum(line["kind"] == "stroke_end" for line in lines)
    return advice_of(folder)


def kill_feed(folder: Path, lines: list[dict[str, Any]], rng: random.Random, *options: str) -> int:
    """Feed what is not stored yet, kill the feed a moment after a random answer; returns how much is stored.

    What was answered for is stored; what is stored is a beginning of what was sent, once and in order.
    """
    stored = len(examine(folder)) if (folder / LOG_NAME).exists() else 0
    rest = lines[stored:]
    feed = subprocess.Popen(
        [*STEER, "feed", str(folder), *options], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert feed.stdin
    assert feed.stdout
    threading.Thread(target=_send, args=(feed, rest), daemon=True).start()
    answers = []
    for _ in range(rng.randint(1, 6)):
        if not (answer := feed.stdout.readline()):
            break
        answers.append(json.loads(answer))
    time.sleep(rng.uniform(0.0, 0.06))
    feed.kill()
    whole = [piece for piece in feed.stdout.read().split("\n")[:-1] if piece]
    feed.wait()
    feed.stdout.close()
    answers += [json.loads(piece) for piece in whole]
    found = examine(folder)
    assert found == [(line["kind"], float(line["chainage_m"])) for line in lines[: len(found)]]
    if answers:
        assert ("stroke_end", answers[-1]["chainage_m"]) in found
    return len(found)


def _send(feed: subprocess.Popen[str], lines: list[dict[str, Any]]) -> None:
    assert feed.stdin
    try:
        for line in lines:
            feed.stdin.write(json.dumps(line) + "\n")
            feed.stdin.flush()
        feed.stdin.close()
    except OSError:
        pass  # killed


def kill_command(
    folder: Path, command: str, path: Path, rows: int, wait_s: float, *, once_begun: bool = False
) -> str:
    """Kill `steer read` or `steer shots` on a file of `rows` rows: `wait_s` after its start, or `once_begun` after
    it has made the log. All rows are stored or none; "before", "during" or "after" the storing says when it was."""
    running = subprocess.Popen([*STEER, command, str(folder), str(path)], stdout=subprocess.PIPE, text=True)
    while once_begun and not (folder / LOG_NAME).exists() and running.poll() is None:
        time.sleep(0.001)
    time.sleep(wait_s)
    running.kill()
    said = running.communicate()[0]
    begun = (folder / LOG_NAME).exists()
    found = len(examine(folder)) if begun else 0
    assert found in ((rows,) if "stored" in said else (0, rows))
    return "after" if found else "during" if begun else "before"


def storing_times(folder: Path, command: str, path: Path, rows: int) -> tuple[float, float, float]:
    """Seconds from the start of a command that nobody kills: the log is there, all is stored, it has ended."""
    started, there, stored = time.perf_counter(), 0.0, 0.0
    running = subprocess.Popen([*STEER, command, str(folder), str(path)], stdout=subprocess.DEVNULL)
    while running.poll() is None:
        if not there and (folder / LOG_NAME).exists():
            there = time.perf_counter() - started
        if there and not stored and len(_so_far(folder)) >= rows:
            stored = time.perf_counter() - started
        time.sleep(0.005)
    assert there, "it made no log"
    ended = time.perf_counter() - started
    return there, stored or ended, ended


def _so_far(folder: Path) -> list[Any]:
    db = sqlite3.connect(f"{(folder / LOG_NAME).as_uri()}?mode=ro", uri=True)
    try:
        return db.execute("SELECT 1 FROM events WHERE kind IN ('reading', 'check_shot')").fetchall()
    except sqlite3.OperationalError:  # not made yet
        return []
    finally:
        db.close()


def kill_accept(folder: Path, rng: random.Random) -> int:
    """Kill a program that accepts and takes back in turn; returns how many acceptances were acknowledged."""
    before = len(examine(folder))
    running = subprocess.Popen([sys.executable, "-c", ACCEPT, str(folder)], stdout=subprocess.PIPE, text=True)
    assert running.stdout
    first = running.stdout.readline()
    time.sleep(rng.uniform(0.0, 0.1))
    running.kill()
    whole = [first, *running.communicate()[0].split("\n")[:-1]]
    found = examine(folder)
    kinds = [kind for kind, _ in found[before:]]
    assert kinds.count("accepted") >= len(whole)
    assert set(kinds) <= {"accepted", "undone"}
    return len(whole)
