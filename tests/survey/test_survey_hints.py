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
    return code, *capsys.readouterr()


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
