"""`steer feed` behind real pipes: odd lines, closed ends, signals, folders that fail. It stores, answers or
refuses; it never shows a traceback."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import kills

from steer.log import Log

ODD = [
    b"{", b"[]", b"null", b"5", b'"reading"', b"\x00\xff\xfe", b"\x1b[2J", b"{}", b'{"kind": 7}', b'{"kind": null}',
    b'{"kind": "advised", "stroke": 1}', b'{"kind": ["reading"]}', b'{"kind": "reading"}',
    b'{"kind": "reading", "chainage_m": "1"}', b'{"kind": "reading", "chainage_m": 1e999}',
    b'{"kind": "reading", "chainage_m": NaN}', b'{"kind": "reading", "chainage_m": 1, "chainage_m": 2}',
    b'{"kind": "reading", "chainage_m": true}', b'{"kind": "reading", "chainage_m": 1, "cylinder_mm": [1]}',
    b'{"kind": "reading", "chainage_m": 1, "note": {"a": [1]}}', b'{"a":' * 5000 + b"1" + b"}" * 5000,
    b"[" * 200_000, b'{"kind": "reading", "chainage_m": ' + b"9" * 5000 + b"}", b"x" * 3_000_000,
    b'{"kind": "stroke_end"}', b'{"kind": "stroke_end", "chainage_m": 1e300}',
    b'{"kind": "stroke_end", "chainage_m": "2"}', b'{"kind": "check_shot", "chainage_m": 1}',
    b'{"kind": "check_shot", "point": "pipe", "easting_m": 1e8, "northing_m": 0, "level_m": 0, "sd_mm": 1}',
    b'{"kind": "reference_set", "chainage_m": 1}', b'{"kind": "reading", "chainage_m": 1, "time": "yesterday"}',
]  # fmt: skip
GOOD = [
    b'{"kind": "reading", "chainage_m": 0.5, "spot_right_mm": 1.0}',
    b'{"kind": "stroke_end", "chainage_m": 1.0}',
]


@pytest.fixture
def folder(tmp_path):
    return kills.new_drive(tmp_path / "drive")


def start(folder, *options):
    return subprocess.Popen(
        [*kills.STEER, "feed", str(folder), *options], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )  # fmt: skip


def stored(folder):
    with Log.open(folder) as log:
        return [e.kind for e in log.events()]


def test_every_odd_line_is_refused_by_its_number_and_the_feed_goes_on(folder):
    lines = [line for odd in ODD for line in (odd, GOOD[0])] + [
        b"",
        b"   ",
        b"\xef\xbb\xbf" + GOOD[0],
        GOOD[1],
    ]
    feed = start(folder)
    out, err = feed.communicate(b"\n".join(lines), timeout=120)  # and no line end after the last one
    assert (feed.returncode, err) == (0, b"")
    answers = [json.loads(line) for line in out.splitlines()]
    refused = [a["line"] for a in answers if a["kind"] == "refused"]
    assert refused == [2 * k + 1 for k in range(len(ODD))]
    assert all(a["why"] and len(a["why"]) < 5000 for a in answers[:-1])
    assert answers[-1]["kind"] == "advice"
    assert stored(folder) == ["reading"] * (len(ODD) + 1) + ["stroke_end", "drive_file", "advised"]
    assert out.isascii()


def test_nothing_comes(folder):
    feed = start(folder)
    assert feed.communicate(b"", timeout=60) == (b"", b"")
    assert feed.returncode == 0


def test_a_reader_that_goes_away_ends_it_quietly(folder):
    feed = start(folder)
    feed.stdin.write(b"\n".join(GOOD) + b"\n")
    feed.stdin.flush()
    assert b"advice" in feed.stdout.readline()
    feed.stdout.close()
    feed.stdin.write(b'{"kind": "stroke_end", "chainage_m": 2.0}\n' * 3)
    feed.stdin.close()
    assert feed.wait(60) == 0
    assert feed.stderr.read() == b""
    feed.stderr.close()
    assert stored(folder).count("stroke_end") >= 2  # stored before it was answered


@pytest.mark.parametrize("which", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_without_a_traceback(folder, which):
    feed = start(folder)
    feed.stdin.write(b"\n".join(GOOD) + b"\n")
    feed.stdin.flush()
    assert b"advice" in feed.stdout.readline()
    feed.send_signal(which)
    _, err = feed.communicate(timeout=60)
    assert feed.returncode in (130, 143, -signal.SIGTERM)
    assert b"Traceback" not in err
    assert stored(folder) == ["reading", "stroke_end", "drive_file", "advised"]
    assert start(folder).communicate(GOOD[1], timeout=60)[1] == b""  # the next one may begin


@pytest.mark.parametrize("wait_s", [0.0, 0.05, 0.15, 0.3])
def test_ctrl_c_while_it_starts(folder, wait_s):
    feed = start(folder)
    try:
        feed.wait(wait_s)
    except subprocess.TimeoutExpired:
        feed.send_signal(signal.SIGINT)
    _, err = feed.communicate(timeout=60)
    # before the program's first line, however late that comes, Python itself speaks
    assert not re.search(rb"steer\Wcli\Wmain.py\", line \d+, in (main|_run)", err)
    assert feed.returncode in (0, 130, -signal.SIGINT, 1)


def test_the_second_feed_is_told_who_has_it(folder):
    first = start(folder)
    first.stdin.write(b"\n".join(GOOD) + b"\n")
    first.stdin.flush()
    first.stdout.readline()
    second = start(folder)
    out, err = second.communicate(GOOD[0], timeout=60)
    assert (second.returncode, out) == (3, b"")
    assert f"process {first.pid}".encode() in err
    first.communicate(timeout=60)
    assert first.returncode == 0


def test_the_folder_is_removed_meanwhile(folder):
    feed = start(folder)
    feed.stdin.write(b"\n".join(GOOD) + b"\n")
    feed.stdin.flush()
    feed.stdout.readline()
    shutil.rmtree(folder)
    _, err = feed.communicate(GOOD[0] + b"\n", timeout=60)
    assert feed.returncode == 3
    assert b"removed or replaced" in err
    assert b"Traceback" not in err


def test_a_log_that_is_no_database(folder):
    (folder / "drive.db").write_bytes(b"no database at all, but long enough to be looked at\n" * 50)
    feed = start(folder)
    out, err = feed.communicate(GOOD[0], timeout=60)
    assert (feed.returncode, out) == (3, b"")
    assert b"not a drive log" in err
    assert (folder / "drive.db").read_bytes().startswith(b"no database")


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes everywhere")
def test_a_folder_that_cannot_be_written(folder):
    folder.chmod(0o555)
    try:
        feed = start(folder)
        _, err = feed.communicate(GOOD[0], timeout=60)
    finally:
        folder.chmod(0o755)
    assert feed.returncode == 3
    assert b"cannot be" in err


def test_answers_do_not_depend_on_the_clock(folder, tmp_path):
    """A clock that goes back an hour, jumps a year and goes on: events order by sequence."""
    jumps = iter(["2026-10-25T02:30:00.000Z", "2026-10-25T01:30:00.000Z", "2036-01-01T00:00:00.000Z"] * 40)
    with Log.open(folder, write=True, clock=lambda: next(jumps)) as log:
        for line in kills.feed_lines(3):
            log.append(line["kind"], {k: v for k, v in line.items() if k != "kind"})
    plain = kills.new_drive(tmp_path / "plain")
    with Log.open(plain, write=True) as log:
        for line in kills.feed_lines(3):
            log.append(line["kind"], {k: v for k, v in line.items() if k != "kind"})
    assert kills.advice_of(folder) == kills.advice_of(plain)
