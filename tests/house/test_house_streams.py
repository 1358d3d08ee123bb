"""Streams as odd callers hand them over: closed, or in an encoding without ± and ². No traceback, the same words."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sample

STEER = [sys.executable, "-c", "from steer.cli.main import console; console()"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return sample.copied(tmp_path_factory.mktemp("streams") / "drive", 13)


@pytest.mark.parametrize(
    ("command", "closed", "code"),
    [
        ("feed", "<&-", 0),
        ("feed", ">&-", 0),
        ("open", "<&-", 2),
        ("open", "2>&-", 2),
        ("replay", "<&-", 2),
        ("next", ">&-", 0),
    ],
)
def test_a_stream_that_the_caller_closed_is_an_empty_one(folder, command, closed, code):
    line = '{"kind": "stroke_end", "chainage_m": 11.7}\n'
    script = f'"$@" {command} "$FOLDER" {closed}'
    bash = shutil.which("bash") or "sh"
    ended = subprocess.run(
        [bash, "-c", script, "x", *STEER],
        input=line,
        capture_output=True,
        text=True,
        env=os.environ | {"FOLDER": str(folder)},
        check=False,
    )
    assert ended.returncode == code, ended.stderr
    assert "Traceback" not in ended.stderr


def printed(folder, name):
    environment = os.environ | {"PYTHONIOENCODING": name}
    ended = subprocess.run([*STEER, "next", str(folder)], capture_output=True, env=environment, check=False)
    assert ended.returncode == 0, ended.stderr.decode(name, "replace")
    return ended.stdout.decode(name)


@pytest.fixture(scope="module")
def plain(folder):
    return printed(folder, "utf-8")


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437"])
def test_what_an_encoding_lacks_is_said_otherwise(folder, plain, encoding):
    assert "±" in plain
    assert printed(folder, encoding).replace("±", "+-") == plain.replace("±", "+-")


def test_a_word_in_other_letters_does_not_stop_the_page(folder, tmp_path):
    other = tmp_path / "drive"
    shutil.copytree(folder, other)
    file = Path(other / "drive.toml")
    file.write_text(file.read_text(encoding="utf-8").replace("Quillbeck", "Łąka"), encoding="utf-8")
    ended = subprocess.run(
        [*STEER, "next", str(other)],
        capture_output=True,
        env=os.environ | {"PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert ended.returncode == 0
    assert ended.stdout.startswith(b"??ka Lane")
