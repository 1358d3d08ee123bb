"""`steer verify` computes every advice again from the raw events."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import kills

from steer.cli.main import main
from steer.drive import Drive
from steer.recompute import recompute


@pytest.fixture
def fed(tmp_path):
    """A drive of six strokes, with a late check shot, a decision that was taken back, and one that stands."""
    folder = kills.new_drive(tmp_path / "drive")
    with Drive.open(folder, write=True) as drive:
        for line in kills.feed_lines(6):
            body = {name: value for name, value in line.items() if name != "kind"}
            if line["kind"] == "stroke_end":
                drive.stroke_end(body["chainage_m"])
            else:
                drive.add(line["kind"], body)
            if line["kind"] == "stroke_end" and line["chainage_m"] == 3.0:
                drive.accept()
                drive.undo_last()
                drive.override(1.0, 0.5)
            if line["kind"] == "stroke_end" and line["chainage_m"] == 4.0:
                late = {"chainage_m": 2.0, "point": "face", "line_mm": 1.0, "level_mm": 0.0, "sd_mm": 2.0}
                drive.add("check_shot", late)
    return folder


def test_every_advice_comes_out_again(fed, capsys):
    found = recompute(fed)
    assert (found.given, found.different) == (6, [])
    assert main(["verify", str(fed)]) == 0
    assert "6 advices in the log, 6 come out the same again" in capsys.readouterr().out


def test_another_drive_file_shows(fed, capsys):
    path = fed / "drive.toml"
    path.write_text(path.read_text().replace("circle_radius_mm = 800.0", "circle_radius_mm = 400.0"))
    assert main(["verify", str(fed)]) == 0
    out = capsys.readouterr().out
    assert "the log is whole" in out
    assert "differs" in out
    assert "drive.toml or the program has changed" in out


def test_the_chain_alone(fed, capsys):
    assert main(["verify", str(fed), "--chain-only"]) == 0
    assert "advices" not in capsys.readouterr().out
