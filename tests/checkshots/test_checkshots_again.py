"""One survey given twice, in whatever form: it counts once, until a person says that it is a second one."""

import csv
import shutil
from importlib import resources
from pathlib import Path

import pytest

from steer.checkshots.report import page
from steer.cli.main import main
from steer.drive import Drive
from steer.log import Log

SAMPLES = Path(str(resources.files("sample_surveys"))) / "surveys"
SIGHTS = [str(SAMPLES / "polar_observations.csv"), "--control", str(SAMPLES / "polar_control.csv")]
SURVEY = [*SIGHTS, "--point", "target", "--chainage", "30.6"]
AT = "2031-03-03T17:40:00Z"
HEAD = "time,chainage_m,point,line_mm,level_mm,sd_mm,note\n"


@pytest.fixture
def demo(early_demo):
    return early_demo


@pytest.fixture(scope="module")
def once_surveyed(made_early, tmp_path_factory):
    """A survey is in the log: the folder, and the shot that it made."""
    folder = tmp_path_factory.mktemp("surveyed") / "demo"
    shutil.copytree(made_early, folder)
    assert main(["shots", str(folder), *SURVEY, "--time", AT]) == 0
    return folder, last(folder)


@pytest.fixture
def surveyed(once_surveyed, tmp_path):
    made, (shot, estimate) = once_surveyed
    return Path(shutil.copytree(made, tmp_path / "demo")), shot, estimate


def bodies(folder):
    with Log.open(folder) as log:
        return [e.body for e in log.events() if e.kind == "check_shot"]


def give(folder, text, name="s.csv"):
    path = folder.parent / name
    path.write_text(text)
    return main(["shots", str(folder), str(path)])


def last(folder):
    with Drive.open(folder) as drive:
        return max(drive.shots(), key=lambda s: s.number), drive.advice().estimate


def as_coordinates(body, digits=3):
    place = [round(body[n], digits) for n in ("easting_m", "northing_m", "level_m")]
    rows = [["time", "chainage_m", "point", "easting_m", "northing_m", "level_m", "sd_mm"]]
    rows.append(["", body["chainage_m"], body["point"], *place, 2])
    return "".join(",".join(map(str, row)) + "\n" for row in rows)


def as_offsets(folder, shot, off=(0.0, 0.0), time=""):
    with Drive.open(folder) as drive:
        line, level = next(s for n, s in drive.follower.shots.items() if n == shot.number).values_mm
    return HEAD + f"{time},{shot.chainage_m},{shot.point},{line + off[0]:.2f},{level + off[1]:.2f},2,\n"


def test_files_may_stand_behind_the_options(demo, capsys):
    sights, *options = SURVEY
    assert main(["shots", str(demo), *options, sights]) == 0
    assert "1 check shot stored" in capsys.readouterr().out
    with pytest.raises(SystemExit) as left:
        main(["shots", str(demo), *options, sights, "--nonsense"])
    assert left.value.code == 2 and "--nonsense" in capsys.readouterr().err


def test_observations_and_then_their_coordinates(surveyed, capsys):
    demo, first, before = surveyed
    capsys.readouterr()
    assert give(demo, as_coordinates(bodies(demo)[-1])) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "1 of them looks like a survey that is in the log already" in said
    assert f"the same point, within 1 mm, as shot {first.number}. Is it that survey, given again?" in said
    second, after = last(demo)
    assert (second.verdict, second.repeats) == ("waiting", first.number)
    assert after == before
    with Drive.open(demo) as drive:
        told = next(n.text for n in drive.advice().notices if n.code == "shot_waiting")
    assert f"looks like shot {first.number} given again" in told
    # a person's word
    assert main(["shots", str(demo), "--accept", str(second.number)]) == 0
    third, sure = last(demo)
    assert third.verdict == "agrees" and sure.line_sd_mm < before.line_sd_mm
    assert main(["shots", str(demo), "--withdraw", str(second.number)]) == 0
    assert last(demo)[1] == before


def test_coordinates_and_then_their_observations_and_their_offsets(surveyed):
    demo, first, _ = surveyed
    assert main(["shots", str(demo), "--withdraw", str(first.number)]) == 0  # as if it had never been given
    assert give(demo, as_coordinates(bodies(demo)[-1])) == 0
    second, before = last(demo)
    assert (second.verdict, second.repeats) == ("agrees", None)
    assert main(["shots", str(demo), *SURVEY, "--time", "2031-03-03T17:41:00Z"]) == 0
    assert last(demo)[0].repeats == second.number
    assert give(demo, as_offsets(demo, second), "o.csv") == 0
    third, after = last(demo)
    assert (third.verdict, third.repeats) == ("waiting", second.number)
    assert after == before


@pytest.mark.parametrize(
    ("off", "time", "asked"),
    [
        ((0.9, -0.9), "", True),
        ((1.2, 0.0), "", False),
        ((0.0, 1.2), "", False),
        ((0.0, 0.0), "2031-03-03T17:40:40Z", True),  # told to the minute there
        ((0.0, 0.0), "2031-03-03T18:40:00+01:00", True),
        ((0.0, 0.0), "2031-03-03T19:40:00Z", False),  # two surveys of one result
    ],
)
def test_what_is_the_same(surveyed, off, time, asked):
    demo, first, _ = surveyed
    assert give(demo, as_offsets(demo, first, off, time)) == 0
    assert (last(demo)[0].repeats is not None) is asked


@pytest.mark.parametrize(
    "change", [{"point": "face"}, {"chainage_m": "30.7"}, {"prism_behind_face_m": "2.5"}]
)
def test_another_point_is_not_the_same(surveyed, change):
    demo, first, _ = surveyed
    (row,) = csv.DictReader(as_offsets(demo, first).splitlines())
    row = {**row, **change}
    assert give(demo, f"{','.join(row)}\n{','.join(row.values())}\n") == 0
    assert last(demo)[0].repeats is None


def test_identical_rows_of_one_file_are_refused_by_line(demo, capsys):
    before = bodies(demo)
    row = ",20,face,3,4,2,\n"
    assert give(demo, HEAD + row + ",21,face,3,4,2,\n" + row) == 1
    said = capsys.readouterr().err
    assert "s.csv: line 4: is line 2 again, every value the same" in said
    assert "nothing of the file is stored" in said
    assert bodies(demo) == before
    # written otherwise, it is the same
    assert give(demo, HEAD + row + ",20.0,face,3.00,4,2.0,\n") == 1
    assert bodies(demo) == before


def test_rows_of_one_file_that_differ_in_a_note_only(demo, capsys):
    assert give(demo, HEAD + ",20,face,0,4,20,one\n,20,face,0,4,20,two\n,20,face,0,4,20,three\n") == 0
    with Drive.open(demo) as drive:
        views = sorted(drive.shots(), key=lambda s: s.number)[-3:]
        text = page(drive.shot_report({s.number for s in views}))
    assert [s.repeats for s in views] == [None, views[0].number, views[0].number]
    assert [s.verdict for s in views] == ["agrees", "waiting", "waiting"]
    assert text.count("WAITS") == 2


def test_a_blunder_given_again_confirms_nothing(demo, capsys):
    assert give(demo, HEAD + ",20,face,90,4,2,\n") == 0
    first, before = last(demo)
    assert first.verdict == "waiting"
    assert give(demo, HEAD + ",20,face,90,4,2,again\n", "b.csv") == 0
    assert "It DISAGREES with the estimate, too" in " ".join(capsys.readouterr().out.split())
    second, after = last(demo)
    with Drive.open(demo) as drive:
        told = [s.evidence for s in drive.shots() if s.number in (first.number, second.number)]
    assert len(told) == 2 and not any("says the same" in line for lines in told for line in lines)
    assert after == before
    # a rejected one does not come in by the back door
    assert main(["shots", str(demo), "--reject", str(first.number)]) == 0
    assert last(demo)[0].verdict == "waiting"


def test_the_feed_counts_at_once_and_a_file_after_it_is_asked_about(demo):
    shot = {"chainage_m": 20.0, "point": "face", "line_mm": 0.0, "level_mm": 4.0, "sd_mm": 20.0}
    with Drive.open(demo, write=True) as drive:
        drive.add("check_shot", shot)
    first, _ = last(demo)
    assert first.verdict in ("agrees", "disagrees")
    assert give(demo, HEAD + ",20,face,0,4,20,\n") == 0
    assert last(demo)[0].repeats == first.number


def test_an_export_carries_the_question(demo, tmp_path):
    assert give(demo, HEAD + ",20,face,0,4,20,one\n,20,face,0,4,20,two\n") == 0
    assert main(["export", str(demo), str(tmp_path / "e.gz")]) == 0
    assert main(["import", str(tmp_path / "e.gz"), str(tmp_path / "copy")]) == 0
    assert last(tmp_path / "copy") == last(demo)
