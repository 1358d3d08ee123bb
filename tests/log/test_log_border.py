"""Whatever a log holds, a drive is either opened on it or refused with the event named: never a traceback."""

import json
import math
import sqlite3

import pytest

from steer.cli.main import main
from steer.drive import Drive
from steer.drivefile import TEMPLATE
from steer.errors import FolderUnusable, InputRefused
from steer.log import LOG_NAME, Log

TOLD = {"stroke": 1, "chainage_m": 1.0, "right_mm_per_m": 0.5, "up_mm_per_m": 0.0, "cylinder_mm": [36.0] * 4}
WRONG = {
    "reading without chainage": ("reading", {"spot_right_mm": 1.0}, "chainage_m: missing"),
    "reading with text": ("reading", {"chainage_m": "1"}, 'chainage_m: "1" is not allowed'),
    "reading far off": ("reading", {"chainage_m": 1e9}, "chainage_m: 1000000000.0 is not allowed"),
    "reading of five cylinders": ("reading", {"chainage_m": 1.0, "cylinder_mm": [36.0] * 5}, "it holds 5"),
    "time that is none": ("reading", {"chainage_m": 1.0, "time": "2026-99-99T00:00:00Z"}, "time"),
    "time without zone": ("reading", {"chainage_m": 1.0, "time": "2026-03-01T00:00:00"}, "time"),
    "shot without point": ("check_shot", {"chainage_m": 1.0, "line_mm": 1.0, "sd_mm": 2.0}, "point"),
    "shot of sd 0": ("check_shot", {"chainage_m": 1.0, "point": "face", "line_mm": 1.0, "sd_mm": 0.0}, "sd_mm"),
    "shot of another grid": (
        "check_shot",
        {"point": "pipe", "easting_m": 1e8, "northing_m": 0.0, "level_m": 0.0, "sd_mm": 1.0},
        "nowhere near",
    ),
    "setting of lists": ("reference_set", {"chainage_m": 1.0, "right_mm": [1]}, "right_mm"),
    "stroke end of nothing": ("stroke_end", {}, "chainage_m: missing"),
    "advice of three cylinders": ("advised", TOLD | {"cylinder_mm": [36.0] * 3}, "it holds 3"),
    "advice with a gap": ("advised", TOLD | {"cylinder_mm": [36.0, None, 36.0, 36.0]}, "cylinder_mm"),
    "advice without stroke": ("advised", {k: TOLD[k] for k in TOLD if k != "stroke"}, "stroke: missing"),
    "decision of words": ("accepted", TOLD | {"right_mm_per_m": "right"}, "right_mm_per_m"),
    "decision of half a stroke": ("overridden", TOLD | {"stroke": 1.5}, "stroke: 1.5"),
    "undone of nothing": ("undone", {}, "event: missing"),
    "undone of text": ("undone", {"event": "last"}, 'event: "last"'),
    "a word on no shot": ("shot_accepted", {"shot": None}, "shot: missing"),
    "a word on half a shot": ("shot_rejected", {"shot": 0.5}, "shot: 0.5"),
    "withdrawn minus one": ("withdrawn", {"shot": -1}, "shot: -1"),
    "restored true": ("restored", {"shot": True}, "shot: true"),
    "counter by text": ("chainage_set", {"add_m": "1"}, 'add_m: "1"'),
    "counter from nowhere": ("chainage_set", {"add_m": 1.0, "from_sequence": 0}, "from_sequence: 0"),
    "note of numbers": ("note", {"text": 5}, "text: 5"),
    "file without hash": ("file", {"name": "a.csv", "bytes": 1, "rows": 1}, "sha256: missing"),
    "drive file without hash": ("drive_file", {"text": ""}, "sha256: missing"),
    "practice stroke of text": ("practice_stroke", {"stroke": 1, "cylinder_mm": "36"}, "cylinder_mm"),
}  # fmt: skip


def a_drive(folder, *events):
    folder.mkdir()
    (folder / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    with Log.open(folder, write=True) as log:
        log.append("reading", {"chainage_m": 0.5, "spot_right_mm": 1.0})
        log.append_many(events)
    return folder


@pytest.mark.parametrize("case", WRONG)
def test_a_body_of_another_shape_is_named(tmp_path, capsys, case):
    kind, body, part = WRONG[case]
    folder = a_drive(tmp_path / "drive", (kind, body))
    for command in ("next", "asbuilt", "feed"):
        assert main([command, str(folder)]) == 3
        said = capsys.readouterr().err
        assert f"event 2 ({kind})" in said
        assert part in said


@pytest.mark.parametrize("case", WRONG)
def test_the_drive_itself_stores_none_of_them(tmp_path, case):
    kind, body, _ = WRONG[case]
    with Drive.open(a_drive(tmp_path / "drive"), write=True) as drive:
        with pytest.raises(InputRefused):
            drive.add(kind, body)
        assert drive.log.last_sequence() == 1


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity", "1e999", "[" * 100_000, '{"a":'])
def test_no_number_beyond_numbers_gets_out_of_a_log(tmp_path, capsys, value):
    folder = a_drive(tmp_path / "drive")
    db = sqlite3.connect(folder / LOG_NAME)
    body = f'{{"chainage_m": 1.0, "spot_right_mm": {value}}}'
    db.execute("INSERT INTO events SELECT 2, arrived, program, kind, ?, hash FROM events", (body,))
    db.commit()
    db.close()
    assert main(["next", str(folder)]) == 3
    assert "event 2 " in capsys.readouterr().err


def test_what_a_newer_program_may_write_is_let_be(tmp_path):
    folder = a_drive(
        tmp_path / "drive",
        ("weather", {"rain_mm": 3}),
        ("reading", {"chainage_m": 0.6, "soil_temperature_c": 11.0}),
        ("advised", TOLD | {"because": "steep"}),
    )
    with Drive.open(folder) as drive:
        assert drive.advice() is not None
        assert drive.seen == 4


def test_another_machine_than_the_readings(tmp_path, capsys):
    """A drive.toml changed from four to three cylinders does not take the readings of four."""
    folder = a_drive(
        tmp_path / "drive", ("reading", {"chainage_m": 0.6, "cylinder_mm": [36.0, 36.0, None, 36.0]})
    )
    path = folder / "drive.toml"
    path.write_text(path.read_text().replace("[45, 135, 225, 315]", "[0, 120, 240]"))
    assert main(["next", str(folder)]) == 3
    said = capsys.readouterr().err
    assert "event 2 (reading)" in said
    assert "machine has 3 cylinders" in said


def test_odd_but_lawful_events_upset_nothing(tmp_path):
    """Words on shots that do not exist, decisions undone twice, corrections of what is to come."""
    events = [
        ("undone", {"event": 1}),
        ("undone", {"event": 4000}),
        ("undone", {"event": 4000}),
        ("shot_accepted", {"shot": 1}),
        ("withdrawn", {"shot": 77}),
        ("restored", {"shot": 77}),
        ("advised", TOLD | {"stroke": 9, "chainage_m": -900.0}),
        ("accepted", TOLD | {"cylinder_mm": [-10_000.0, 10_000.0, 0.0, 0.0]}),
        ("overridden", TOLD | {"right_mm_per_m": 1000.0, "up_mm_per_m": -1000.0}),
        ("chainage_set", {"add_m": 2.0, "from_sequence": 5000}),
        ("chainage_set", {"add_m": -1000.0, "from_sequence": 1}),
        ("chainage_set", {"add_m": 0.0, "from_sequence": 1}),
        ("reference_set", {"chainage_m": 900.0}),
        ("reference_set", {"chainage_m": -900.0, "right_mm": 10_000.0, "right_mm_per_m": 500.0}),
        ("check_shot", {"chainage_m": 0.5, "point": "face", "line_mm": 1e4, "sd_mm": 5e-324}),
        ("stroke_end", {"chainage_m": 1000.0}),
        ("stroke_end", {"chainage_m": -1000.0}),
    ]
    for count in range(1, len(events) + 1):
        folder = a_drive(tmp_path / f"drive{count}", *events[:count])
        with Drive.open(folder) as drive:
            snapshot = drive.snapshot()
            assert snapshot.advice is None or math.isfinite(snapshot.advice.estimate.line_mm)


def test_a_file_event_of_another_shape_stops_a_read(tmp_path, capsys):
    folder = a_drive(tmp_path / "drive", ("file", {"name": "a.csv", "sha256": "ab"}))
    (tmp_path / "r.csv").write_text("chainage_m\n0.7\n")
    assert main(["read", str(folder), str(tmp_path / "r.csv")]) == 3
    assert "event 2 (file)" in capsys.readouterr().err
    with Log.open(folder) as log:
        assert log.last_sequence() == 2


def test_the_check_is_of_what_json_reads(tmp_path):
    """Whole numbers, as a hand-made export may hold them, are numbers."""
    folder = a_drive(tmp_path / "drive", ("reading", json.loads('{"chainage_m": 1, "spot_up_mm": 2}')))
    with Drive.open(folder) as drive:
        assert drive.advice() is not None


def test_it_names_the_log(tmp_path):
    folder = a_drive(tmp_path / "drive", ("undone", {}))
    with pytest.raises(FolderUnusable, match=LOG_NAME):
        Drive.open(folder)
