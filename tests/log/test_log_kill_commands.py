"""Feed and commands killed with SIGKILL: a short run (tests/bench/kills.py kills 200 times)."""

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import kills

from steer.cli.main import main

LINES = kills.feed_lines(12)


@pytest.fixture(scope="module")
def expected(tmp_path_factory):
    return kills.unbroken(kills.new_drive(tmp_path_factory.mktemp("feed") / "unbroken"), LINES)


@pytest.mark.parametrize("sync", ["line", "stroke"])
def test_a_killed_feed_goes_on_to_the_same_advice(tmp_path, expected, sync):
    lines = LINES
    folder, rng = kills.new_drive(tmp_path / "killed"), random.Random(5)
    stored, times = 0, 0
    while stored < len(lines):
        stored = kills.kill_feed(folder, lines, rng, "--sync", sync)
        times += 1
    assert times > 1
    assert kills.advice_of(folder) == expected


def test_a_killed_read_stored_all_or_nothing(tmp_path):
    folder, rng = kills.new_drive(tmp_path / "drive"), random.Random(2)
    path = tmp_path / "r.csv"
    path.write_text("chainage_m\n" + "".join(f"{k / 100}\n" for k in range(3000)))
    for _ in range(3):
        kills.kill_command(folder, "read", path, 3000, rng.uniform(0.1, 0.6))
    assert main(["read", str(folder), str(path)]) == 0
    assert len(kills.examine(folder)) == 3000
