"""No command opens a network by itself: Python's audit hook stops the program at the first try."""

import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sample

GUARDED = (
    "import os, sys\n"
    "def stop(event, arguments):\n"
    "    if event in ('socket.connect', 'socket.bind', 'socket.getaddrinfo', 'socket.sendto', 'urllib.Request'):\n"
    "        os.write(2, f'NETWORK {event} {arguments}'.encode()); os._exit(99)\n"
    "sys.addaudithook(stop)\n"
)
COMMANDS = ("check", "next --json", "verify", "asbuilt --json", "axis --every 50", "shots", "export", "feed")
RUN = GUARDED + "from steer.cli.main import main\nsys.exit(main(sys.argv[1:]))"


RUN_EACH = GUARDED + (
    "from steer.cli.main import main\n"
    "for words in sys.argv[2:]:\n"
    "    name, *options = words.split(' ')\n"
    "    code = main([name, sys.argv[1], *options])\n"
    "    sys.stdout.flush()\n"
    "    os.write(2, f'{name}: {code}\\n'.encode())\n"
)


def guarded(code, *words):
    return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, input="")


def test_the_guard_itself_stops_a_connection():
    done = guarded(GUARDED + "import socket; socket.create_connection(('127.0.0.1', 9))")
    assert done.returncode == 99
    assert "NETWORK socket." in done.stderr


def test_the_sample_drive_is_made_without(tmp_path):
    done = guarded(RUN, "demo", str(tmp_path / "drive"), "--no-open")
    assert done.returncode == 0, done.stderr


def test_every_command_does_its_work_without(tmp_path):
    """One program asked for one command after the other; each says its name and exit code at its end."""
    folder = sample.copied(tmp_path / "drive", 42)
    words = [f"{name} {tmp_path / 'drive.gz'}" if name == "export" else name for name in COMMANDS]
    done = guarded(RUN_EACH, str(folder), *words)
    ended = [f"{name.split()[0]}: 0" for name in COMMANDS]
    assert (done.returncode, done.stderr.splitlines()) == (0, ended)
