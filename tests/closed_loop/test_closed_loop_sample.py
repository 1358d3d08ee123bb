"""The sample drive's log: made from files and settings, as a feed and a crew would have filled it."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sample

from steer.asbuilt import assemble
from steer.cli.main import main
from steer.drive import Drive
from steer.ground.sample import HERE, read_settings
from steer.recompute import recompute


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample.copied(tmp_path_factory.mktemp("sample") / "demo")


@pytest.fixture(scope="module")
def told(demo: Path) -> tuple:
    """Events of each kind, the advice, and the strokes of the as-built account."""
    with Drive.open(demo) as drive:
        return Counter(event.kind for event in drive.events()), drive.advice(), list(assemble(drive).strokes)


def test_every_stroke_has_a_proposal_and_a_decision_and_a_change_is_due(told: tuple) -> None:
    """Should the share accepted fall, or no change be due, the estimate or the correction has changed: steer the
    sample anew (`python -m steer.closed_loop.sample_crew`)."""
    count, advice, rows = told
    settings = read_settings(HERE / "settings.csv")
    assert count["stroke_end"] == count["advised"] == len(settings) - 1 == 111
    assert count["accepted"] + count["overridden"] == 111
    assert count["accepted"] > 100 and count["overridden"] >= 1
    assert advice is not None and not advice.correction.hold and not advice.notices
    assert advice.stroke == 111 and advice.chainage_m == pytest.approx(99.9)
    assert all(row.proposed is not None for row in rows[1:])  # no stroke had ended before the first one
    assert all(row.decided is not None for row in rows)


def test_what_the_crew_decided_is_what_the_cylinders_then_read(told: tuple) -> None:
    """Settings and readings come from different files; decided against read, stroke by stroke. A cylinder is
    set to 0.2 mm and read to 0.3 mm (sd, invented), the median of some 18 readings: within 1 mm/m."""
    rows = told[2]
    decided = np.array([row.decided for row in rows if row.set_to is not None])
    read = np.array([row.set_to for row in rows if row.set_to is not None])
    assert len(read) == 111
    assert np.abs(decided - read).max() < 1.5
    assert np.sqrt(np.mean((decided - read) ** 2)) < 0.4


def test_the_log_is_whole_and_its_advice_comes_out_again(demo: Path, capsys: pytest.CaptureFixture) -> None:
    found = recompute(demo)
    assert (found.given, found.different) == (111, [])
    assert main(["verify", str(demo)]) == 0
    capsys.readouterr()
    assert main(["read", str(demo), str(demo / "readings.csv")]) == 0
    assert main(["shots", str(demo), str(demo / "shots.csv")]) == 0
    assert capsys.readouterr().out.count("read before") == 2
