"""The reference's error as shots find it."""

import math
import re

import numpy as np
import pytest

from steer.checkshots.reference import BENDING_MM_PER_M2, ReferenceFound, _shape, aim
from steer.checkshots.report import aim_lines, reference_lines
from steer.drive import Drive


@pytest.mark.parametrize(("distance_m", "bent_mm"), [(50.0, 1.2), (100.0, 4.6), (200.0, 18.6), (300.0, 41.8)])
def test_bending_by_one_kelvin_a_metre(distance_m, bent_mm):
    """Ray curvature (dn/dT)·(dT/dx) with n of Barrell and Sears (from memory): offsets at 20 °C and 1 K/m."""
    assert 0.5 * BENDING_MM_PER_M2 * distance_m**2 == pytest.approx(bent_mm, abs=0.06)


D = np.array([20.0, 45.0, 70.0, 95.0, 120.0])
VAR = np.full(5, 4.0)


def test_the_cause_is_told_by_the_shape():
    assert _shape(12.0 + 0.0 * D, VAR, D, "right", "left").startswith(
        "a shift of 12 mm right explains it; refr"
    )
    assert _shape(-0.3 * D, VAR, D, "right", "left").startswith("a turn of 0.30 mm/m left explains it; refr")
    bent = _shape(0.5 * 2.0 * BENDING_MM_PER_M2 * D**2, VAR / 9, D, "up", "down")
    assert bent == "refraction by 2.0 K/m across the beam, colder air up explains it"


def test_noise_is_no_error_and_one_shot_cannot_tell():
    rng = np.random.default_rng(2)
    none = [_shape(rng.normal(0.0, 2.0, 5), VAR, D, "right", "left").startswith("none") for _ in range(200)]
    assert sum(none) > 180
    one = _shape(np.array([9.0]), np.array([4.0]), np.array([110.0]), "right", "left")
    assert "shift" in one and "turn" in one and "refraction" in one and "one shot cannot tell which" in one


def test_a_gradient_that_no_air_has_is_not_offered():
    steep = _shape(0.5 * 9.0 * BENDING_MM_PER_M2 * D**2, VAR / 9, D, "right", "left")
    assert "refraction would not (it would take 9.0 K/m)" in steep


def test_a_cause_that_explains_next_to_nothing_is_not_offered():
    """Nothing at first and 10 mm at the end: a shift fits hardly better than no error at all."""
    error = np.array([0.0, 0.0, 0.5, 0.0, -10.0])
    said = _shape(error, np.full(5, 9.0), D, "up", "down")
    assert "shift" not in said


def test_a_turned_beam_is_found_and_aimed_back(made, tmp_path):
    """Every shot says what a beam turned by 0.5 mm/m to the right would make it say."""
    turned = 0.5
    drive = made.open(tmp_path / "a", made.as_events())
    for s in np.arange(4.0, 30.1, 1.0):
        far = s - 1.6
        # machine and target keep their place in the beam, so the machine is off by the beam's own error
        drive.add("check_shot", made.shot(float(s), (turned * far + turned * 1.6, 0.0), sd_mm=0.7))
    report = drive.shot_report()
    found = report.reference
    expected = turned * found.distance_m
    assert found.error_mm[0] == pytest.approx(expected, abs=3.0)
    assert abs(found.error_mm[0] - expected) < 4 * found.error_sd_mm[0] + 1.0
    assert found.worth_setting
    aim = aim_lines(found, report.setting)
    assert "mm left" in aim[0] and '"kind": "reference_set"' in aim[-1]
    assert "right" in reference_lines(found, True)[0]
    assert report.setting["up_mm"] == 350.0 and math.isclose(report.setting["chainage_m"], 30.0, abs_tol=0.1)


def test_a_sound_beam_is_left_alone(made, tmp_path):
    shots = [("check_shot", made.shot(float(s))) for s in (10.0, 20.0, 30.0)]
    drive = made.open(tmp_path / "a", [*made.as_events(), *shots])
    report = drive.shot_report()
    assert not report.reference.worth_setting
    assert "need not be set anew" in aim_lines(report.reference, report.setting)[0]


def found_beam(error, offset, offset_sd):
    zero = np.zeros(2)
    return ReferenceFound(
        100.0, np.array(error), np.full(2, 1.0), np.array(offset), np.full(2, offset_sd), zero, zero
    )


def test_the_aim_by_hand():
    """A beam set 350 mm above the axis strikes 12 mm right and 5 mm low of its line, 100 m in."""
    set_at = {
        "chainage_m": 101.6,
        "right_mm": 0.0,
        "up_mm": 350.0,
        "right_mm_per_m": 0.02,
        "up_mm_per_m": 0.0,
    }
    plain = aim(found_beam((12.0, -5.0), (3.0, 1.0), 2.0), set_at)  # its start is not known to be off
    np.testing.assert_allclose(plain.turn_mm_per_m, (-0.12, 0.05))
    np.testing.assert_allclose(plain.move_mm, (-12.0, 5.0))
    assert plain.setting == set_at
    # 8 mm right of its mark beyond doubt, it must slant back by 8 mm in 100 m
    off = aim(found_beam((12.0, -5.0), (8.0, 1.0), 1.0), set_at)
    np.testing.assert_allclose(off.turn_mm_per_m, (-0.12, 0.05))
    assert off.setting == {**set_at, "right_mm": 8.0, "right_mm_per_m": -0.06}
    at_target = off.setting["right_mm"] + 100.0 * off.setting["right_mm_per_m"]
    assert at_target == pytest.approx(set_at["right_mm"] + 100.0 * set_at["right_mm_per_m"])
    said = " ".join(aim_lines(found_beam((12.0, -5.0), (8.0, 1.0), 1.0), set_at))
    assert "turn it at the shaft by 0.12 mm/m left ± 0.02 and 0.05 mm/m up ± 0.02" in said
    assert "brings it 12 mm left ± 2 and 5 mm up ± 2" in said and "still starts 8 mm right ± 2" in said


def turned(made, readings, by):
    """Readings of a beam that runs `by(distance)` = right (mm), direction (mm/m) off its line: the spot moves with
    it in the rolled target, and yaw is read against it."""
    out = []
    for kind, body in readings:
        body = dict(body)
        off, direction = by(body["chainage_m"])
        roll = math.radians(body["roll_deg"])
        body["spot_right_mm"] += off * math.cos(roll)
        body["spot_up_mm"] += off * math.sin(roll)
        if body.get("yaw_mm_per_m") is not None:
            body["yaw_mm_per_m"] -= direction
        out.append((kind, body))
    return out


def test_a_beam_aimed_as_told_is_followed(made, tmp_path):
    """Turned by 0.6 mm/m at 10 m, surveyed at 20 m, aimed back as the report says: the estimate stays with the truth
    from there, and nothing calls the beam moved."""
    readings = made.as_events()
    wrong = 0.6
    before = [r for r in readings if r[1]["chainage_m"] <= 20.0]
    after = [r for r in readings if r[1]["chainage_m"] > 20.0]

    def bent(s):
        return (wrong * (s - 1.6), wrong) if s > 10.0 else (0.0, 0.0)

    drive = made.open(tmp_path / "a", turned(made, before, bent))
    for sd in (0.8, 0.8):
        drive.add("check_shot", made.shot(20.0, sd_mm=sd))
    report = drive.shot_report()
    told = aim(report.reference, report.setting)
    assert told.turn_mm_per_m[0] == pytest.approx(-wrong, abs=0.15)
    left = wrong + told.turn_mm_per_m[0]
    drive.add("reference_set", {**told.setting, "chainage_m": 20.0})
    drive.log.append_many(turned(made, after, lambda s: (left * (s - 1.6), left)))
    drive.refresh()
    advice = drive.advice()
    truth = made.face(advice.chainage_m)
    assert abs(advice.estimate.line_mm - truth[0]) < 3.0 * advice.estimate.line_sd_mm
    assert abs(advice.estimate.line_mm - truth[0]) < 5.0
    assert not {"reference_moved", "reference_drifting", "shot_disagrees"} & {n.code for n in advice.notices}
    # without the word the same readings are taken for a beam that moved
    plain = made.open(tmp_path / "b", turned(made, before, bent))
    for sd in (0.8, 0.8):
        plain.add("check_shot", made.shot(20.0, sd_mm=sd))
    plain.log.append_many(turned(made, after, lambda s: (left * (s - 1.6), left)))
    plain.refresh()
    assert "reference_moved" in {n.code for n in plain.advice().notices}


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_what_a_believed_shot_shows_of_the_beam_is_told_on_every_page(made, tmp_path, side):
    """A beam that turned between the shots at 8 and 28 m by 1 mm/m: by one shot nobody can tell a turn from a shift,
    so neither stands out of its own doubt, but what both come to at the target does."""

    def by(s):
        return (side * 1.0 * (s - 8.0), 0.0) if s > 8.0 else (0.0, 0.0)

    readings = turned(made, made.as_events(), by)
    drive = made.open(tmp_path / "a", [*readings, ("check_shot", made.shot(8.0))])
    assert "reference_drifting" not in {n.code for n in drive.advice().notices}
    shot = drive.add("check_shot", made.shot(28.0, asks=True)).sequence
    assert "shot_waiting" in {n.code for n in drive.advice().notices}
    assert "reference_drifting" not in {n.code for n in drive.advice().notices}
    drive.accept_shot(shot)
    found = drive.shot_report().reference
    assert found.worth_setting and np.sign(found.error_mm[0]) == side
    # two figures for a turn stand on one page: each says what it is of
    back, other = f"{abs(found.error_mm[0]) / found.distance_m:.2f} mm/m", "left" if side > 0 else "right"
    told = drive.snapshot().extra["reference"]
    assert (
        f"Turned at the shaft by {back} {other}" in told and "it strikes its line at the target again" in told
    )
    (view,) = [s for s in drive.shots() if s.number == shot]
    assert re.search(r"by itself the beam would have to have turned by [\d.]+ mm/m", view.evidence[0])
    (notice,) = [n for n in drive.advice().notices if n.code == "reference_drifting"]
    way = "right" if side > 0 else "left"
    assert f"at the target, 28 m in, {abs(found.error_mm[0]):.0f} mm {way} of where it was set" in notice.text
    drive.reject_shot(shot)
    assert "reference_drifting" not in {n.code for n in drive.advice().notices}


def test_what_one_shot_shows_that_nobody_believed_yet_is_asked_about_only(made, tmp_path):
    """A shot by the feed counts at once, and may be a blunder: "have it set anew" would come too soon. Another further
    on that agrees then says so."""
    drive = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", made.shot(8.0))])
    drive.add("check_shot", made.shot(26.0, (20.0, 0.0)))
    codes = {n.code for n in drive.advice().notices}
    assert "shot_disagrees" in codes and "reference_drifting" not in codes
    drive.add("check_shot", made.shot(29.0, (20.0, 0.0)))
    assert "reference_drifting" in {n.code for n in drive.advice().notices}


def on_the_axis(made, at, events):
    """The drive with a guidance that follows the axis: one shot shows an error of its offset, there is no turn."""
    folder = made.folder(at)
    toml = (folder / "drive.toml").read_text(encoding="utf-8")
    (folder / "drive.toml").write_text(toml.replace('kind = "beam"', 'kind = "axis"'), encoding="utf-8")
    drive = Drive.open(folder, write=True)
    drive.log.append_many(events)
    drive.refresh()
    assert drive.file.reference.kind == "axis"
    return drive


@pytest.mark.parametrize("size", [20.0, 35.0])
def test_a_blunder_is_asked_about_and_not_told_as_the_reference(made, tmp_path, size):
    """The survey blundered by `size`, the reference is sound: "repeat the survey" and "have it set anew" beside it
    cannot both be right. Nor does the sound shot that follows make it the reference's."""
    drive = on_the_axis(made, tmp_path / "a", [*made.as_events(), ("check_shot", made.shot(8.0))])
    drive.add("check_shot", made.shot(24.0, (size, 0.0)))
    codes = {n.code for n in drive.advice().notices}
    assert "shot_disagrees" in codes and "reference_drifting" not in codes
    drive.add("check_shot", made.shot(29.0))
    assert "reference_drifting" not in {n.code for n in drive.advice().notices}


def test_an_error_that_shots_had_shown_stays_told_while_a_newer_one_disagrees(made, tmp_path):
    """The guidance went 20 mm off, then 20 mm further: what two shots showed is not taken back by the third."""
    shots = [made.shot(8.0), made.shot(18.0, (20.0, 0.0)), made.shot(22.0, (20.0, 0.0))]
    drive = on_the_axis(made, tmp_path / "a", [*made.as_events(), *(("check_shot", s) for s in shots)])
    assert "reference_drifting" in {n.code for n in drive.advice().notices}
    drive.add("check_shot", made.shot(29.0, (40.0, 0.0)))
    advice = {n.code: n.text for n in drive.advice().notices}
    assert "shot_disagrees" in advice and "mm right of where it was set" in advice["reference_drifting"]


def test_a_beam_that_is_out_in_both_planes_is_told_so_in_both(made, tmp_path):
    """It turned by 1 mm/m to the right and 0.8 mm/m down between the shots at 8 and 28 m."""

    def by(s):
        return (1.0 * (s - 8.0), -0.8 * (s - 8.0)) if s > 8.0 else (0.0, 0.0)

    readings = turned(made, made.as_events(), lambda s: (by(s)[0], 0.0))
    for _, body in readings:
        up, roll = by(body["chainage_m"])[1], math.radians(body["roll_deg"])
        body["spot_right_mm"] -= up * math.sin(roll)
        body["spot_up_mm"] += up * math.cos(roll)
    drive = made.open(tmp_path / "a", [*readings, ("check_shot", made.shot(8.0))])
    drive.accept_shot(drive.add("check_shot", made.shot(28.0, asks=True)).sequence)
    found = drive.shot_report().reference
    (notice,) = [n for n in drive.advice().notices if n.code == "reference_drifting"]
    right, low = (f"{abs(mm):.0f} mm {way}" for mm, way in zip(found.error_mm, ("right", "low"), strict=True))
    assert f"{right} and {low} of where it was set" in notice.text


def test_a_shot_is_further_right_or_lower_than_expected():
    from steer.estimate.findings.reference import further

    told = [further(plane, by) for plane, by in ((0, 9.2), (0, -9.2), (1, 9.6), (1, -9.6))]
    assert told == ["9 mm further right", "9 mm further left", "10 mm higher", "10 mm lower"]


def test_a_target_that_was_knocked_is_not_taken_for_the_reference(made, tmp_path):
    """It was pushed 15 mm to the left and turned by 8 mm/m at 20 m, and the beam never moved: the estimate holds both
    as one, and shots find the spot off. Turning the beam would be wrong, so each page sends to the mount first."""
    readings = turned(made, made.as_events(), lambda s: (15.0, -8.0) if s > 20.0 else (0.0, 0.0))
    shots = [("check_shot", made.shot(s)) for s in (8.0, 24.0, 29.0)]
    drive = made.open(tmp_path / "a", [*readings, *shots])
    codes = {n.code: n.text for n in drive.advice().notices}
    assert "reference_drifting" not in codes
    assert "The target was probably knocked at 20." in codes["target_knocked"]
    assert "check its mount before the reference is set anew" in codes["target_knocked"]
    report = drive.shot_report()
    assert report.reference.error_mm[0] > 10.0 and report.reference.knocked_m == pytest.approx(20.0, abs=0.6)
    assert "check its mount before the beam is turned" in aim_lines(report.reference, report.setting)[0]
    assert "check its mount" in drive.snapshot().extra["reference"]


def test_a_beam_that_moved_after_no_knock_is_taken_for_the_reference(made, tmp_path):
    """The same jump of the spot without one of the heading: that is the beam, and it is to be set anew."""
    readings = turned(made, made.as_events(), lambda s: (15.0, 0.0) if s > 20.0 else (0.0, 0.0))
    shots = [("check_shot", made.shot(s)) for s in (8.0, 24.0, 29.0)]
    drive = made.open(tmp_path / "a", [*readings, *shots])
    codes = {n.code for n in drive.advice().notices}
    assert "reference_drifting" in codes and "target_knocked" not in codes
    report = drive.shot_report()
    assert report.reference.knocked_m is None
    assert "To aim it again" in aim_lines(report.reference, report.setting)[0]
