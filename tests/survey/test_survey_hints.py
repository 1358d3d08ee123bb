"""What is said when a survey does not hold together, or ties nothing: control changed over, zenith angles alone."""

import math

import pytest

from steer.cli.main import main

POINTS = {"A": (1000.0, 2000.0, 50.0), "B": (1100.0, 2050.0, 52.0), "C": (1050.0, 2120.0, 55.0),
          "S": (1040.0, 2030.0, 50.5), "P": (1060.0, 2060.0, 51.0)}  # fmt: skip
HEADER = "station,set,target,direction_deg,zenith_deg,slope_m,sd_direction_sec,sd_zenith_sec,sd_distance_mm"


def sights(station, targets, turned_deg):
    """Exact sights in a world without curvature."""
    rows = []
    for target in targets:
        east, north, up = (b - a for a, b in zip(POINTS[station], POINTS[target], strict=True))
        flat = math.hypot(east, north)
        direction = (math.degrees(math.atan2(east, north)) - turned_deg) % 360.0
        zenith = math.degrees(math.atan2(flat, up))
        rows.append(f"{station},1,{target},{direction:.6f},{zenith:.6f},{math.hypot(flat, up):.4f},2,3,1")
    return rows


def reduced(tmp_path, capsys, rows, control, header=HEADER):
    (tmp_path / "sights.csv").write_text("\n".join([header, *rows]) + "\n")
    lines = [f"{name},{e},{n},{z}," for name, (e, n, z) in control.items()]
    (tmp_path / "control.csv").write_text(
        "\n".join(["point,easting_m,northing_m,level_m,sd_mm", *lines]) + "\n"
    )
    code = main(["reduce", str(tmp_path / "sights.csv"), "--control", str(tmp_path / "control.csv"),
                 "--refraction", "none"])  # fmt: skip
    out, err = capsys.readouterr()
    return code, " ".join(out.split()), err


FREE = sights("S", "ABCP", 33.3)


@pytest.mark.parametrize(
    ("who", "words"), [("ABC", "all control"), ("B", "control point B"), ("A", "control point A")]
)
def test_control_changed_over_is_recognised(tmp_path, capsys, who, words):
    control = {n: (POINTS[n][1], POINTS[n][0], POINTS[n][2]) if n in who else POINTS[n] for n in "ABC"}
    code, out, err = reduced(tmp_path, capsys, FREE, control)
    assert f"with easting and northing of {words} the other way round the sights fit" in out + err
    assert code == (0 if out else 1) and ("FAILED" in out or err)


def test_a_sound_survey_and_another_blunder_do_not_say_so(tmp_path, capsys):
    control = {n: POINTS[n] for n in "ABC"}
    code, out, _ = reduced(tmp_path, capsys, FREE, control)
    assert code == 0 and "passed" in out and "changed over" not in out
    east, north, up = control["C"]
    code, out, err = reduced(tmp_path, capsys, FREE, {**control, "C": (east + 40.0, north, up)})
    assert "changed over" not in out + err


def test_zenith_angles_alone_place_nothing(tmp_path, capsys):
    rows = ["A,P,90.5,3", "B,P,90.1,3"]
    control = {n: POINTS[n] for n in "AB"}
    code, _, err = reduced(tmp_path, capsys, rows, control, "station,target,zenith_deg,sd_zenith_sec")
    assert code == 1 and "P: only zenith angles sight it, which give a height and no place" in err


def test_a_control_name_nearly_sighted_is_said_though_the_rest_suffices(tmp_path, capsys):
    rows = [row.replace("S,1,C,", "S,1,c,") for row in FREE]
    code, out, _ = reduced(tmp_path, capsys, rows, {n: POINTS[n] for n in "ABC"})
    assert code == 0 and "control point C is in no sight (did you mean c?)" in out


def test_a_wrong_control_point_is_named_with_its_way(tmp_path, capsys):
    """C stands 0.5 m too far east in the control: no sight is wrong, so the hint says what is."""
    control = {n: POINTS[n] for n in "ABC"}
    east, north, up = control["C"]
    code, out, _ = reduced(tmp_path, capsys, FREE, {**control, "C": (east + 0.5, north, up)})
    assert code == 0 and "FAILED" in out
    assert "without control point C the sights fit: by them it lies 0.500 m west of where" in out
    code, out, _ = reduced(tmp_path, capsys, FREE, control)
    assert "without control point" not in out


def test_a_single_wrong_sight_is_not_put_on_the_control(tmp_path, capsys):
    rows = [*FREE, *(row.replace("S,1", "S,2") for row in sights("S", "ABC", 200.0))]
    cells = rows[1].split(",")
    cells[3] = f"{float(cells[3]) + 0.1:.6f}"
    rows[1] = ",".join(cells)
    code, out, _ = reduced(tmp_path, capsys, rows, {n: POINTS[n] for n in "ABC"})
    assert code == 0 and "SUSPECT: row 3 " in out and "without control point" not in out


def test_files_given_the_wrong_way_round_are_said(tmp_path, capsys):
    reduced(tmp_path, capsys, FREE, {n: POINTS[n] for n in "ABC"})
    code = main(["reduce", str(tmp_path / "control.csv"), "--control", str(tmp_path / "sights.csv")])
    out, err = capsys.readouterr()
    assert code == 1 and not out and err.count("\n") == 1
    assert "control.csv holds control points" in err and "the other way round" in err


def test_a_row_that_stands_twice_is_said(tmp_path, capsys):
    code, out, _ = reduced(tmp_path, capsys, [*FREE, FREE[1]], {n: POINTS[n] for n in "ABC"})
    assert code == 0 and "row 6 is row 3 again, figure by figure" in out


def test_no_move_and_nothing_left_to_check_are_said_so(tmp_path, capsys):
    """A zenith angle between two fixed points is wrong; without it nothing checks the rest."""
    rows = ["A,1,B,0,90,,2,3,1", *(row.replace("S,1", "A,1") for row in sights("A", "P", 63.4))]
    code, out, _ = reduced(tmp_path, capsys, rows, {n: POINTS[n] for n in "AB"})
    assert code == 0 and "1 degree of freedom;" in out
    assert "Without it: nothing checks the rest; no point would move by 0.1 mm." in out


@pytest.mark.parametrize(
    ("column", "factor", "words"),
    [(5, 1.0 / 0.3048, "distances taken as feet"), (3, 1.0 / 0.9, "directions taken as gon")],
)
def test_a_column_in_another_unit_is_recognised(tmp_path, capsys, column, factor, words):
    """1 ft = 0.3048 m and 400 gon = 360 degrees, both exact."""
    rows = []
    for row in sights("S", "ABCP", 0.0):  # directions that stay below 360 in gon, too
        cells = row.split(",")
        cells[column] = f"{float(cells[column]) * factor:.6f}"
        rows.append(",".join(cells))
    code, out, err = reduced(tmp_path, capsys, rows, {n: POINTS[n] for n in "ABC"})
    assert f"with {words} the sights fit" in out + err and code == (0 if out else 1)
