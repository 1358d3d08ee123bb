"""What the core loads, seen in a clean interpreter: no screen, and no slow library before it is used."""

import importlib.util
import subprocess
import sys

import pytest

SLOW = (
    "textual",
    "tui",
    "matplotlib",
    "scipy",
    "filterpy",
    "daqp",
    "openpyxl",
    "ezdxf",
    "dask",
    "distributed",
)
# what checks the product is not part of it
FOREIGN = ("pykalman", "pyclothoids", "clarabel", "hypothesis", "pytest")


def loaded_by(statement: str) -> set[str]:
    code = f"import sys\n{statement}\nprint(*sorted({{name.split('.')[0] for name in sys.modules}}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    "statement",
    [
        "import steer",
        "import steer.cli.main",
        "import steer.drivefile",
        "import steer.machine",
        "import steer.axis",
        "import steer.log",
    ],
)
def test_core_loads_no_screen_and_nothing_slow(statement: str) -> None:
    assert loaded_by(statement) & {*SLOW, *FOREIGN} == set()


@pytest.mark.skipif(importlib.util.find_spec("steer.drive") is None, reason="no such room yet")
def test_drive_loads_no_screen_and_nothing_slow() -> None:
    """The room at the top; `daqp` is quick to load and may be there."""
    assert loaded_by("import steer.drive") & ({*SLOW, *FOREIGN} - {"daqp"}) == set()


def test_command_door_loads_no_command() -> None:
    """Not even pydantic: help must come at once."""
    assert "pydantic" not in loaded_by("import steer.cli.main")


def test_the_probe_sees_what_is_loaded() -> None:
    assert "scipy" in loaded_by("import scipy")
