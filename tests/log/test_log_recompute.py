"""`steer verify` computes every advice again from the raw events."""

import hashlib
import json
import sqlite3
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import kills

from steer.cli.main import main
from steer.drive import Drive
from steer.log import LOG_NAME, Log
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
    assert "Advices in the log: 6; the same again: 6." in capsys.readouterr().out


def test_a_shot_that_comes_in_while_an_advice_is_made_counts_in_it(fed, monkeypatch):
    """What is advised follows from the events before it in the log, all of them."""
    shot = {"chainage_m": 6.0, "point": "face", "line_mm": 40.0, "level_mm": 20.0, "sd_mm": 1.0}
    made = Drive.advice

    def with_a_shot_from_elsewhere(self):
        advice = made(self)
        if not self.log.of_kinds("note"):
            with Log.open(fed, write=True) as other:
                other.append_many([("note", {"text": "now"}), ("check_shot", shot)])
        return advice

    with Drive.open(fed, write=True) as drive:
        drive.add("reading", {"chainage_m": 6.5, "spot_right_mm": 1.0})
        with monkeypatch.context() as patched:
            patched.setattr(Drive, "advice", with_a_shot_from_elsewhere)
            told = drive.stroke_end(7.0)
        assert drive.advice() is told
    with Log.open(fed) as log:
        assert [e.kind for e in log.events()][-4:] == ["stroke_end", "note", "check_shot", "advised"]
    found = recompute(fed)
    assert (found.given, found.different) == (7, [])


def change(folder):
    path = folder / "drive.toml"
    path.write_text(path.read_text().replace("circle_radius_mm = 800.0", "circle_radius_mm = 400.0"))
    return path


def test_a_changed_drive_file_is_said_and_the_advice_of_then_comes_out_with_that_of_then(fed, capsys):
    first = (fed / "drive.toml").read_bytes()
    second = change(fed).read_bytes()
    assert main(["verify", str(fed)]) == 0
    out = capsys.readouterr().out
    assert "Advices in the log: 6; the same again: 6." in out
    assert "drive.toml has changed since the last advice or decision" in out
    with Drive.open(fed, write=True) as drive:
        drive.add(
            "reading", {"chainage_m": 6.4, "spot_right_mm": -3.0, "cylinder_mm": [36.0, 37.0, 36.0, 35.0]}
        )
        drive.stroke_end(7.0)
        drive.note("none of the drive file")
    with Log.open(fed) as log:
        files = [e for e in log.events() if e.kind == "drive_file"]
    assert [e.body["sha256"] for e in files] == [hashlib.sha256(c).hexdigest() for c in (first, second)]
    assert [e.body["text"].encode() for e in files] == [first, second]
    assert main(["verify", str(fed)]) == 0
    out = capsys.readouterr().out
    assert f"drive.toml as at event {files[0].sequence}, " in out
    assert f"drive.toml changed at event {files[1].sequence}, " in out
    assert "Advices in the log: 7; the same again: 7." in out
    assert "has changed since" not in out


def test_another_computation_shows(fed):
    change(fed)
    db = sqlite3.connect(fed / LOG_NAME)
    db.execute("DROP TRIGGER events_no_update")
    text = (fed / "drive.toml").read_text()
    body = json.dumps({"sha256": hashlib.sha256(text.encode()).hexdigest(), "text": text})
    db.execute("UPDATE events SET body = ? WHERE kind = 'drive_file'", (body,))
    db.commit()
    db.close()
    found = recompute(fed)
    assert found.given == 6
    assert ", then " in found.different[0][2]
    assert found.today


def test_the_chain_alone(fed, capsys):
    assert main(["verify", str(fed), "--chain-only"]) == 0
    assert "advices" not in capsys.readouterr().out
