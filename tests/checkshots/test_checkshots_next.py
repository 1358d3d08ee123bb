"""When the next check shot is due: what is foretold against what then happens."""

import shutil

import numpy as np
import pytest

from steer.checkshots.effect import reports, without
from steer.drive import Drive
from steer.estimate import sureness
from steer.log import Log
from steer.says import advice_object


@pytest.fixture(scope="module")
def sample(made_demo):
    with Drive.open(made_demo) as drive:
        drive.follower.bring_up()
        yield drive


@pytest.mark.parametrize(("last_shot_m", "share"), [(30.6, 0.08), (30.6, 0.1), (60.3, 0.06), (60.3, 0.07)])
def test_the_sd_reaches_the_share_where_it_was_foretold(sample, monkeypatch, last_shot_m, share):
    """The sample drive without the shots after one chainage. Far smaller shares than the tool's own, since
    the drive is too short for those to be reached."""
    monkeypatch.setattr(sureness, "SURVEY_SHARE", share)
    estimator = sample.follower.estimator
    later = {r.shot.sequence for r in reports(estimator) if r.shot.s_m > last_shot_m + 0.1}
    assert later
    bare = without(estimator, later)
    now = bare.node_at(last_shot_m + 0.05)
    tolerance = np.array([sample.file.tolerance.line_mm, sample.file.tolerance.level_mm])

    def over(node):
        return bool((np.sqrt(node.blend()[1][:, 0, 0]) > share * tolerance).any())

    assert not over(now)
    reached = next(n.s_m for n in bare.nodes if n.s_m > now.s_m and over(n))
    foretold = sureness.next_survey(now, bare)
    assert last_shot_m + 10.0 < foretold < 99.9
    assert abs(foretold - reached) < 4.0


def test_a_shot_puts_the_next_one_off(sample):
    estimator = sample.follower.estimator
    bare = without(estimator, {r.shot.sequence for r in reports(estimator)})
    share_then = 0.1
    at = 98.0
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sureness, "SURVEY_SHARE", share_then)
        assert sureness.next_survey(estimator.node_at(at), estimator) > sureness.next_survey(
            bare.node_at(at), bare
        )


LOST_M = 85.0


@pytest.fixture(scope="module", params=["lost", "stuck", "nothing read"])
def unseen(request, made_demo, tmp_path_factory):
    """The sample drive whose spot is lost, stands still, or whose every reading is but a chainage from 85 m on, and
    which nobody surveys any more."""
    folder = tmp_path_factory.mktemp("unseen") / "drive"
    folder.mkdir()
    shutil.copyfile(made_demo / "drive.toml", folder / "drive.toml")
    gone = ["spot_right_mm", "spot_up_mm", *(["yaw_mm_per_m", "pitch_mm_per_m"] * (request.param != "lost"))]
    with Log.open(made_demo) as log:
        events = [(e.kind, dict(e.body)) for e in log.events()]
    stood: dict[str, float] = {}
    for kind, body in events:
        if kind == "reading" and body["chainage_m"] > LOST_M:
            stood = stood or {name: body[name] for name in gone[:2] if name in body}
            if request.param == "stuck":
                body |= stood
            else:
                for name in gone:
                    body.pop(name, None)
    kept = [e for e in events if not (e[0] == "check_shot" and e[1]["chainage_m"] > LOST_M)]
    with Log.open(folder, write=True) as log:
        log.append_many(e for e in kept if e[0] in ("reading", "stroke_end", "check_shot"))
    with Drive.open(folder) as drive:
        drive.follower.bring_up()
        yield drive, request.param


@pytest.mark.parametrize("from_m", [85.7, 87.0])
def test_without_a_spot_the_sd_reaches_the_share_where_it_was_foretold(unseen, monkeypatch, from_m):
    """By the fold itself, of the readings that the drive then has. As if a spot were there it would be put off by
    tens of metres."""
    drive, what = unseen
    share = 0.2 if what == "nothing read" else 0.14
    monkeypatch.setattr(sureness, "SURVEY_SHARE", share)
    estimator = drive.follower.estimator
    tolerance = np.array([drive.file.tolerance.line_mm, drive.file.tolerance.level_mm])
    now = estimator.node_at(from_m)
    reached = next(
        n.s_m for n in estimator.nodes
        if n.s_m > now.s_m and (np.sqrt(n.blend()[1][:, 0, 0]) > share * tolerance).any()
    )  # fmt: skip
    foretold = sureness.next_survey(now, estimator, unseen=True)
    assert abs(foretold - reached) < max(0.7, 0.25 * (reached - now.s_m))
    assert sureness.next_survey(now, estimator) > reached + 5.0


def test_the_advice_tells_the_survey_by_what_is_read(unseen):
    drive, what = unseen
    advice = drive.advice()
    (code,) = {n.code for n in advice.notices} & {"beam_lost", "spot_stuck"}
    assert code == ("spot_stuck" if what == "stuck" else "beam_lost")
    left_m = advice.next_survey_m - advice.chainage_m
    assert left_m == 0.0 if what == "nothing read" else 2.0 < left_m < 15.0


def left_m(drive) -> float:
    advice = drive.advice()
    assert advice_object(advice)["next_survey_m"] == pytest.approx(advice.next_survey_m, abs=0.051)
    return advice.next_survey_m - advice.chainage_m


def test_a_spot_that_jumped_asks_for_a_survey_at_once(made, tmp_path):
    """The beam shifted by 40 mm at 27 m: the notice says to take a check shot, so none says that there is time. One
    shot as found there settles it."""

    def moved(kind, body):
        if body.get("chainage_m", 0.0) > 27.0 and "spot_right_mm" in body:
            body = {**body, "spot_right_mm": body["spot_right_mm"] - 40.0}
        return kind, body

    quiet = made.open(tmp_path / "a", made.as_events())
    assert left_m(quiet) > 3.0
    drive = made.open(tmp_path / "b", [moved(*event) for event in made.as_events()])
    assert "reference_moved" in {n.code for n in drive.advice().notices}
    assert left_m(drive) == 0.0
    drive.add("check_shot", made.shot(drive.advice().chainage_m))
    assert "reference_moved" not in {n.code for n in drive.advice().notices}
    assert left_m(drive) > 3.0


def test_a_shot_that_disagrees_asks_for_another_until_there_is_one(made, tmp_path):
    drive = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", made.shot(24.0, (60.0, 0.0)))])

    def said():
        (text,) = [n.text for n in drive.advice().notices if n.code == "shot_disagrees"]
        return text

    assert "repeat the survey, then accept or reject" in said() and left_m(drive) == 0.0
    drive.add("check_shot", made.shot(29.0, (60.0, 0.0)))
    assert "repeat" not in said() and "accept or reject" in said()
    assert left_m(drive) > 3.0
