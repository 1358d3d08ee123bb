"""`steer shots`: observations to check shots with their covariance, the samples, and a person's word."""

import csv
import json
import math
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from steer.cli.main import main
from steer.drive import Drive
from steer.log import Log

SAMPLES = Path(str(resources.files("sample_surveys"))) / "surveys"
TUNNEL = [str(SAMPLES / "tunnel_observations.csv"), "--control", str(SAMPLES / "tunnel_control.csv")]
BLUNDER = [str(SAMPLES / "tunnel_observations_blunder.csv"), "--control", str(SAMPLES / "tunnel_control.csv")]


@pytest.fixture
def demo(halfway_demo):
    return halfway_demo


def shots(demo, *more):
    return main(["shots", str(demo), *map(str, more)])


def bodies(folder):
    with Log.open(folder) as log:
        return [e.body for e in log.events() if e.kind == "check_shot"]


def test_observations_become_a_shot_with_its_covariance(demo, capsys):
    assert main(["reduce", *TUNNEL, "--json"]) == 0
    point = next(p for p in json.loads(capsys.readouterr().out)["points"] if p["point"] == "M")
    assert shots(demo, *TUNNEL, "--shot", "M=target@60.3", "--time", "2031-03-04T05:00:00Z") == 0
    said = capsys.readouterr().out
    assert "survey: sound" in said and "It agrees and counts." in said
    body = bodies(demo)[-1]
    assert (body["point"], body["chainage_m"], body["time"]) == ("target", 60.3, "2031-03-04T05:00:00Z")
    assert body["easting_m"] == pytest.approx(point["easting_m"], abs=1e-6)
    # across a drive at bearing 47.5 degrees, rising by 5 mm/m: by hand
    b, g = math.radians(47.5), math.atan(0.005)
    right = np.array([math.cos(b), -math.sin(b), 0.0])
    up = np.array([-math.sin(b) * math.sin(g), -math.cos(b) * math.sin(g), math.cos(g)])
    rows = np.array([right, up])
    expected = rows @ np.array(point["covariance_mm2"]) @ rows.T
    np.testing.assert_allclose(body["covariance_mm2"], expected, atol=0.011)  # 0.1 mm are added at least
    with Drive.open(demo) as drive:
        view = next(s for s in drive.shots() if s.number == drive.log.last_sequence())
    # the roll of the moment adds its share; a tunnel's line is known less well than its level
    assert view.sd_line_mm == pytest.approx(math.sqrt(expected[0, 0]), abs=0.2)
    assert view.sd_level_mm < 0.3 < 2.0 < view.sd_line_mm


def test_the_covariance_is_what_repeated_surveys_scatter_by(made_demo):
    """300 surveys of one polar point with the stated sd: scatter of line and level, and between them."""
    from steer.checkshots.from_survey import Chosen
    from steer.checkshots.from_survey import bodies as made
    from steer.drivefile import load_drive
    from steer.estimate.shots import shot_of
    from steer.survey import ControlPoint, Observation, reduce_network

    drive, rng = load_drive(made_demo), np.random.default_rng(5)
    control = [ControlPoint("K1", 5000.0, 2000.0, 12.0), ControlPoint("K2", 4980.0, 2000.0, 12.0)]
    truth = np.array([21.0, 19.4, 0.75])
    flat = math.hypot(truth[0], truth[1])
    exact = [
        ("K2", "direction", math.atan2(-20.0, 0.0), 1e-5), ("M", "direction", math.atan2(truth[0], truth[1]), 1e-4),
        ("M", "zenith", math.atan2(flat, truth[2]), 1.2e-4), ("M", "slope", float(np.linalg.norm(truth)), 0.004),
    ]  # fmt: skip
    found, told = [], []
    for _ in range(300):
        sights = [
            Observation(i, "K1", t, k, v + rng.normal(0.0, sd), sd, "1")
            for i, (t, k, v, sd) in enumerate(exact)
        ]
        network = reduce_network(sights, control, None)
        body = made(network, [Chosen("M", "face", 28.6)], drive, None, "test")[0]
        shot = shot_of(drive, 1, body)
        found.append(shot.values_mm)
        told.append(shot.covariance_mm2)
    scatter, claimed = np.cov(np.array(found).T), np.mean(told, axis=0)
    # a sd from 300 is good to 4 %; a correlation to 0.06
    np.testing.assert_allclose(np.sqrt(np.diag(scatter)), np.sqrt(np.diag(claimed)), rtol=0.13)
    one, two = (c[0, 1] / math.sqrt(c[0, 0] * c[1, 1]) for c in (scatter, claimed))
    assert one == pytest.approx(two, abs=0.18)


def test_a_survey_in_doubt_is_refused_and_says_how_to_go_on(demo, capsys):
    before = len(bodies(demo))
    assert shots(demo, *BLUNDER, "--shot", "M=target@60.3") == 1
    said = capsys.readouterr().err
    assert "suspect row 17" in said and "--leave-out 17" in said and "Nothing was stored" in said
    assert len(bodies(demo)) == before
    assert shots(demo, *BLUNDER, "--shot", "M=target@60.3", "--leave-out", "17") == 0
    assert "survey: sound" in capsys.readouterr().out
    left = bodies(demo)[-1]
    assert "row 17 left out" in left["note"]
    assert shots(demo, *BLUNDER, "--shot", "M=target@60.3", "--despite-suspects") == 0
    assert "IN DOUBT" in capsys.readouterr().out
    # taken all the same, it weighs next to nothing
    assert bodies(demo)[-1]["covariance_mm2"][0][0] > 100 * left["covariance_mm2"][0][0]


def test_the_same_survey_twice_is_stored_once(demo, capsys):
    assert shots(demo, *TUNNEL, "--shot", "M=target@60.3") == 0
    before = len(bodies(demo))
    capsys.readouterr()
    assert shots(demo, *TUNNEL, "--shot", "M=target@60.3") == 0
    assert "nothing new, this survey was read before" in capsys.readouterr().out
    assert len(bodies(demo)) == before


def test_names_choose_the_points(demo, tmp_path, capsys):
    for name, other in (("tunnel_observations.csv", "sights.csv"), ("tunnel_control.csv", "known.csv")):
        text = (SAMPLES / name).read_text()
        (tmp_path / other).write_text(text.replace(",M,", ",Target 60,"))
    files = [tmp_path / "sights.csv", "--control", tmp_path / "known.csv"]
    assert shots(demo, *files) == 2
    assert "say at which chainage the face stood" in capsys.readouterr().err
    assert shots(demo, *files, "--chainage", "60.3") == 0
    assert bodies(demo)[-1]["point"] == "target"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ([], "New points of the survey: W1, W2, W3, W4, M"),
        (["--point", "target", "--chainage", "60.3"], "has 5 new points"),
        (["--shot", "Q=target@60.3"], "--shot Q: no such point"),
        (["--shot", "M=nose@60.3"], "must be NAME=POINT"),
        (["--shot", "M=target@sixty"], "must be a chainage"),
        (["--shot", "M=target@60.3", "--leave-out", "99"], "has no such row"),
        (["--shot", "M=target@60.3", "--time", "yesterday"], "--time"),
    ],
)
def test_command_lines_that_cannot_be_meant(demo, capsys, more, words):
    before = len(bodies(demo))
    assert shots(demo, *TUNNEL, *more) == 2
    assert words in capsys.readouterr().err
    assert len(bodies(demo)) == before


def test_a_survey_given_at_the_wrong_chainage_is_refused(demo, capsys):
    assert shots(demo, *TUNNEL, "--shot", "M=target@99.9") == 1
    assert "the point lies at 58.7" in capsys.readouterr().err
    assert shots(demo, SAMPLES / "polar_coordinates.csv", "--chainage", "3") == 2
    assert "only with observations" in capsys.readouterr().err


def test_the_polar_sample_and_its_coordinates_agree_with_the_drive(early_demo, capsys):
    polar = [SAMPLES / "polar_observations.csv", "--control", SAMPLES / "polar_control.csv"]
    assert shots(early_demo, *polar, "--point", "target", "--chainage", "30.6") == 0
    assert shots(early_demo, SAMPLES / "polar_coordinates.csv") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("It agrees and counts.") == 1  # one survey in two forms
    assert said.count("Is it that survey, given again?") == 1
    with Drive.open(early_demo) as drive:
        one, two = [s for s in drive.shots() if s.point == "target"]
    assert one.line_mm == pytest.approx(two.line_mm, abs=0.2)
    assert one.level_mm == pytest.approx(two.level_mm, abs=0.2)


def test_the_beam_that_turns_is_found_and_the_slip_is_not_believed(whole_demo, capsys):
    """The README's walk-through."""
    at = {}
    for name in ("offsets_with_a_slip", "turned_beam_first_shot", "turned_beam_second_shot"):
        with open(SAMPLES / f"{name}.csv") as file:
            at[name] = float(next(csv.DictReader(file))["line_mm"])
    slip, first_mm, second_mm = at.values()
    assert main(["read", str(whole_demo), str(SAMPLES / "turned_beam_readings.csv")]) == 0
    assert shots(whole_demo, SAMPLES / "offsets_with_a_slip.csv") == 0
    assert shots(whole_demo, SAMPLES / "turned_beam_first_shot.csv") == 0
    assert shots(whole_demo, SAMPLES / "turned_beam_second_shot.csv") == 0
    said = capsys.readouterr().out
    assert said.count("It DISAGREES and WAITS") == 3 and "says the same" in said
    capsys.readouterr()
    assert shots(whole_demo) == 0
    assert "with 100 mm less on line it would agree" in " ".join(capsys.readouterr().out.split())
    with Drive.open(whole_demo) as drive:
        first, last = (next(s for s in drive.shots() if s.line_mm == v) for v in (first_mm, slip))
    assert shots(whole_demo, "--accept", first.number, "--reject", last.number) == 0
    with Drive.open(whole_demo) as drive:
        verdicts = {s.line_mm: s.verdict for s in drive.shots()}
        estimate = drive.advice().estimate
    assert verdicts == {**verdicts, slip: "rejected", first_mm: "disagrees", second_mm: "agrees"}
    with open(SAMPLES / "turned_beam_first_shot.csv") as file:
        row = next(csv.DictReader(file))
    assert estimate.line_mm == pytest.approx(float(row["line_mm"]), abs=4.0)
    assert estimate.level_mm == pytest.approx(float(row["level_mm"]), abs=5.0)


def test_the_samples_are_what_the_script_makes(tmp_path):
    from steer.ground.sample_shots import write_surveys

    write_surveys(tmp_path)
    for made in sorted(tmp_path.iterdir()):
        with open(made) as a, open(SAMPLES / made.name) as b:
            one, two = list(csv.reader(a)), list(csv.reader(b))
        assert len(one) == len(two)
        if made.name != "turned_beam_readings.csv":
            # not to the last digit: another processor may round a sum differently
            for x, y in zip(one, two, strict=True):
                assert [c[:-1] for c in x[:3]] == [c[:-1] for c in y[:3]]
