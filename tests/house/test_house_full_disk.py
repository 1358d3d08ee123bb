"""A standard output that cannot be written is answered in words."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from steer.cli.making import folder_made


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_full_disk_behind_the_output(tmp_path: Path) -> None:
    steer = [sys.executable, "-m", "steer.cli.main"]
    assert subprocess.run([*steer, "new", str(tmp_path / "d")], capture_output=True).returncode == 0
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [*steer, "axis", str(tmp_path / "d"), "--every", "10"],
            stdout=full, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
    assert done.returncode == 3
    assert done.stderr == "steer: the output: cannot be written: No space left on device\n"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_full_disk_behind_the_complaint(tmp_path: Path) -> None:
    """A logger's script goes by the code: 3, and not 1, which says that nothing was stored."""
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "steer.cli.main", "next", str(tmp_path / "none")], stderr=full, stdout=full
        )
    assert done.returncode == 3


@pytest.mark.parametrize(
    ("words", "limit"),
    [
        (["new", "a/b"], 500),  # no room for drive.toml
        (["demo", "--no-open", "a/b"], 500),
        (["demo", "--no-open", "a/b"], 60_000),  # none for the log
        (["demo", "--no-open"], 500),
        (["demo", "--no-open"], 60_000),
    ],
)
def test_a_drive_that_finds_no_room_leaves_no_folder(tmp_path: Path, words: list[str], limit: int) -> None:
    """A limit on the size of files (setrlimit of POSIX) stands for the disk."""
    code = (
        "import resource, sys; from steer.cli.main import main\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))\n"
        "sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True, text=True, cwd=tmp_path, env={**os.environ, "TMPDIR": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 3
    assert done.stderr.startswith("steer: ") and done.stderr.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_folders_that_were_there_stay(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), folder_made(tmp_path / "a" / "b"):
        (tmp_path / "a" / "kept").write_text("")
        raise RuntimeError
    assert [path.name for path in tmp_path.rglob("*")] == ["a", "kept"]
    with pytest.raises(RuntimeError), folder_made(tmp_path):
        raise RuntimeError
    assert (tmp_path / "a").is_dir()
