"""No command opens a network by itself: Python's audit hook stops the program at the first try."""

import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sample

GUARDED = (
    "import os, sys\n"
    "def stop(event, arguments):\n"
    "    if event in ('socket.connect', 'socket.bind', 'socket.getaddrinfo', 'socket.sendto', 'urllib.Request'):\n"
    "        os.write(2, f'NETWORK {event} {arguments}'.encode()); os._exit(99)\n"
    "sys.addaudithook(stop)\n"
)
RUN = GUARDED + "from steer.cli.main import main\nsys.exit(main(sys.argv[1:]))"


def guarded(code, *words):
    return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, input="")


def test_the_guard_itself_stops_a_connection():
    done = guarded(GUARDED + "import socket; socket.create_connection(('127.0.0.1', 9))")
    assert done.returncode == 99
    assert "NETWORK socket." in done.stderr


def test_the_sample_drive_is_made_without(tmp_path):
    done = guarded(RUN, "demo", str(tmp_path / "drive"), "--no-open")
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return sample.copied(tmp_path_factory.mktemp("offline") / "drive", 42)


@pytest.mark.parametrize(
    "words",
    ["check", "next --json", "verify", "asbuilt --json", "axis --every 50", "feed", "shots", "export"],
)
def test_every_command_does_its_work_without(folder, words):
    name, *options = words.split()
    more = [str(folder.parent / "drive.gz")] if name == "export" else options
    done = guarded(RUN, name, str(folder), *more)
    assert done.returncode == 0, done.stderr
