"""Files with other headers come in through a map."""

import pytest

from steer.cli.main import main
from steer.errors import InputRefused
from steer.intake.files import read_readings
from steer.intake.mapfile import load_map
from steer.intake.records import reading_columns

MAP = """
time = "When"
chainage_m = { column = "Station [mm]", factor = 0.001, offset = 5 }
spot_right_mm = { column = "X [m]", factor = -1000.0 }
cylinder_2_mm = { column = "Zyl;2" }
"""
ROWS = 'When,Station [mm],X [m],Zyl;2,Extra\n2026-03-01T14:05:00Z,2000,0.002,36,?\n,3000,"",,\n'
BODIES = [
    {
        "time": "2026-03-01T14:05:00Z",
        "chainage_m": 7.0,
        "spot_right_mm": -2.0,
        "cylinder_mm": [None, 36.0, None, None],
    },
    {"chainage_m": 8.0},
]


def test_value_is_factor_times_cell_plus_offset(tmp_path, drive):
    (tmp_path / "m.toml").write_text(MAP)
    (tmp_path / "r.csv").write_text(ROWS)
    table, bodies = read_readings(tmp_path / "r.csv", drive, tmp_path / "m.toml")
    assert bodies == BODIES
    assert table.remarks == ["columns left out: Extra"]


def test_members_of_json_lines_are_mapped_too(tmp_path, drive):
    (tmp_path / "m.toml").write_text(MAP)
    (tmp_path / "r.jsonl").write_text(
        '{"When": "2026-03-01T14:05:00Z", "Station [mm]": 2000, "X [m]": 0.002, "Zyl;2": 36, "Extra": 1}\n'
        '{"Station [mm]": 3000, "X [m]": null}\n'
    )
    table, bodies = read_readings(tmp_path / "r.jsonl", drive, tmp_path / "m.toml")
    assert bodies == BODIES
    assert table.remarks == ["members left out: Extra"]


def test_semicolons_and_decimal_commas_through_a_map(tmp_path, drive):
    (tmp_path / "m.toml").write_text('chainage_m = "Stat."\nspot_up_mm = {column = "Y", factor = 1000}\n')
    (tmp_path / "r.csv").write_text("Stat.;Y\n1,25;0,002\n")
    assert read_readings(tmp_path / "r.csv", drive, tmp_path / "m.toml")[1] == [
        {"chainage_m": 1.25, "spot_up_mm": 2.0}
    ]


def test_a_refusal_names_the_file_s_own_column(tmp_path, folder, capsys):
    (tmp_path / "m.toml").write_text(MAP)
    (tmp_path / "r.csv").write_text(ROWS.replace("0.002", "0.0x2").replace("3000", "900000"))
    assert main(["read", str(folder), str(tmp_path / "r.csv"), "--map", str(tmp_path / "m.toml")]) == 1
    message = capsys.readouterr().err
    assert 'line 2: X [m] (spot_right_mm): "0.0x2" is not allowed' in message
    assert 'line 3: Station [mm] (chainage_m): "900000"' in message
    assert "after 0.001 · cell + 5" in message


def test_a_column_that_the_file_lacks(tmp_path, drive):
    (tmp_path / "m.toml").write_text('chainage_m = "Station"\nroll_deg = "Roll"\n')
    (tmp_path / "r.csv").write_text("Station,Rol\n1,2\n")
    with pytest.raises(InputRefused, match=r'"Roll" is missing in the header \(did you mean Rol\?\)'):
        read_readings(tmp_path / "r.csv", drive, tmp_path / "m.toml")
    (tmp_path / "m.toml").write_text('roll_deg = "Rol"\n')
    with pytest.raises(InputRefused, match="chainage_m is missing in the map"):
        read_readings(tmp_path / "r.csv", drive, tmp_path / "m.toml")


def test_all_problems_of_a_map_are_listed(tmp_path, drive):
    (tmp_path / "m.toml").write_text(
        'chainage = "A"\n'
        "roll_deg = 4\n"
        'spot_up_mm = { column = "B", faktor = 2 }\n'
        'spot_right_mm = { column = "C", factor = 0 }\n'
        'yaw_mm_per_m = { column = "D", factor = nan, offset = "x" }\n'
        "pitch_mm_per_m = { factor = 1 }\n"
        'time = { column = "E", factor = 2 }\n'
        'torque_knm = "F"\n'
        'lubricant_l = "F"\n'
        'note = { column = "" }\n'
    )
    with pytest.raises(InputRefused) as caught:
        load_map(tmp_path / "m.toml", reading_columns(drive))
    said = "\n".join(caught.value.problems)
    for part in (
        '"chainage" is not known (did you mean chainage_m?)',
        "roll_deg: 4 is not allowed",
        "spot_up_mm.faktor is not known (did you mean factor?)",
        "spot_right_mm.factor: 0 is not allowed: must be a number, not 0",
        "yaw_mm_per_m.factor: nan",
        'yaw_mm_per_m.offset: "x"',
        "pitch_mm_per_m.column: missing",
        "time.factor: time is no number",
        'lubricant_l: column "F" is already given to torque_knm',
        'note.column: ""',
    ):
        assert part in said
    assert all("m.toml" in line for line in caught.value.problems)


@pytest.mark.parametrize(
    ("content", "part"),
    [(b"", "empty"), (b"a = ", "not TOML"), (b"\xff", "UTF-8"), (b"a = " + b"[" * 100_000, "not TOML")],
)
def test_what_is_no_map(tmp_path, drive, content, part):
    (tmp_path / "m.toml").write_bytes(content)
    with pytest.raises(InputRefused, match=part):
        load_map(tmp_path / "m.toml", reading_columns(drive))


@pytest.mark.parametrize("command", ["read", "shots"])
def test_a_map_of_no_name_is_not_taken_for_none(folder, drive, tmp_path, capsys, command):
    path = tmp_path / "r.csv"
    shots = "chainage_m,point,line_mm,level_mm,sd_mm\n1,face,1,1,2\n"
    path.write_text("chainage_m,spot_right_mm\n1.0,2.0\n" if command == "read" else shots)
    with pytest.raises(SystemExit) as ended:
        main([command, str(folder), str(path), "--map", ""])
    assert ended.value.code == 2 and 'argument --map: MAP.toml is ""' in capsys.readouterr().err
    with pytest.raises(InputRefused, match="names no file"):
        read_readings(path, drive, "")
