"""A standard output that cannot be written is answered in words."""

import subprocess
import sys
from pathlib import Path

import pytest


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
