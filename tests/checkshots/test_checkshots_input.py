"""Bad and odd input, from the command line."""

import csv
import re
from importlib import resources
from pathlib import Path

import pytest

from steer.cli.main import main
from steer.drive import Drive
from steer.log import Log

SAMPLES = Path(str(resources.files("sample_surveys"))) / "surveys"
HEAD = "time,chainage_m,point,line_mm,level_mm,sd_mm\n"


@pytest.fixture
def demo(early_demo):
    return early_demo


def shots(demo, text, tmp_path):
    path = tmp_path / "s.csv"
    path.write_text(text)
    return main(["shots", str(demo), str(path)])


def stored(demo):
    with Log.open(demo) as log:
        return sum(e.kind == "check_shot" for e in log.events())


def test_changed_over_coordinates_are_said(demo, tmp_path, capsys):
    with open(SAMPLES / "polar_coordinates.csv") as file:
        row = next(csv.DictReader(file))
    row["easting_m"], row["northing_m"] = row["northing_m"], row["easting_m"]
    before = stored(demo)
    assert shots(demo, f"{','.join(row)}\n{','.join(row.values())}\n", tmp_path) == 1
    assert "they are changed over" in capsys.readouterr().err
    assert stored(demo) == before


def test_a_chainage_not_yet_driven_is_said_and_waits(demo, tmp_path, capsys):
    assert shots(demo, HEAD + ",120,face,3,4,2\n", tmp_path) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "the face has only come to 32.00 m" in said and "has not come there yet" in said


def test_the_future_is_refused(demo, tmp_path, capsys):
    before = stored(demo)
    assert shots(demo, HEAD + "2199-01-01T00:00:00Z,20,face,3,4,2\n", tmp_path) == 1
    assert "lies in the future" in capsys.readouterr().err
    assert stored(demo) == before


def test_a_time_that_does_not_fit_the_chainage_is_said(demo, tmp_path, capsys):
    assert shots(demo, HEAD + "2031-03-03T17:38:40Z,20.0,face,-8,8,2\n", tmp_path) == 0
    assert "by the readings the face stood at 30.6" in " ".join(capsys.readouterr().out.split())


def test_the_same_file_twice(demo, tmp_path, capsys):
    text = HEAD + ",20,face,3,4,2\n"
    assert shots(demo, text, tmp_path) == 0
    before = stored(demo)
    assert shots(demo, text, tmp_path) == 0
    assert "nothing new" in capsys.readouterr().out and stored(demo) == before


def test_one_word_a_shot_and_none_when_one_is_wrong(demo, capsys):
    with Log.open(demo) as log:
        shot = next(str(e.sequence) for e in log.events() if e.kind == "check_shot")
    assert main(["shots", str(demo), "--accept", shot, "--reject", shot]) == 2
    assert main(["shots", str(demo), "--withdraw", shot, "--reject", "7"]) == 1
    assert "check shot 7: no such shot" in capsys.readouterr().err
    with Drive.open(demo) as drive:
        assert {s.verdict for s in drive.shots()} == {"agrees"}


def test_shots_before_any_reading_and_none_at_all(made_demo, tmp_path, capsys):
    folder = tmp_path / "new"
    folder.mkdir()
    (folder / "drive.toml").write_text((made_demo / "drive.toml").read_text())
    assert main(["shots", str(folder)]) == 0
    assert capsys.readouterr().out == "No check shot yet.\n"
    assert shots(folder, HEAD + ",5,face,3,4,2\n", tmp_path) == 0
    assert main(["shots", str(folder)]) == 0


def test_with_no_shot_yet_it_says_when_the_first_is_due(made, tmp_path, capsys):
    drive = made.open(tmp_path / "a", made.as_events())
    advice = drive.advice()
    left = advice.next_survey_m - advice.chainage_m
    assert left > 0.05
    drive.close()
    assert main(["shots", str(tmp_path / "a")]) == 0
    due = f"The next check shot is due by {advice.next_survey_m:.0f} m, in {left:.0f} m."
    assert capsys.readouterr().out == f"No check shot yet.\n{due}\n"


def test_thousands_of_shots(demo, tmp_path, capsys):
    rows = "".join(f",{1 + k * 0.0145:.4f},face,{k % 7 - 3},{k % 5 - 2},60\n" for k in range(2_000))
    assert shots(demo, HEAD + rows, tmp_path) == 0
    said = capsys.readouterr().out
    assert "2000 check shots stored" in said and "more that agree and count." in said
    assert len(said) < 20_000
    with Drive.open(demo) as drive:
        assert len(drive.shots()) == 2_001


def test_of_many_shots_those_that_wait_are_all_numbered(whole_demo, tmp_path, capsys):
    """Twenty wrong ones of a hundred at places apart: none of them is called one that agrees."""
    rows = "".join(
        f",{3 + k * 0.9:.2f},face,{400 + k if k % 5 == 0 else k / 10},{k / 9:.1f},30\n" for k in range(100)
    )
    assert shots(whole_demo, HEAD + rows, tmp_path) == 0
    said = " ".join(capsys.readouterr().out.split())
    with Drive.open(whole_demo) as drive:
        waiting = {s.number for s in drive.shots() if s.verdict == "waiting"}
    assert len(waiting) == 20 and said.count("WAITS for a word") == 12
    told = re.search(r"and (\d+) more that wait for a word: ([\d, ]+)\.", said)
    listed = {int(n) for n in re.findall(r"--accept (\d+)", said)}
    assert int(told[1]) == 8 and listed | {int(n) for n in told[2].split(",")} == waiting
    assert "more that agree and count" in said


def test_sights_without_control_and_points_with_it_are_told_apart(demo, capsys):
    sights, points, control = (
        str(SAMPLES / f"polar_{n}.csv") for n in ("observations", "coordinates", "control")
    )
    before = stored(demo)
    assert main(["shots", str(demo), sights]) == 1
    assert "holds sights of a total station, not points" in capsys.readouterr().err
    assert main(["shots", str(demo), points, "--control", control]) == 1
    assert "is it a file of points? Those are given without --control" in capsys.readouterr().err
    assert main(["shots", str(demo), control, "--control", sights]) == 1
    assert "the other way round" in capsys.readouterr().err
    assert main(["shots", str(demo), "--control", control]) == 2
    assert "--control: give the file that it belongs to" in capsys.readouterr().err
    assert stored(demo) == before
