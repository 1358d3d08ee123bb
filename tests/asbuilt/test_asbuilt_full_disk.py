"""Every output on a disk that is full: one line, exit 3, nothing left. A limit on the size of files (setrlimit of
POSIX) stands for the disk."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

WITH_A_LIMIT = (
    "import resource, sys; from steer.cli.main import main\n"
    "resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500))\n"
    "sys.exit(main(sys.argv[1:]))"
)


@pytest.mark.parametrize(
    ("option", "name"),
    [
        ("--csv", "a.csv"),
        ("--xlsx", "a.xlsx"),
        ("--dxf", "a.dxf"),
        ("--landxml", "a.xml"),
        ("--report", "a.pdf"),
    ],
)
def test_one_line_and_nothing_left(curved: Any, tmp_path: Path, option: str, name: str) -> None:
    words = ["asbuilt", str(curved.folder), option, str(tmp_path / name)]
    done = subprocess.run([sys.executable, "-c", WITH_A_LIMIT, *words], capture_output=True, text=True)
    assert done.returncode == 3
    assert done.stderr.startswith(f"steer: {tmp_path / name}: cannot be written: ")
    # openpyxl's own temporary files lie on the same disk here and complain once more when they are dropped
    assert done.stderr.count("\n") == 1 or option == "--xlsx"
    assert not list(tmp_path.iterdir())
