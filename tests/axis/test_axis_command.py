"""`steer axis` as other programs call it: the contract's JSON, CSV, and exit codes."""

import csv
import io
import json
import math
import shutil
from pathlib import Path

import pytest

from steer.cli.main import main
from steer.drivefile import load_drive

DATA = Path(__file__).parent / "data"


@pytest.fixture
def folder(tmp_path):
    drive = tmp_path / "drive"
    drive.mkdir()
    shutil.copy(DATA / "drive_curved.toml", drive / "drive.toml")
    return drive


def asked(capsys, *arguments):
    """Exit code, stdout, stderr."""
    try:
        code = main(["axis", *map(str, arguments)])
    except SystemExit as stop:
        code = stop.code
    out, err = capsys.readouterr()
    return code, out, err


def test_json_of_the_contract(folder, capsys):
    code, out, _ = asked(capsys, folder, "--at", 120, 0, "--locate", "5050.0,2040.0,12.6", "--json")
    answer = json.loads(out)
    assert code == 0
    assert list(answer) == ["at", "locate"]
    assert [row["chainage_m"] for row in answer["at"]] == [120.0, 0.0]
    assert answer["at"][1] == {
        "chainage_m": 0.0,
        "easting_m": 5000.0,
        "northing_m": 2000.0,
        "level_m": 12.34,
        "bearing_deg": 47.5,
        "grade_mm_per_m": 4.0,
        "curvature_right_mm_per_m2": 0.0,
        "curvature_up_mm_per_m2": 0.0,
    }
    assert list(answer["locate"][0]) == ["chainage_m", "line_mm", "level_mm"]
    # bearing by hand: 47.5° + 20 m of clothoid to R 600 + 40 m of arc
    assert math.radians(answer["at"][0]["bearing_deg"] - 47.5) == pytest.approx(10 / 600 + 40 / 600)
    assert answer["at"][0]["grade_mm_per_m"] == pytest.approx(5.0)
    assert answer["at"][0]["curvature_right_mm_per_m2"] == pytest.approx(1000 / 600)
    assert answer["at"][0]["curvature_up_mm_per_m2"] == pytest.approx(0.05)


def test_numbers_are_given_to_a_tenth_of_a_micrometre(folder, capsys):
    axis = load_drive(folder).axis
    _, out, _ = asked(capsys, folder, "--at", 70, "--json")
    row, p = json.loads(out)["at"][0], axis.at(70.0)
    assert (row["easting_m"], row["northing_m"], row["level_m"]) == pytest.approx(
        (p.easting_m, p.northing_m, p.level_m), abs=1e-7
    )
    e, n, level = axis.position(70.0, 12.3456, -7.8912)
    _, out, _ = asked(capsys, folder, "--locate", f"{e!r},{n!r},{level!r}", "--json")
    place = json.loads(out)["locate"][0]
    assert (place["chainage_m"], place["line_mm"], place["level_mm"]) == pytest.approx(
        (70.0, 12.3456, -7.8912), abs=1e-4
    )


def test_every_from_start_to_end_inclusive(folder, capsys):
    _, out, _ = asked(capsys, folder, "--every", 50, "--json")
    assert [row["chainage_m"] for row in json.loads(out)["at"]] == [0.0, 50.0, 100.0, 150.0, 160.0]
    _, out, _ = asked(capsys, folder, "--every", 40, "--json")
    assert [row["chainage_m"] for row in json.loads(out)["at"]] == [0.0, 40.0, 80.0, 120.0, 160.0]
    _, out, _ = asked(capsys, folder, "--every", 0.1, "--json")
    rows = json.loads(out)["at"]
    assert len(rows) == 1601 and rows[-1]["chainage_m"] == pytest.approx(160.0)
    _, out, _ = asked(capsys, folder, "--at", 7, "--every", 1000, "--at", 3, "--json")
    assert [row["chainage_m"] for row in json.loads(out)["at"]] == [7.0, 3.0, 0.0, 160.0]


def test_points_with_minus_signs(folder, capsys):
    points = ["-5.0,3,1", "-.5,-3,-1e3", "-12,-1,-2"]
    code, out, _ = asked(capsys, folder, "--locate", *points, "--json")
    assert code == 0
    assert len(json.loads(out)["locate"]) == 3
    code, out, _ = asked(capsys, folder, "--json", "--locate", points[0], "--locate", points[1])
    assert code == 0
    assert len(json.loads(out)["locate"]) == 2


def test_before_the_start_and_after_the_end(folder, capsys):
    axis = load_drive(folder).axis
    points = [",".join(map(repr, axis.position(s, 25.0, -40.0))) for s in (-15.0, 172.0)]
    _, out, _ = asked(capsys, folder, "--locate", *points, "--json")
    for place, s in zip(json.loads(out)["locate"], (-15.0, 172.0), strict=True):
        assert place["chainage_m"] == pytest.approx(s, abs=1e-7)
        assert (place["line_mm"], place["level_mm"]) == pytest.approx((25.0, -40.0), abs=1e-4)


def test_a_point_without_a_foot_says_so(folder, capsys):
    axis = load_drive(folder).axis
    centre = ",".join(map(repr, axis.position(120.0, 600_000.0, 0.0)))
    code, out, err = asked(capsys, folder, "--locate", "5000,2000,12", centre, "--json")
    places = json.loads(out)["locate"]
    assert code == 1
    assert places[0]["chainage_m"] is not None
    assert places[1]["chainage_m"] is places[1]["line_mm"] is places[1]["level_mm"] is None
    assert "no unique foot" in places[1]["why"] and "no unique foot" in err


def test_csv(folder, capsys):
    _, out, _ = asked(capsys, folder, "--every", 40, "--csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    _, text, _ = asked(capsys, folder, "--every", 40, "--json")
    assert [{k: float(v) for k, v in row.items()} for row in rows] == json.loads(text)["at"]
    _, out, _ = asked(capsys, folder, "--locate", "5050,2040,12.6", "--csv")
    (row,) = csv.DictReader(io.StringIO(out))
    assert (float(row["point_easting_m"]), float(row["point_level_m"])) == (5050.0, 12.6)
    assert float(row["line_mm"]) > 0.0


def test_for_people_sides_are_words(folder, capsys):
    axis = load_drive(folder).axis
    point = ",".join(map(repr, axis.position(30.0, -12.0, 34.0)))
    _, out, _ = asked(capsys, folder, "--at", 120, "--locate", point)
    assert "5.000 rising" in out and "600.0 right" in out and "20000.0 up" in out
    assert "12.0 mm left" in out and "34.0 mm high" in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_point_on_the_axis_has_no_side(folder, capsys):
    point = ",".join(map(repr, load_drive(folder).axis.position(30.0, 0.0, 0.0)))
    _, out, _ = asked(capsys, folder, "--locate", point)
    assert out.splitlines()[1].split()[3:] == ["30.000", "0.0", "mm", "0.0", "mm"]


def test_a_jump_of_grade_is_told_with_its_element(folder, capsys):
    text = (folder / "drive.toml").read_text()
    at = text.index("vertical = [")
    jump = """vertical = [
  { kind = "grade", length_m = 60.0, grade_mm_per_m = 4.0 },
  { kind = "grade", length_m = 100.0, grade_mm_per_m = 4.2 },
]
"""
    (folder / "drive.toml").write_text(text[:at] + jump + text[text.index("]\n", at) + 2 :])
    code, _, err = asked(capsys, folder)
    assert code == 3
    assert "axis.vertical, element 2: the grade jumps by +0.200 mm/m at chainage 60.000 m" in err


def test_nothing_asked_gives_the_joints(folder, capsys):
    code, out, _ = asked(capsys, folder, "--csv")
    assert code == 0
    assert [row["chainage_m"] for row in csv.DictReader(io.StringIO(out))] == [
        "0.0",
        "60.0",
        "80.0",
        "100.0",
        "160.0",
    ]


def test_chainage_off_the_axis_is_refused(folder, capsys):
    code, out, err = asked(capsys, folder, "--at", "-1", "50", "160.5", "--json")
    assert (code, out) == (1, "")
    assert "-1" in err and "160.5" in err and "0 to 160" in err


@pytest.mark.parametrize(
    "arguments",
    [
        ["--at", "abc"],
        ["--at", "nan"],
        ["--at"],
        ["--every", "0"],
        ["--every", "-5"],
        ["--every", "1e-9"],
        ["--every", "1e-320"],
        ["--locate", "1,2"],
        ["--locate", "1,2,x"],
        ["--locate", "1,2,inf"],
        ["--locate", "1,2,1e300"],
        ["--json", "--csv"],
        ["--csv", "--at", "1", "--locate", "1,2,3"],
        ["--plot", "drawing.docx"],
        ["--sideways"],
    ],
)
def test_a_wrong_command_line(folder, capsys, arguments):
    code, out, err = asked(capsys, folder, *arguments)
    assert (code, out) == (2, "")
    assert err


def test_no_folder_is_exit_3(tmp_path, capsys):
    code, out, err = asked(capsys, tmp_path / "none", "--at", "1")
    assert (code, out) == (3, "")
    assert "none" in err


def test_axis_from_landxml_and_its_notes(folder, capsys):
    shutil.copy(DATA / "road_line_arc_line_usft.xml", folder / "axis.xml")
    text = (folder / "drive.toml").read_text()
    table = text[text.index("[axis]") : text.index("[tolerance]")]
    name = "PR_Twin_Branch_section"
    (folder / "drive.toml").write_text(
        text.replace(table, f'[axis]\nlandxml = "axis.xml"\nalignment = "{name}"\n')
    )
    code, out, err = asked(capsys, folder, "--every", 100, "--json")
    assert code == 0
    assert json.loads(out)["at"][0]["chainage_m"] == pytest.approx(2103.72056 * 1200 / 3937, abs=1e-9)
    assert "trimmed" in err


def test_the_only_alignment_of_a_file_needs_no_name(folder, capsys):
    xml = (DATA / "road_line_arc_line_usft.xml").read_text()
    text = (folder / "drive.toml").read_text()
    table = text[text.index("[axis]") : text.index("[tolerance]")]
    (folder / "drive.toml").write_text(text.replace(table, '[axis]\nlandxml = "axis.xml"\n'))
    (folder / "axis.xml").write_text(xml)
    assert asked(capsys, folder, "--at", 700)[0] == 0
    one = xml[xml.index("<Alignment ") : xml.index("</Alignments>")]
    (folder / "axis.xml").write_text(xml.replace(one, one + one.replace("PR_Twin", "Other")))
    code, _, err = asked(capsys, folder, "--at", 700)
    assert code == 3 and '"PR_Twin_Branch_section", "Other_Branch_section"' in err


def test_a_circular_vertical_curve_is_shown_with_its_own_radius(folder, capsys):
    """Curvature is dg/ds in the contract; at 100 mm/m the radius 20,000 m would read 19,704 by it."""
    text = (folder / "drive.toml").read_text()
    at = text.index("vertical = [")
    length = 20_000.0 * (math.sin(math.atan(0.104)) - math.sin(math.atan(0.1)))
    axis = load_drive(folder).axis
    total = axis.end_chainage_m - axis.start_chainage_m
    curved = (
        f'vertical = [{{ kind = "arc", length_m = {length}, grade_start_mm_per_m = 100.0, '
        f'grade_end_mm_per_m = 104.0 }}, {{ kind = "grade", length_m = {total - length}, grade_mm_per_m = 104.0 }}]'
    )
    (folder / "drive.toml").write_text(text[:at] + curved + text[text.index("\n]", at) + 2 :])
    code, out, err = asked(capsys, folder, "--at", 20)
    assert code == 0, err
    assert "20000.0 up" in out
    assert main(["check", str(folder)]) == 0
    assert "In level: tightest curve R = 20000 m" in " ".join(capsys.readouterr().out.split())


def test_every_says_its_smallest_step_and_its_most_rows(folder, capsys):
    _, _, err = asked(capsys, folder, "--every", "1e-320")
    assert "at least 0.001 (m)" in err
    text = (folder / "drive.toml").read_text()
    at, end = text.index("horizontal = ["), text.index("[tolerance]")
    lists = 'horizontal = [{ kind = "line", length_m = 2000.0 }]\n'
    lists += 'vertical = [{ kind = "grade", length_m = 2000.0, grade_mm_per_m = 0.0 }]\n'
    (folder / "drive.toml").write_text(text[:at] + lists + text[end:])
    code, out, err = asked(capsys, folder, "--every", "0.001")
    assert (code, out) == (2, "") and "makes 2000001 rows, at most 1000000" in err
