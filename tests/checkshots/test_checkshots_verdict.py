"""The verdict on a shot before it counts, and what is said of it."""

import numpy as np
import pytest
from scipy import stats

from steer.checkshots import explain
from steer.checkshots.report import lines
from steer.estimate.shots import DISAGREES


def codes(drive):
    return {n.code for n in drive.advice().notices}


def test_the_limit_is_99_9_percent_of_a_normal():
    assert abs(DISAGREES - stats.norm.ppf(0.9995)) < 1e-4


def test_sound_shots_hardly_ever_wait(made, tmp_path):
    """400 shots with the sd they claim: about one in 500 (two planes) may wait by chance, 5 is beyond."""
    rng = np.random.default_rng(11)
    drive = made.open(tmp_path / "a", made.as_events())
    drive.log.append_many(
        [
            ("check_shot", made.shot(float(s), tuple(rng.normal(0.0, 2.0, 2)), asks=True))
            for s in rng.choice(np.arange(2.0, 30.0), 400)
        ]
    )
    drive.refresh()
    assert sum(s.verdict == "waiting" for s in drive.shots()) <= 5


def test_one_from_a_file_waits_and_one_from_the_feed_counts(made, tmp_path):
    wrong = made.shot(20.0, (60.0, 0.0))
    plain = made.open(tmp_path / "p", made.as_events())
    fed = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", wrong)])
    filed = made.open(tmp_path / "b", [*made.as_events(), ("check_shot", {**wrong, "asks": True})])
    assert fed.shots()[0].verdict == "disagrees" and "shot_disagrees" in codes(fed)
    assert filed.shots()[0].verdict == "waiting" and "shot_waiting" in codes(filed)
    assert filed.advice().estimate.line_mm == plain.advice().estimate.line_mm
    assert fed.advice().estimate.line_mm > plain.advice().estimate.line_mm + 40.0
    # equally likely right or wrong: the mean of the squares is half of 60²
    doubt = filed.advice().estimate.line_sd_mm ** 2 - plain.advice().estimate.line_sd_mm ** 2
    innovation = filed.shots()[0].innovation_line_mm
    assert doubt == pytest.approx(innovation**2 / 2, rel=1e-6)
    assert filed.advice().estimate.level_sd_mm == pytest.approx(plain.advice().estimate.level_sd_mm)
    (unsure,) = [n.text for n in filed.advice().notices if n.code in ("estimate_unsure", "survey_due")]
    assert "1 check shot waits to be accepted or rejected" in unsure and "ake a check shot" not in unsure


def test_a_later_shot_that_agrees_settles_the_doubt_but_not_the_question(made, tmp_path):
    events = [*made.as_events(), ("check_shot", made.shot(15.0, (60.0, 0.0), asks=True))]
    drive = made.open(tmp_path / "a", events)
    open_sd = drive.advice().estimate.line_sd_mm
    drive.add("check_shot", made.shot(25.0, asks=True))
    assert drive.advice().estimate.line_sd_mm < 0.1 * open_sd
    assert "shot_waiting" in codes(drive)
    told = " ".join(drive.shots()[0].evidence)
    assert "further on agrees with the estimate" in told


@pytest.mark.parametrize("point", ["face", "pipe"])
def test_one_that_counts_though_it_disagrees_is_said_until_a_person_answers(made, tmp_path, point):
    """Shots further on that agree are no answer: they agree with nearly anything once the reference was opened."""
    wrong = {"chainage_m": 12.0, "point": point, "line_mm": -1840.0, "level_mm": 0.0, "sd_mm": 2.0}
    later = [("check_shot", made.shot(s)) for s in (22.0, 26.0, 29.0)]
    drive = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", wrong), *later])
    first = min(drive.shots(), key=lambda s: s.chainage_m)
    assert first.verdict == "disagrees" and drive.shots()[-1].verdict == "agrees"
    assert first.confirmed == ""
    said = [n.text for n in drive.advice().notices if n.code == "shot_disagrees"]
    assert any("at 12.0 m" in text and f"accept or reject shot {first.number}" in text for text in said)
    drive.reject_shot(first.number)
    assert "shot_disagrees" not in codes(drive)


def test_a_repeat_that_says_the_same_does_not_slip_in(made, tmp_path):
    events = [("check_shot", made.shot(20.0, (60.0, 0.0), asks=True)),
              ("check_shot", made.shot(20.0, (58.0, 1.0), asks=True))]  # fmt: skip
    drive = made.open(tmp_path / "a", [*made.as_events(), *events])
    assert [s.verdict for s in drive.shots()] == ["waiting", "waiting"]
    for view in drive.shots():
        assert "says the same" in view.evidence[1]


def test_of_many_that_say_the_same_as_many_are_compared_as_are_named(made, tmp_path, monkeypatch):
    shots = [("check_shot", made.shot(10.0 + 0.7 * n, (60.0, 0.0), asks=True)) for n in range(12)]
    drive = made.open(tmp_path / "a", [*made.as_events(), *shots])
    compared, compare = [], explain._says_the_same
    monkeypatch.setattr(explain, "_says_the_same", lambda *two: compared.append(two) or compare(*two))
    views = drive.shots()
    assert all(" and others say the same" in view.evidence[1] for view in views)
    assert len(compared) == 12 * 4  # three are named; the fourth tells that there are others


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        (lambda line, level: (-line, level), "with the line's sign changed"),
        (lambda line, level: (level, line), "with line and level changed over"),
        (lambda line, level: (line, level + 350.0), "lever arm taken off"),
    ],
)
def test_slips_of_the_pen_are_named(made, tmp_path, slip, words):
    drive = made.open(tmp_path / "a", [
        *made.as_events(),
        # moved well off the axis first, so that a changed sign shows
        ("check_shot", {"chainage_m": 20.0, "point": "face", "line_mm": 40.0, "level_mm": -30.0, "sd_mm": 1.0}),
    ])  # fmt: skip
    wrong = slip(40.0, -30.0)
    drive.add("check_shot", {"chainage_m": 20.0, "point": "face", "line_mm": wrong[0], "level_mm": wrong[1],
                             "sd_mm": 1.0, "asks": True})  # fmt: skip
    view = next(s for s in drive.shots() if s.verdict == "waiting")
    assert words in view.evidence[0]


def test_the_report_says_how_the_face_moved(made, tmp_path):
    drive = made.open(tmp_path / "a", made.as_events())
    before = drive.advice().estimate
    number = drive.add("check_shot", made.shot(25.0, (3.0, -2.0))).sequence
    after = drive.advice().estimate
    report = drive.shot_report({number})
    np.testing.assert_allclose(report.before.offset_mm, [before.line_mm, before.level_mm], atol=1e-9)
    np.testing.assert_allclose(report.after.offset_mm, [after.line_mm, after.level_mm], atol=1e-9)
    np.testing.assert_allclose(report.before.sd_mm, [before.line_sd_mm, before.level_sd_mm], atol=1e-9)
    np.testing.assert_allclose(report.after.sd_mm, [after.line_sd_mm, after.level_sd_mm], atol=1e-9)
    text = "\n".join(lines(report))
    assert f"Shot {number} of the face at 25.00 m" in text and "It agrees and counts." in text
    assert "moved: line" in text and "next check shot" in text


def test_a_waiting_shot_does_not_count_in_the_comparison(made, tmp_path):
    """Without the sound shots the wide sd would let the waiting one in."""
    events = [("check_shot", made.shot(float(s), asks=True)) for s in (10.0, 15.0, 20.0, 25.0)]
    events.append(("check_shot", made.shot(29.0, (9.0, 0.0), asks=True, sd_mm=0.5)))
    drive = made.open(tmp_path / "a", [*made.as_events(), *events])
    assert drive.shots()[-1].verdict == "waiting"
    report = drive.shot_report()
    plain = made.open(tmp_path / "b", made.as_events()).advice().estimate
    np.testing.assert_allclose(report.before.offset_mm, [plain.line_mm, plain.level_mm], atol=1e-9)


def test_a_plane_that_is_where_it_was_estimated_is_said_so(made, tmp_path):
    from steer.checkshots.report import page

    drive = made.open(tmp_path / "a", made.as_events())
    estimate = drive.advice().estimate
    for line, level in ((6.0, 0.02), (0.1, 0.1)):
        drive.add("check_shot", {
            "chainage_m": drive.advice().chainage_m, "point": "face", "line_mm": estimate.line_mm + line,
            "level_mm": estimate.level_mm + level, "sd_mm": 50.0,
        })  # fmt: skip
    text = " ".join(page(drive.shot_report()).split())
    assert "6 mm further right (0.1 sd) than estimated, level as estimated (0.0 sd)." in text
    assert ": line as estimated (0.0 sd), level as estimated (0.0 sd)." in text
    assert "has not moved: line still" in text and " 0 mm (" not in text


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_how_far_the_face_moved_is_told_by_and_to_and_against_what(made, tmp_path, side):
    """The figures are those of a drive that never had the shots."""
    from steer.checkshots.report import page

    drive = made.open(tmp_path / "a", made.as_events())
    bare = drive.advice().estimate.line_mm
    first, second = (drive.add("check_shot", made.shot(s, (side * 5.0, 0.0))).sequence for s in (28.0, 29.0))
    now = drive.advice().estimate.line_mm
    way = "right" if side > 0 else "left"
    assert side * (now - bare) > 1.0

    def told(numbers=None):
        return " ".join(page(drive.shot_report(numbers)).split())

    moved = f"has moved: line by {abs(now - bare):.0f} mm to the {way}, to {abs(now):.0f} mm "
    assert (
        f"Against an estimate without check shots, the face's at {drive.advice().chainage_m:.2f} m {moved}"
        in told()
    )
    assert moved in told({first, second}) and "without these shots, the face's" in told({first, second})
    assert "without this shot, the face's" in told({second})


def test_a_second_survey_that_confirms_an_accepted_one_speaks_for_the_reference(made, tmp_path):
    events = [("check_shot", made.shot(20.0, (60.0, 0.0), asks=True)),
              ("check_shot", made.shot(20.0, (58.0, 1.0), asks=True)),
              ("check_shot", made.shot(28.0, (59.0, 0.0), asks=True))]  # fmt: skip
    drive = made.open(tmp_path / "a", [*made.as_events(), *events])
    drive.accept_shot(drive.shots()[0].number)
    first = next(s for s in drive.shots() if s.verdict == "disagrees")
    assert [s.verdict for s in drive.shots()].count("agrees") == 2
    blunder, moved = first.evidence
    assert "at the same place confirms it" in moved and "further on agrees, now that it counts" in moved
    assert "agrees with the estimate" not in blunder


def test_an_accepted_shot_says_what_is_believed_once_others_confirm_it(made, tmp_path):
    """A reference that shifted by 30 mm: the first shot after it disagrees, the next one agrees with what it made."""
    drive = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", made.shot(8.0))])
    first = drive.add("check_shot", made.shot(18.0, (30.0, 0.0), asks=True)).sequence
    drive.accept_shot(first)

    def told() -> tuple[str, str]:
        view = next(s for s in drive.shots() if s.number == first)
        assert view.verdict == "disagrees" and view.accepted
        return view.confirmed, " ".join(" ".join(lines(drive.shot_report({first}))).split())

    confirmed, text = told()
    assert confirmed == "" and "It DISAGREES and counts, as accepted." in text
    sound = drive.add("check_shot", made.shot(28.0, (30.0, 0.0))).sequence
    confirmed, text = told()
    assert confirmed == f"shot {sound} (at 28.0 m) agrees"
    assert "DISAGREES" not in text and f"shot {sound} (at 28.0 m) agrees now: the reference is taken" in text
    drive.reject_shot(sound)
    assert told()[0] == ""
    # one that brings the reference back confirms nothing, and nothing does once it was set anew
    drive.add("check_shot", made.shot(28.5, (0.0, 0.0)))
    assert told()[0] == ""


def test_nothing_further_on_confirms_once_the_reference_was_set_anew(made, tmp_path):
    setting = {"chainage_m": 20.0, "right_mm": 0.0, "up_mm": 350.0, "right_mm_per_m": 0.0, "up_mm_per_m": 0.0}
    drive = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", made.shot(8.0))])
    first = drive.add("check_shot", made.shot(18.0, (30.0, 0.0))).sequence
    drive.add("check_shot", made.shot(28.0, (30.0, 0.0)))
    assert next(s for s in drive.shots() if s.number == first).confirmed
    drive.add("reference_set", setting)
    assert not next(s for s in drive.shots() if s.number == first).confirmed


def test_words_on_no_shot_are_refused(made, tmp_path):
    from steer.errors import InputRefused

    drive = made.open(tmp_path / "a", made.as_events(50))
    with pytest.raises(InputRefused, match="no such shot; the newest are: there are none"):
        drive.accept_shot(3)
    number = drive.add("check_shot", made.shot(1.0)).sequence
    drive.withdraw_shot(number)
    with pytest.raises(InputRefused, match="is withdrawn already"):
        drive.withdraw_shot(number)


def test_of_several_words_all_are_stored_or_none(made, tmp_path, capsys):
    from steer.cli.main import main

    drive = made.open(tmp_path / "a", made.as_events(50))
    first, second = (drive.add("check_shot", made.shot(s)).sequence for s in (1.0, 2.0))
    drive.reject_shot(first)
    newest = drive.log.last_sequence()
    assert main(["shots", str(tmp_path / "a"), "--reject", str(second), "--reject", str(first)]) == 1
    assert f"check shot {first}: is rejected already" in capsys.readouterr().err
    assert drive.log.last_sequence() == newest
    assert main(["shots", str(tmp_path / "a"), "--reject", str(second), "--accept", str(first)]) == 0
    drive.refresh()
    assert {n: s.word for n, s in drive.follower.shots.items()} == {first: "accepted", second: "rejected"}


def test_restore_takes_back_the_newest_word_as_the_screens_do(made, tmp_path, capsys):
    from steer.cli.main import main

    folder = str(tmp_path / "a")
    drive = made.open(tmp_path / "a", made.as_events(50))
    number = drive.add("check_shot", made.shot(1.0)).sequence
    drive.accept_shot(number)
    rejected = drive.reject_shot(number)
    for holds in ("accepted", None):
        assert main(["shots", folder, "--restore", str(number)]) == 0
        drive.refresh()
        assert drive.follower.shots[number].word == holds
    events = [e for e in drive.log.events() if e.kind == "restored"]
    assert events[0].body == {"shot": number, "event": rejected.sequence}
    capsys.readouterr()
    assert main(["shots", folder, "--restore", str(number)]) == 1
    assert "there is nothing to take back" in capsys.readouterr().err


def test_a_word_said_in_another_window_just_now_is_not_stored_again(made, tmp_path):
    from steer.drive import Drive
    from steer.errors import InputRefused

    drive = made.open(tmp_path / "a", made.as_events(50))
    number = drive.add("check_shot", made.shot(1.0)).sequence
    with Drive.open(tmp_path / "a", write=True) as other:
        other.reject_shot(number)
    with pytest.raises(InputRefused, match="is rejected already"):
        drive.reject_shot(number)
