"""The plan: what will be known against a drive that was driven, the fewest surveys against trying them all."""

import dataclasses
import json
import math
from importlib import resources

import numpy as np
import pytest
from scipy.stats import norm

from steer.cli.main import main
from steer.drivefile import TEMPLATE, load_drive, parse_drive
from steer.estimate.follow import Follower
from steer.intake.files import read_readings
from steer.log import Event
from steer.survey_plan import Survey, arrival_probability, page, survey_of, survey_plan
from steer.survey_plan.course import Rehearsal
from steer.survey_plan.joint import arrival_variance, joint_covariance
from steer.survey_plan.planning import sources

EYE = "# eye = { line_mm = 30.0, level_mm = 20.0 }"


def drive_of(length_m, survey="", eye=(30.0, 20.0)):
    text = TEMPLATE.replace("length_m = 100.0", f"length_m = {length_m}")
    text = text.replace(EYE, f"eye = {{ line_mm = {eye[0]}, level_mm = {eye[1]} }}")
    if survey:
        text = text.replace("point_sd_mm = 1.5 ", f"point_sd_mm = 1.5\n{survey}\n#")
    return parse_drive(text)


@pytest.fixture(scope="module")
def long_plan():
    drive = drive_of(350.0)
    return drive, survey_plan(drive)


def test_probability_is_the_normal_s_in_both_planes():
    """scipy's normal; and the check value of JCGM 106:2012: 45 in ±50 with 3 gives 0.95221 one-sided,
    so a centred eye of ±5 with 3 gives 2·0.95221 − 1."""
    for line, level in ((8.0, 7.0), (20.0, 5.0), (40.0, 40.0)):
        each = [norm.cdf(h / sd) - norm.cdf(-h / sd) for h, sd in ((30.0, line), (20.0, level))]
        assert arrival_probability(line, level, (30.0, 20.0)) == pytest.approx(math.prod(each), abs=1e-12)
    assert arrival_probability(3.0, 1e-9, (5.0, 5.0)) == pytest.approx(2 * 0.95221 - 1, abs=1e-5)
    assert arrival_probability(0.0, 0.0, (5.0, 5.0)) == 1.0


def test_rehearsal_foretells_what_a_driven_drive_knew():
    """The sample drive's readings, noise and all, against the plan made without them: within 5 %."""
    with resources.as_file(resources.files("sample_surveys") / "quillbeck_lane") as folder:
        drive = load_drive(folder)
        readings = read_readings(folder / "readings.csv", drive)[1]
    driven = Follower(drive)
    for number, body in enumerate(readings, 1):
        driven.take(Event(number, "", "reading", body))
    driven.bring_up()
    course = Rehearsal(drive).course
    reached = driven.estimator.last.s_m
    assert reached > 50.0
    for s in np.arange(5.0, reached, 10.0):
        variance = np.diagonal(driven.estimator.node_at(float(s)).blend()[1], axis1=1, axis2=2)[:, 0]
        expected = [np.interp(s, course.chainage_m, sd) for sd in (course.line_sd_mm, course.level_sd_mm)]
        assert np.sqrt(variance) == pytest.approx(expected, rel=0.05)


@pytest.fixture
def coarse(monkeypatch):
    """Fewer cells for what holds whatever their length: a rehearsal's cost goes with their number."""
    monkeypatch.setattr("steer.survey_plan.course.MOST_CELLS", 150)


def test_coarser_cells_tell_the_same(monkeypatch):
    drive = drive_of(120.0)
    fine = Rehearsal(drive)
    monkeypatch.setattr("steer.survey_plan.course.MOST_CELLS", 100)
    coarse = Rehearsal(drive)
    assert len(coarse.nodes) < 0.4 * len(fine.nodes)
    assert coarse.arrival_sd_mm == pytest.approx(fine.arrival_sd_mm, rel=0.03)


def test_conditioning_agrees_with_folding_the_surveys_in(coarse):
    """Joint covariance from one backward pass, against the estimator with the surveys really folded."""
    drive = drive_of(300.0)
    bare = Rehearsal(drive)
    places = [37, 82, 124]
    surveys = [survey_of(drive, bare.nodes[i].s_m) for i in places]
    noise = np.square([[s.line_sd_mm for s in surveys], [s.level_sd_mm for s in surveys]])
    joint = joint_covariance(bare, places)
    assert np.linalg.eigvalsh(joint).min() > 0.0
    for chosen in ([], [0], [2], [0, 1, 2]):
        folded = (Rehearsal(drive, [surveys[i] for i in chosen]) if chosen else bare).arrival_sd_mm
        assert np.sqrt(arrival_variance(joint, noise, chosen)) == pytest.approx(folded, rel=0.05)


def test_fewest_surveys_against_trying(long_plan):
    """Two are planned: they do, and no single one does wherever it is made."""
    drive, plan = long_plan
    assert plan.enough and len(plan.surveys) == 2
    assert plan.arrival_without.probability < 0.5
    found = [survey_of(drive, s.chainage_m) for s in plan.surveys]
    sd = Rehearsal(drive, found).arrival_sd_mm
    assert arrival_probability(*sd, (30.0, 20.0)) == pytest.approx(plan.arrival_with.probability, abs=1e-9)
    for s in np.linspace(60.0, plan.latest_m, 5):
        one = Rehearsal(drive, [survey_of(drive, float(s))]).arrival_sd_mm
        assert arrival_probability(*one, (30.0, 20.0)) < 0.95
    at = [s.chainage_m for s in plan.surveys]
    assert at == sorted(at) and at[-1] <= plan.latest_m + 1e-9 and at[1] - at[0] >= 35.0 - 1e-6


def test_surveys_show_in_the_course(long_plan):
    _, plan = long_plan
    course = plan.with_surveys
    for survey in plan.surveys:
        before, after = np.flatnonzero(np.abs(course.chainage_m - survey.chainage_m) < 1e-9)
        for name in ("line_sd_mm", "level_sd_mm"):
            sd = getattr(course, name)
            assert sd[after] < sd[before]
            assert sd[after] <= getattr(survey, name) + 1e-9  # never worse than the survey alone


def test_doubt_on_the_way(long_plan):
    """The first place where the tolerance's own 95 % is missed, by scipy's normal over the whole course."""
    _, plan = long_plan
    course = plan.with_surveys
    inside = np.ones(len(course.chainage_m))
    for half, sd in zip((50.0, 30.0), (course.line_sd_mm, course.level_sd_mm), strict=True):
        inside *= norm.cdf(half / sd) - norm.cdf(-half / sd)
    first = course.chainage_m[np.flatnonzero(inside < 0.95)[0]]
    assert plan.doubtful_from_m == first
    assert f"On the way: from chainage {first:.0f} m" in " ".join(page(plan))


def test_short_drive_needs_none():
    plan = survey_plan(drive_of(60.0))
    assert plan.doubtful_from_m is None
    assert plan.surveys == () and plan.enough
    assert plan.arrival_with == plan.arrival_without


def test_last_survey_leaves_room_to_steer(coarse):
    """By hand: 2.67 mm/m² of joints (8 mm/m over 3 m), half of it, 30 mm by two curves, and the machine."""
    plan = survey_plan(drive_of(200.0))
    assert 200.0 - plan.latest_m == pytest.approx(math.sqrt(4 * 30.0 / (0.5 * 8.0 / 3.0)) + 4.8, abs=1e-6)


BASE = "base_m = 6.0\nbase_mark_sd_mm = 0.5"


def test_base_in_the_shaft_is_in_every_survey(coarse):
    drive = drive_of(200.0, BASE)
    plan, free = survey_plan(drive), survey_plan(drive_of(200.0))
    turned = math.sqrt(2) * 0.5 / 6.0 * 200.0
    assert plan.arrival_without.line_sd_mm == pytest.approx(
        math.hypot(free.arrival_without.line_sd_mm, turned), rel=1e-6
    )
    assert plan.arrival_without.level_sd_mm == free.arrival_without.level_sd_mm
    assert plan.arrival_with.line_sd_mm > turned
    assert not plan.enough
    assert sources(drive)[0].line_mm == pytest.approx(turned)
    # the base that is asked for would do, by a hair
    marks = plan.base_needed_mm_per_m * 6.0 / math.sqrt(2)
    better = survey_plan(drive_of(200.0, f"base_m = 6.0\nbase_mark_sd_mm = {0.99 * marks}"))
    worse = survey_plan(drive_of(200.0, f"base_m = 6.0\nbase_mark_sd_mm = {1.1 * marks}"))
    assert better.enough and not worse.enough


def test_eye_too_small_for_any_survey(coarse):
    plan = survey_plan(drive_of(150.0, eye=(2.0, 2.0)))
    assert not plan.enough and plan.base_needed_mm_per_m is None
    text = " ".join(page(plan))
    assert "No set of check surveys reaches 95 %: better instruments" in text
    assert plan.arrival_with.probability >= plan.arrival_without.probability


def test_worse_instruments_give_wider_sd(coarse):
    drive = drive_of(150.0)
    plain = Rehearsal(drive).arrival_sd_mm
    worse = dataclasses.replace(drive, sd=drive.sd.model_copy(update={"reference_mm_per_m": 0.1}))
    assert (Rehearsal(worse).arrival_sd_mm > plain + 2.0).all()
    sure = [Survey(s, 0.1, 0.1) for s in (100.0, 130.0)]
    assert (Rehearsal(worse, sure).arrival_sd_mm < plain).all()


def test_curved_drive_and_guidance_that_follows_the_axis(coarse):
    text = TEMPLATE.replace('horizontal = [\n  { kind = "line", length_m = 100.0 },', """horizontal = [
  { kind = "line", length_m = 30.0 },
  { kind = "arc", length_m = 70.0, radius_m = 400.0, turn = "left" },""")  # fmt: skip
    for kind in ("beam", "axis"):
        plan = survey_plan(parse_drive(text.replace('kind = "beam"  ', f'kind = "{kind}"  ')))
        assert np.isfinite(plan.without.line_sd_mm).all() and (plan.without.line_sd_mm > 0.0).all()
        assert plan.leg_m == pytest.approx(2 * math.sqrt(400.0 * 0.9))


def test_no_plan_for_what_is_no_drive():
    drive = parse_drive(TEMPLATE.replace("length_m = 100.0", "length_m = 5000.1"))
    assert survey_plan(drive) is None
    assert "up to 5 km" in page(None)[0]


@pytest.fixture
def folder(tmp_path):
    """A drive so short that its plan is soon made."""
    return folder_of(tmp_path, 30.0)


def folder_of(folder, length_m):
    text = TEMPLATE.replace("length_m = 100.0", f"length_m = {length_m}").replace(EYE, EYE[2:])
    (folder / "drive.toml").write_text(text)
    return folder


def test_check_prints_the_plan_and_draws_it(tmp_path, capsys, monkeypatch):
    import matplotlib

    folder = folder_of(tmp_path, 350.0)
    monkeypatch.setitem(matplotlib.rcParams, "svg.fonttype", "none")
    assert main(["check", str(folder), "--plan-plot", str(folder / "plan.svg")]) == 0
    out, err = capsys.readouterr()
    words = " ".join(out.split())
    assert "Fewest check surveys for 95 %: 2, at chainage" in words
    assert "normal errors, no blunder" in words and "surveyor's own network design" in words
    assert "drawn in" in err
    svg = (folder / "plan.svg").read_text()
    for text in ("Line (right or left)", "Level (high or low)", "without check surveys", "with the check surveys",
                 "eye of ±30 mm met with 95 %", "with 2 check surveys"):  # fmt: skip
        assert text in svg, text


@pytest.mark.parametrize("suffix", ["png", "pdf"])
def test_other_files(folder, capsys, suffix):
    path = folder / f"plan.{suffix}"
    assert main(["check", str(folder), "--plan-plot", str(path)]) == 0
    assert path.read_bytes().startswith({"png": b"\x89PNG", "pdf": b"%PDF"}[suffix])


def test_plot_that_cannot_be(folder, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["check", str(folder), "--plan-plot", "plan.docx"])
    assert stop.value.code == 2
    assert main(["check", str(folder), "--plan-plot", str(folder / "no" / "plan.png")]) == 1
    out, err = capsys.readouterr()
    assert out == "" and "cannot be written" in err


def test_percent_claims_no_limit_that_was_missed(long_plan):
    from steer.survey_plan.page import percent

    assert [percent(p) for p in (0.9499, 0.95, 0.999, 0.004, 1.0)] == [
        "94 %", "95 %", "over 99 %", "under 1 %", "over 99 %",
    ]  # fmt: skip
    assert json.dumps([s.name for s in long_plan[1].sources])
