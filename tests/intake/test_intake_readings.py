"""Files of readings: what is understood, what is refused and how, and that it is all or nothing."""

import hashlib
import json
import subprocess
import sys

import pytest

from steer.cli.main import main
from steer.errors import FolderUnusable, InputRefused
from steer.intake import object_from_line, reading_from_json, store_readings
from steer.intake.files import read_readings
from steer.intake.problems import LISTED
from steer.log import Log

WHOLE = (
    "time,chainage_m,spot_right_mm,spot_up_mm,yaw_mm_per_m,pitch_mm_per_m,roll_deg,cylinder_1_mm,cylinder_2_mm,"
    "cylinder_3_mm,cylinder_4_mm,jacking_force_kn,face_pressure_kpa,torque_knm,advance_mm_per_min,lubricant_l,note\n"
    '2026-03-01T14:05:00Z,0.05,1.5,-2,0.3,4.1,-0.5,36,37,,35,800,120,14.5,42,3.5,"a, note"\n'
)
WHOLE_BODY = {
    "time": "2026-03-01T14:05:00Z",
    "chainage_m": 0.05,
    "spot_right_mm": 1.5,
    "spot_up_mm": -2.0,
    "yaw_mm_per_m": 0.3,
    "pitch_mm_per_m": 4.1,
    "roll_deg": -0.5,
    "cylinder_mm": [36.0, 37.0, None, 35.0],
    "jacking_force_kn": 800.0,
    "face_pressure_kpa": 120.0,
    "torque_knm": 14.5,
    "advance_mm_per_min": 42.0,
    "lubricant_l": 3.5,
    "note": "a, note",
}
TWO = [{"chainage_m": 9.99, "roll_deg": 1.5}, {"chainage_m": 10.0}]

# name -> (content, bodies)
UNDERSTOOD = {
    "every column": (WHOLE, [WHOLE_BODY]),
    "every member": (json.dumps({"kind": "reading", **WHOLE_BODY}), [WHOLE_BODY]),
    "no kind, nulls": (
        '{"chainage_m": 9.99, "roll_deg": 1.5}\n{"chainage_m": 10, "yaw_mm_per_m": null}\n',
        TWO,
    ),
    "no cylinder measured": (
        '{"chainage_m": 1, "cylinder_mm": [null, null, null, null]}',
        [{"chainage_m": 1.0}],
    ),
    "empty cells": ("chainage_m,roll_deg\n9.99,1.5\n10,\n", TWO),
    "byte order mark, Windows line ends": ("\ufeffchainage_m,roll_deg\r\n9.99,1.5\r\n10,\r\n", TWO),
    "old Macintosh line ends": ("chainage_m,roll_deg\r9.99,1.5\r10,\r", TWO),
    "blank lines, spaces, empty rows": ("\n chainage_m , roll_deg \n\n 9.99 , 1.5 \n,\n10, \n\n", TWO),
    "spreadsheet's empty columns": ("chainage_m,roll_deg,,\n9.99,1.5,,\n10,,,\n", TWO),
    "semicolons": ("chainage_m;roll_deg\n9.99;1.5\n10;\n", TWO),
    "tabs": ("chainage_m\troll_deg\n9.99\t1.5\n10\t\n", TWO),
    "semicolons and decimal commas": ("chainage_m;roll_deg\n9,99;1,5\n10;\n", TWO),
    "kind as a column": ("kind,chainage_m,roll_deg\nreading,9.99,1.5\nreading,10,\n", TWO),
    "exponent": ("chainage_m,roll_deg\n999e-2,+15.e-1\n1E1,\n", TWO),
    "slightly before the start": ("chainage_m\n-9.5\n", [{"chainage_m": -9.5}]),
    "target's own offset": (
        "chainage_m,target_line_mm\n1,-3\n",
        [{"chainage_m": 1.0, "target_line_mm": -3.0}],
    ),
    "note of two lines": ('chainage_m,note\n1,"a\nb"\n', [{"chainage_m": 1.0, "note": "a\nb"}]),
}


@pytest.mark.parametrize("case", UNDERSTOOD)
def test_understood(tmp_path, drive, case):
    content, bodies = UNDERSTOOD[case]
    (tmp_path / "r.csv").write_bytes(content.encode())
    assert read_readings(tmp_path / "r.csv", drive)[1] == bodies


@pytest.mark.parametrize(
    ("given", "stored"),
    [
        ("2026-03-01T14:05:00Z", "2026-03-01T14:05:00Z"),
        ("2026-03-01T14:05:00", "2026-03-01T14:05:00Z"),
        ("2026-03-01 14:05", "2026-03-01T14:05:00Z"),
        ("2026-03-29T03:30:00+02:00", "2026-03-29T01:30:00Z"),
        ("2026-03-01T00:05:00.250+0100", "2026-02-28T23:05:00.250000Z"),
    ],
)
def test_times_are_kept_in_utc(tmp_path, drive, given, stored):
    (tmp_path / "r.csv").write_text(f"chainage_m,time\n1,{given}\n")
    assert read_readings(tmp_path / "r.csv", drive)[1] == [{"chainage_m": 1.0, "time": stored}]


# name -> (content, parts that the message must have)
REFUSED = {
    "empty": ("", ["is empty"]),
    "only a byte order mark": ("\ufeff\n\n", ["is empty"]),
    "separators only": (",,\n,\n", ["is empty"]),
    "header only": ("chainage_m,roll_deg\n", ["header but no rows"]),
    "wrong header": ("station,x,y\n1,2,3\n", ["line 1", '"station"', "not known", "chainage_m", "missing"]),
    "misspelt column": ("chainage_m,role_deg\n1,2\n", ["column 2", '"role_deg"', "roll_deg?"]),
    "other unit": ("chainage_m,yaw_deg\n1,2\n", ['"yaw_deg"', "not known"]),
    "no chainage": ("roll_deg\n1\n", ['"chainage_m" is missing']),
    "column twice": ("chainage_m,roll_deg,roll_deg\n1,2,3\n", ["column 3", '"roll_deg"', "twice"]),
    "empty chainage": ("chainage_m,roll_deg\n,2\n", ["line 2", "chainage_m: missing", "number"]),
    "text in a number": ("chainage_m,roll_deg\n1,x\n", ["line 2", 'roll_deg: "x"', "a number at least -180"]),
    "decimal comma, quoted": ('chainage_m,roll_deg\n1,"9,99"\n', ['roll_deg: "9,99"', "decimal point"]),
    "decimal comma, bare": ("chainage_m,roll_deg\n1,9,99\n", ["line 2", "3 cells", "header has 2", "point"]),
    "decimal commas and points": ("chainage_m;roll_deg\n9,99;1.5\n", ['chainage_m: "9,99"', "decimal point"]),
    "doubtful commas": ("chainage_m;jacking_force_kn\n1;1,234\n", ['"1,234"', "decimal point"]),
    "thousands": ('chainage_m,jacking_force_kn\n1,"1,234.5"\n', ['"1,234.5"', "a number"]),
    "dash": ("chainage_m,roll_deg\n1,--\n", ['"--"', "leave the cell empty"]),
    "NaN": ("chainage_m,roll_deg\n1,NaN\n", ['"NaN"', "leave the cell empty"]),
    "inf": ("chainage_m,roll_deg\n1,-inf\n", ['"-inf"', "leave the cell empty"]),
    "1e999": ("chainage_m,roll_deg\n1,1e999\n", ['"1e999"', "a number"]),
    "underscores": ("chainage_m,roll_deg\n1,1_0\n", ['"1_0"', "a number"]),
    "other digits": ("chainage_m,roll_deg\n1,\u0661\n", ["roll_deg", "a number"]),
    "far chainage": (
        "chainage_m\n110.5\n",
        ['"110.5"', "at most 110 m (the drive's axis and 10 m beyond either end)"],
    ),
    "metres for millimetres of chainage": ("chainage_m\n50000\n", ["at most 110 m"]),
    "spot": ("chainage_m,spot_up_mm\n1,10001\n", ["spot_up_mm", "at most 10000 mm"]),
    "yaw": ("chainage_m,yaw_mm_per_m\n1,-501\n", ["yaw_mm_per_m", "at least -500"]),
    "fifth cylinder": ("chainage_m,cylinder_5_mm\n1,36\n", ['"cylinder_5_mm"', "4 cylinders (drive.toml)"]),
    "array in CSV": ("chainage_m,cylinder_mm\n1,36\n", ['"cylinder_mm"', "cylinder_1_mm to cylinder_4_mm"]),
    "spot and target": ("chainage_m,spot_up_mm,target_line_mm\n1,2,3\n", ["line 2", "not both"]),
    "short row": ("chainage_m,roll_deg,yaw_mm_per_m\n1,2\n", ["line 2", "2 cells", "header has 3"]),
    "open quote": ('chainage_m,note\n1,"abc\n2,x\n', ["line 2", "not CSV"]),
    "date only": ("chainage_m,time\n1,2026-03-01\n", ["time", "ISO 8601"]),
    "day first": ("chainage_m,time\n1,01.03.2026 14:05\n", ["time", "ISO 8601"]),
    "no such day": ("chainage_m,time\n1,2026-02-30T00:00:00Z\n", ["time", "ISO 8601"]),
    "long line": ("chainage_m\n" + "1" * 1_000_001 + "\n", ["line 2", "at most 1000000"]),
    "many columns": ("chainage_m," + ",".join(f"c{k}" for k in range(600)) + "\n", ["601 columns"]),
    "NUL": ("chainage_m\n1\0\n", ["line 2", "NUL"]),
    "other kind, CSV": ("kind,chainage_m\ncheck_shot,1\n", ['kind: "check_shot"', '"reading"']),
    "array of JSON": ('[{"chainage_m": 1}]', ["JSON array", "one JSON object a line"]),
    "torn line": ('{"chainage_m": 1}\n{"chainage_m": 2, "ro', ["line 2", "not a JSON object"]),
    "glued lines": ('{"chainage_m": 1}{"chainage_m": 2}', ["line 1", "not a JSON object"]),
    "no object": ('{"chainage_m": 1}\n17\n', ["line 2", "not a JSON object in braces but 17"]),
    "other kind": ('{"kind": "check_shot", "chainage_m": 1}', ['kind: "check_shot"', '"reading"']),
    "text for a number": ('{"chainage_m": "1"}', ['chainage_m: "1"', "a number"]),
    "true for a number": ('{"chainage_m": true}', ["chainage_m: true", "a number"]),
    "NaN in JSON": ('{"chainage_m": NaN}', ["NaN", "write null"]),
    "1e999 in JSON": ('{"chainage_m": 1e999}', ["chainage_m: inf", "a number"]),
    "long number": ('{"chainage_m": ' + "9" * 5000 + "}", ["line 1", "too long"]),
    "number over any float": ('{"chainage_m": ' + "9" * 400 + "}", ["chainage_m", "a number"]),
    "null chainage": ('{"chainage_m": null}', ["chainage_m: missing"]),
    "member twice": ('{"chainage_m": 1, "chainage_m": 2}', ['"chainage_m" twice']),
    "unknown member": ('{"chainage_m": 1, "rol_deg": 2}', ['"rol_deg" is not known', "roll_deg?"]),
    "five cylinders": ('{"chainage_m": 1, "cylinder_mm": [1,2,3,4,5]}', ["4 cylinders", "it holds 5"]),
    "cylinders as text": ('{"chainage_m": 1, "cylinder_mm": [1,2,"3",4]}', ["cylinder_mm", "4 numbers"]),
    "cylinders no array": ('{"chainage_m": 1, "cylinder_mm": 36}', ["cylinder_mm: 36", "an array of 4"]),
    "cylinders apart": ('{"chainage_m": 1, "cylinder_1_mm": 36}', ['"cylinder_1_mm"', "write cylinder_mm"]),
    "note no text": ('{"chainage_m": 1, "note": {"a": 1}}', ["note", "text of at most"]),
    "half a surrogate pair": ('{"chainage_m": 1, "note": "\\ud800"}', ["note", "surrogate"]),
    "deep nesting behind a text": (
        '{"chainage_m": 1, "note": "a \\" quote", "more": ' + "[" * 21 + "]" * 21 + "}",
        ["nested more than 20 deep"],
    ),
    "deep nesting": ('{"chainage_m": 1, "note": ' + "[" * 100_000 + "]" * 100_000 + "}", ["nested"]),
}


def test_a_file_without_a_name(folder, capsys):
    assert main(["read", str(folder), ""]) == 1
    assert capsys.readouterr().err == 'steer: "" names no file: give the name of a file of text\n'


@pytest.mark.parametrize("note", ["[" * 500, "{" * 500 + '"' + "[" * 500, "\\" * 3 + "[" * 500])
def test_brackets_inside_a_text_are_no_nesting(tmp_path, folder, drive, note):
    line = json.dumps({"kind": "reading", "chainage_m": 3, "note": note})
    (tmp_path / "r.jsonl").write_text(line + "\n")
    assert main(["read", str(folder), str(tmp_path / "r.jsonl")]) == 0
    assert reading_from_json(object_from_line(line), drive)["note"] == note


@pytest.mark.parametrize("case", REFUSED)
def test_refused_by_name_and_nothing_stored(tmp_path, folder, capsys, case):
    content, parts = REFUSED[case]
    path = tmp_path / "readings.csv"
    path.write_bytes(content.encode())
    assert main(["read", str(folder), str(path)]) == 1
    out, message = capsys.readouterr()
    assert out == ""
    assert "readings.csv" in message
    for part in parts:
        assert part in message
    assert "Traceback" not in message
    assert len(message) < 6000
    assert not (folder / "drive.db").exists()


@pytest.mark.parametrize(
    ("content", "part"),
    [
        ("chainage_m\n1\n".encode("utf-16"), "UTF-16"),
        ("chainage_m,note\n1,Böschung\n".encode("latin-1"), "line 2: byte 0xf6 is not UTF-8"),
        (b"PK\x03\x04\0\0", "NUL"),
    ],
)
def test_other_encodings(tmp_path, drive, content, part):
    (tmp_path / "r.csv").write_bytes(content)
    with pytest.raises(InputRefused, match=part):
        read_readings(tmp_path / "r.csv", drive)


def test_files_that_are_none(tmp_path, folder):
    for path, part in (
        (folder, "is a folder"),
        (tmp_path / "none.csv", "No such file"),
        ("/dev/null", "not an ordinary file"),
        ("a\0b", "cannot be read"),
    ):
        with pytest.raises(InputRefused, match=part):
            store_readings(folder, [path])


def test_control_sequences_in_names_and_values_never_come_out_raw(tmp_path, folder, capsys):
    path = tmp_path / "a\x1b[2J\u202eb.csv"
    path.write_text("chainage_m,\x1b]0;title\x07\n\x9b31m,1\n")
    assert main(["read", str(folder), str(path)]) == 1
    path.write_text("chainage_m\n\x1b[31m1\n")
    assert main(["read", str(folder), str(path)]) == 1
    path.write_text("chainage_m\n1\n")
    assert main(["read", str(folder), str(path)]) == 0
    assert main(["read", "no\x1b[2Jfolder\u202e", str(path)]) == 3
    out, err = capsys.readouterr()
    assert "\\x1b[2J\\u202eb.csv" in out
    for raw in "\x1b\x07\x9b\u202e":
        assert raw not in out + err


def test_every_bad_row_is_named_up_to_a_limit_and_the_rest_is_counted(tmp_path, drive):
    good = [f"{k / 10},1" for k in range(50)]
    bad = ["x,1", "2,1e999", "3,y"] * 20
    (tmp_path / "r.csv").write_text("\n".join(["chainage_m,roll_deg", *good, *bad]) + "\n")
    with pytest.raises(InputRefused) as caught:
        read_readings(tmp_path / "r.csv", drive)
    lines = caught.value.problems
    assert "60 rows are wrong" in lines[0]
    assert "line 52: chainage_m" in lines[1]
    assert "line 53: roll_deg" in lines[2]
    assert f"and {60 - LISTED} more problems" in lines[-1]
    assert len(lines) == LISTED + 2


def test_the_account(tmp_path, folder, capsys):
    path = tmp_path / "r.csv"
    path.write_text("chainage_m\n1\n2\n")
    assert main(["read", str(folder), str(path)]) == 0
    assert capsys.readouterr().out == "2 readings stored (from r.csv), 0 refused\n"
    with Log.open(folder) as log:
        events = list(log.events())
    assert [e.kind for e in events] == ["file", "reading", "reading"]
    content = path.read_bytes()
    assert events[0].body == {
        "name": "r.csv",
        "kind": "reading",
        "sha256": hashlib.sha256(content).hexdigest(),
        "bytes": len(content),
        "rows": 2,
        "new_rows": 2,
    }


def test_a_file_read_twice_is_stored_once_under_whatever_name(tmp_path, folder, capsys):
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("chainage_m\n1\n2\n")
        assert main(["read", str(folder), str(tmp_path / name), str(tmp_path / name)]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0] == "2 readings stored (from a.csv), 0 refused"
    assert len(out) == 4
    for line in out[1:]:
        assert line.startswith("0 readings stored")
        assert "read before" in line
    with Log.open(folder) as log:
        assert log.last_sequence() == 3


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_of_a_file_that_has_grown_only_the_new_rows_are_stored(tmp_path, folder, end):
    path = tmp_path / "logger.csv"
    counts = []
    for rows in (3, 7, 8):
        text = end.join(["chainage_m", *(str(k) for k in range(rows))])
        path.write_text(text + (end if rows != 7 else ""), newline="")
        counts.append(store_readings(folder, [path])[0])
    assert [(c.stored, c.known) for c in counts] == [(3, 0), (4, 3), (1, 7)]
    with Log.open(folder) as log:
        stored = [e.body["chainage_m"] for e in log.events() if e.kind == "reading"]
    assert stored == [float(k) for k in range(8)]


def test_a_last_line_read_while_it_was_being_written_is_said(tmp_path, folder):
    path = tmp_path / "logger.csv"
    path.write_text("chainage_m\n1\n2")
    store_readings(folder, [path])
    path.write_text("chainage_m\n1\n2.5\n3\n")
    with pytest.raises(InputRefused, match="last line was being written"):
        store_readings(folder, [path])


def test_of_two_files_with_one_bad_none_is_stored_and_all_problems_are_named(tmp_path, folder, capsys):
    for name, text in (("a", "1\n"), ("b", "x\n"), ("c", "y\n")):
        (tmp_path / name).write_text("chainage_m\n" + text)
    assert main(["read", str(folder), *(str(tmp_path / n) for n in "abc")]) == 1
    message = capsys.readouterr().err
    assert '"x"' in message
    assert '"y"' in message
    assert not (folder / "drive.db").exists()


def test_two_programs_reading_the_same_file_store_it_once(tmp_path, folder):
    path = tmp_path / "r.csv"
    path.write_text("chainage_m\n" + "".join(f"{k / 100}\n" for k in range(2000)))
    command = [sys.executable, "-m", "steer.cli.main", "read", str(folder), str(path)]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE) for _ in range(3)]
    out = sorted(p.communicate()[0].decode().split()[0] for p in running)
    assert out == ["0", "0", "2000"]
    with Log.open(folder) as log:
        assert log.last_sequence() == 2001


def test_a_folder_without_a_drive_is_exit_3(tmp_path, capsys):
    (tmp_path / "r.csv").write_text("chainage_m\n1\n")
    assert main(["read", str(tmp_path / "none"), str(tmp_path / "r.csv")]) == 3
    assert main(["read", str(tmp_path), str(tmp_path / "r.csv")]) == 3
    assert "drive.toml" in capsys.readouterr().err
    with pytest.raises(FolderUnusable):
        store_readings(tmp_path, [tmp_path / "r.csv"])
