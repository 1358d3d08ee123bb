"""Check shots from files."""

import pytest

from steer.cli.main import main
from steer.errors import InputRefused
from steer.intake.files import read_shots
from steer.log import Log

HEAD = "chainage_m,point,line_mm,level_mm,easting_m,northing_m,level_m,sd_mm,sd_line_mm,sd_level_mm\n"

# The template's axis starts at 1000, 1000, 50, runs due east and rises by 4 mm/m.
PLACE = {"easting_m": 1012.0, "northing_m": 999.99, "level_m": 50.05}
SHAFT = {"easting_m": 995.0, "northing_m": 1000.0, "level_m": 50.0}
UNDERSTOOD = {
    "offsets": ("12,face,3,-4,,,,2,,", {"chainage_m": 12, "line_mm": 3, "level_mm": -4, "sd_mm": 2}),
    "line alone": ("12,tail,3,,,,,,2,", {"chainage_m": 12, "line_mm": 3, "sd_line_mm": 2}),
    "level alone": ("12,target,,5,,,,,,1", {"chainage_m": 12, "level_mm": 5, "sd_level_mm": 1}),
    "coordinates": ("12,face,,,1012,999.99,50.05,2,,", {"chainage_m": 12, **PLACE, "sd_mm": 2}),
    "pipe": (",pipe,,,1012,999.99,50.05,,2,3", {**PLACE, "sd_line_mm": 2, "sd_level_mm": 3}),
    "tail in the launch shaft": ("0,tail,,,995,1000,50,2,,", {"chainage_m": 0, **SHAFT, "sd_mm": 2}),
}

REFUSED = {
    "no point": ("12,,3,4,,,,2,,\n", ["point: missing", '"tail"']),
    "other point": ("12,nose,3,4,,,,2,,\n", ['point: "nose"', '"face", "target", "tail" or "pipe"']),
    "no survey": ("12,face,,,,,,2,,\n", ["holds no survey"]),
    "both": ("12,face,3,4,1012,1000,50,2,,\n", ["not both"]),
    "half a place": ("12,face,,,1012,,50,2,,\n", ["northing_m: missing"]),
    "no chainage": (",face,3,4,,,,2,,\n", ["chainage_m: missing", "only a pipe's point"]),
    "pipe by offsets without chainage": (",pipe,3,4,,,,2,,\n", ["chainage_m: missing"]),
    "no sd": ("12,face,3,4,,,,,,\n", ["sd_mm (or sd_line_mm and sd_level_mm): missing"]),
    "one sd of two": ("12,face,3,4,,,,,2,\n", ["sd_mm (or sd_level_mm): missing"]),
    "sd both ways": ("12,face,3,4,,,,2,2,2\n", ["sd_mm and sd_line_mm and sd_level_mm: give the one"]),
    "sd of nothing": ("12,face,3,4,,,,0,,\n", ['sd_mm: "0"', "at least 0.01"]),
    "sd in metres": ("12,face,3,4,,,,0.002,,\n", ['sd_mm: "0.002"', "mm (not m)"]),
    "turned round": ("12,face,,,1000,1012,50,2,,\n", ["12 m off the drive's axis", "changed over"]),
    "another chainage": ("90,face,,,1012,999.99,50.05,2,,\n", ["chainage_m: 90", "lies at 12.00 m"]),
    "other grid": ("12,face,,,501000,4001000,50,2,,\n", ["off the drive's axis"]),
    "before the shaft": ("0,tail,,,980,1000,50,2,,\n", ["20 m off the drive's axis"]),
    "far": ("150,face,3,4,,,,2,,\n", ['"150"', "at most 110 m"]),
}


@pytest.mark.parametrize("case", UNDERSTOOD)
def test_understood(tmp_path, drive, case):
    row, body = UNDERSTOOD[case]
    (tmp_path / "s.csv").write_text(HEAD + row)
    assert read_shots(tmp_path / "s.csv", drive)[1] == [{**body, "point": row.split(",")[1]}]


@pytest.mark.parametrize("case", REFUSED)
def test_refused(tmp_path, folder, capsys, case):
    row, parts = REFUSED[case]
    (tmp_path / "s.csv").write_text(HEAD + "1,face,1,1,,,,2,,\n" + row)
    assert main(["shots", str(folder), str(tmp_path / "s.csv")]) == 1
    message = capsys.readouterr().err
    assert "s.csv: line 3: " in message
    assert "1 row is wrong" in message
    for part in parts:
        assert part in message
    assert not (folder / "drive.db").exists()


def test_json_lines_and_the_account(tmp_path, folder, capsys):
    path = tmp_path / "s.jsonl"
    path.write_text(
        '{"kind": "check_shot", "chainage_m": 3, "point": "face", "line_mm": 1, "note": null, "sd_mm": 2}\n'
        '{"chainage_m": 6, "point": "target", "line_mm": 1, "level_mm": 2, "sd_mm": 2}\n'
    )
    assert main(["shots", str(folder), str(path)]) == 0
    assert capsys.readouterr().out.startswith("2 check shots stored (from s.jsonl), 0 refused\n")
    with Log.open(folder) as log:
        assert [e.kind for e in log.events()] == ["file", "check_shot", "check_shot"]
    path.write_text('{"kind": "reading", "chainage_m": 3}')
    assert main(["shots", str(folder), str(path)]) == 1
    assert '"check_shot", which is what is read here' in capsys.readouterr().err


def test_readings_given_as_shots_are_refused(tmp_path, drive):
    (tmp_path / "r.csv").write_text("chainage_m,spot_right_mm\n1,2\n")
    with pytest.raises(InputRefused, match="spot_right_mm"):
        read_shots(tmp_path / "r.csv", drive)
