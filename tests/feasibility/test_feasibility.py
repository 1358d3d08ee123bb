"""The feasibility page against handbook values and closed forms."""

import dataclasses
import math
from pathlib import Path

import pytest

from steer.axis import axis_from_spec
from steer.cli.main import main
from steer.drivefile import parse_drive
from steer.feasibility import CAUTION, answer, feasibility, page
from steer.feasibility.beam import bend_mm, reach
from steer.feasibility.curves import tightest

DRIVE = (Path(__file__).parent / "data" / "drive.toml").read_text()
PACKER = """packer_thickness_mm = 18.0
packer_modulus_mpa = 100.0
packer_width_mm = 140.0
max_joint_stress_mpa = 18.0
"""
START = {"chainage_m": 0.0, "easting_m": 5000.0, "northing_m": 2000.0, "level_m": 12.0, "bearing_deg": 47.5}


def arc(radius_m, length_m=200.0):
    return {"kind": "arc", "length_m": length_m, "radius_m": radius_m, "turn": "left"}


def grade(mm_per_m, length_m=200.0):
    return {"kind": "grade", "length_m": length_m, "grade_mm_per_m": mm_per_m}


def drive(horizontal=None, vertical=None, extra="", **changes):
    """The test drive on another axis, with keys of its text replaced."""
    text = DRIVE + extra
    for key, value in changes.items():
        line = next(t for t in text.splitlines() if t.startswith(f"{key} ="))
        text = text.replace(line, f"{key} = {value}")
    made = parse_drive(text)
    if horizontal or vertical:
        horizontal = horizontal or [{"kind": "line", "length_m": 200.0}]
        axis = axis_from_spec(START, horizontal, vertical or [grade(4.0)])
        made = dataclasses.replace(made, axis=axis)
    return made


def found(made, subject):
    (one,) = (f for f in feasibility(made) if f.subject == subject)
    return one


def test_joint_angle_and_gap_of_half_a_degree():
    """R = L/angle: 0.5° with 3 m pipes is R = 343.77 m, and opens 18.85 mm on 2160 mm."""
    joints = found(drive([arc(343.77)]), "Pipe joints")
    assert joints.value == pytest.approx(1000 * math.radians(0.5), abs=1e-3)
    assert "gap 18.8" in joints.text or "gap 18.9" in joints.text
    assert (joints.verdict, joints.limit) == ("not possible", 8.0)
    assert joints.margin == pytest.approx(8.0 - 8.7266, abs=1e-3)


def test_radius_of_deflected_straight_pipe():
    """American Concrete Pipe Association, Design Data 21: L 2.5 m, OD 1.43 m, pull 12.5 mm: R 285.997 m.

    Its radius is to the pipes' middles, ours through the joints: they differ by L²/8R = 3 mm.
    """
    made = drive([arc(285.997)], length_m=2.5, inner_diameter_mm=1200.0)
    pipe = made.pipe.model_copy(update={"outer_diameter_mm": 1430.0})
    joints = found(dataclasses.replace(made, pipe=pipe), "Pipe joints")
    assert joints.value == pytest.approx(1000 * math.radians(0.50084), rel=2e-5)
    assert "gap 12.5 mm" in joints.text


@pytest.mark.parametrize(
    ("radius_m", "verdict"),
    [(1000.0, "possible"), (450.0, "tight"), (376.0, "tight"), (374.0, "not possible")],
)
def test_verdict_by_what_is_left(radius_m, verdict):
    """Joints to 8 mm/m with 3 m pipes allow R = 375 m; over three quarters of it is tight."""
    assert found(drive([arc(radius_m)]), "Pipe joints").verdict == verdict


def test_both_planes_count_together():
    vertical = [
        {"kind": "parabola", "length_m": 200.0, "grade_start_mm_per_m": 0.0, "grade_end_mm_per_m": 400.0}
    ]
    curve = tightest(drive([arc(1000.0 / 1.5)], vertical).axis)
    assert curve.curvature_mm_per_m2 == pytest.approx(math.hypot(1.5, 2.0), rel=1e-9)


def test_a_curve_shorter_than_a_pipe_turns_its_joint_less():
    """A joint cannot turn by more than the arc turns altogether."""
    short = [{"kind": "line", "length_m": 99.0}, arc(100.0, 1.0), {"kind": "line", "length_m": 100.0}]
    joints = found(drive(short), "Pipe joints")
    assert joints.value == pytest.approx(1000.0 / 100.0, rel=0.2)  # 3 m on R = 100 m would be 30 mm/m
    assert joints.value <= 10.0 + 1e-6


def test_articulation_of_three_points_on_a_circle():
    """R = (front + rear)/(2·A) in rigid guides: 4.0 mm/m for 4.8 m on R = 600 m, more in ground."""
    bent = found(drive([arc(600.0)]), "Articulation")
    assert "4.0 mm/m with rigid guides" in bent.text
    assert bent.value > 4.0
    assert bent.verdict == "possible"
    sharp = found(drive([arc(600.0)], max_articulation_mm_per_m=6.0), "Articulation")
    assert sharp.verdict == "not possible"


def test_cylinders_move_with_the_articulation():
    """Extension = neutral − circle radius · articulation: 0.8 mm a mm/m on 800 mm."""
    made = drive([arc(600.0)])
    assert found(made, "Cylinder travel").value == pytest.approx(0.8 * found(made, "Articulation").value)
    short = drive([arc(600.0)], range_mm="[31.0, 72.0]")
    assert found(short, "Cylinder travel").limit == pytest.approx(5.0)
    assert found(short, "Cylinder travel").verdict == "not possible"


def test_overcut_against_the_sagitta_of_a_pipe():
    """R − sqrt(R² − (L/2)²) on R = 100 m: 11.25 mm for a pipe of 3 m."""
    exact = 1000.0 * (100.0 - math.sqrt(100.0**2 - 1.5**2))
    assert found(drive([arc(100.0)]), "Overcut").value == pytest.approx(exact, abs=1e-3)
    assert found(drive([arc(50.0)]), "Overcut").verdict == "not possible"
    assert "no room" in found(drive(outer_diameter_mm=2160.0), "Overcut").text


def test_permissible_force_falls_in_a_curve():
    straight = found(drive(extra=PACKER), "Permissible jacking force")
    curve = found(drive([arc(400.0)], extra=PACKER), "Permissible jacking force")
    area_mm2 = math.pi * (1060.0**2 - 920.0**2)
    assert straight.value == pytest.approx(18.0 * area_mm2 / 1000.0)
    assert 0.0 < curve.value < straight.value
    assert "% of" in curve.text and "used packer" in curve.text
    assert not any(f.subject == "Permissible jacking force" for f in feasibility(drive()))


@pytest.mark.parametrize(("distance_m", "mm"), [(50, 1.2), (100, 4.6), (200, 18.6), (300, 41.8)])
def test_refraction(distance_m, mm):
    """Ray curvature by Barrell and Sears (memory) at 20 °C and 1 K/m, computed apart from the project."""
    assert bend_mm(distance_m) == pytest.approx(mm, abs=0.05)


def test_refraction_by_ciddor():
    """dn/dT of dry air at 20 °C, −9.298e-7 per K, from Ciddor's equation (package ref_index after NIST)."""
    assert bend_mm(100.0, 1.0, 20.0) == pytest.approx(1000 * 0.5 * 9.298e-7 * 100.0**2, rel=5e-3)


def test_a_tangent_beam_in_a_circle():
    """It stays level; it leaves where sqrt(R² + t²) − R passes what the bore leaves beside 350 mm."""
    radius, start = 600.0, {**START, "chainage_m": 30.0}
    axis = axis_from_spec(start, [arc(radius)], [grade(0.0)])
    beside = math.sqrt(0.9**2 - 0.35**2)
    t = math.sqrt((radius + beside) ** 2 - radius**2)
    got, _ = reach(axis, 30.0, 900.0, right_mm=0.0, up_mm=350.0, to_m=200.0)
    assert got == pytest.approx(30.0 + radius * math.atan(t / radius), abs=1e-3)


def test_a_beam_aimed_across_the_curve_reaches_twice_as_far():
    """Longest chord inside: from the outer wall past the inner wall to the outer wall, 4·sqrt(R·r)."""
    radius, bore = 600.0, 0.9
    axis = axis_from_spec(START, [arc(radius, 300.0)], [grade(0.0, 300.0)])
    half = math.acos((radius - bore) / (radius + bore))
    inward = -1000.0 * math.tan(half) * (1 - 1e-9)  # the curve turns left
    got, _ = reach(
        axis,
        0.0,
        900.0 + 1e-3,
        right_mm=900.0,
        up_mm=0.0,
        right_mm_per_m=inward,
        to_m=300.0,
    )
    assert got == pytest.approx(2.0 * half * radius, rel=1e-3)
    assert 2.0 * (radius + bore) * math.sin(half) == pytest.approx(4.0 * math.sqrt(radius * bore), rel=1e-6)


def test_beam_on_the_page():
    straight = found(drive(), "Beam")
    assert straight.verdict == "possible" and "198.2 m" in straight.text
    assert "550 mm from" in straight.text and straight.margin == pytest.approx(550.0)  # 900 − 350
    bent = found(drive([arc(600.0)]), "Beam")
    assert bent.verdict == "with moves"
    assert bent.margin < 0.0 and "set anew" in bent.text
    close = found(drive(up_mm=870.0), "Beam")
    assert close.verdict == "tight"
    follows = drive(kind='"axis"')
    assert not {"Beam", "Refraction"} & {f.subject for f in feasibility(follows)}


def test_fall():
    steady = found(drive(), "Fall")
    assert (steady.verdict, steady.value) == ("note", pytest.approx(4.0))
    assert "15 m" in steady.text  # 2 · 30 mm at 4 mm/m
    sag = [{"kind": "parabola", "length_m": 200.0, "grade_start_mm_per_m": -3.0, "grade_end_mm_per_m": 5.0}]
    low = found(drive(vertical=sag), "Fall")
    assert low.verdict == "tight" and "75.0" in low.text
    crest = [{"kind": "parabola", "length_m": 200.0, "grade_start_mm_per_m": 4.0, "grade_end_mm_per_m": -4.0}]
    top = found(drive(vertical=crest), "Fall")  # its summit is one of the places looked at
    assert "changes between rising and falling at chainage 100.0 m" in top.text
    flat = found(drive(vertical=[grade(0.0)]), "Fall")
    assert flat.verdict == "tight" and "level" in flat.text


def test_page_holds_every_finding_and_the_caution():
    made = drive([arc(600.0)], extra=PACKER)
    findings = feasibility(made)
    lines = page(findings, width=80)
    assert max(map(len, lines)) <= 80
    text = " ".join(" ".join(lines).split())
    for finding in findings:
        assert f"{finding.verdict} {finding.subject} " in text and " ".join(finding.text.split()) in text
    assert CAUTION in text
    # by hand: 3 m pipes on R = 600 m turn by 5 mm/m, of 8
    assert "possible Pipe joints 5.00 mm/m 8.00 mm/m 3.00 mm/m " in text
    assert "figure limit margin" in text


def test_the_answer_names_what_stands_in_the_way_first():
    straight = answer(feasibility(drive(vertical=[grade(5.0)])))
    assert straight == "Yes, by these figures."
    tight = feasibility(drive([arc(40.0)], [grade(0.0)]))
    said = answer(tight)
    assert said.startswith("Not as it stands. Not possible: pipe joints, ")
    assert said.index("with moves: beam") < said.index("tight: ") and said.endswith("fall.")
    named = {f.subject.lower() for f in tight if f.verdict not in ("possible", "note")}
    assert all(subject in said for subject in named)
    assert answer(feasibility(drive(vertical=[grade(0.0)]))) == "Yes, with care. Tight: fall."


def test_a_level_axis_is_level_all_the_way():
    assert "level all the way" in found(drive(vertical=[grade(0.0)]), "Fall").text


def test_the_command_answers_with_the_plan_s_outcome(tmp_path, capsys):
    """A beam that must be set anew on the way, and the chance to miss the eye, are part of the answer."""
    for name, curve in (("straight", ""), ("bent", "tight")):
        text = DRIVE
        if curve:
            at = text.index("horizontal = [")
            bend = 'horizontal = [{ kind = "arc", length_m = 200.0, radius_m = 300.0, turn = "left" }]\n'
            text = text[:at] + bend + text[text.index("]\n", at) + 2 :]
        (tmp_path / name).mkdir()
        (tmp_path / name / "drive.toml").write_text(text)
        assert main(["check", str(tmp_path / name)]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert ("Can it be driven? Yes, by these figures." in out) is not bool(curve)
        assert ("The reference is set anew 8 times" in out) is bool(curve)
        assert "Missing the eye" in out
    (tmp_path / "straight" / "drive.toml").write_text(
        DRIVE.replace("line_mm = 50.0", "line_mm = 1.0\neye = { line_mm = 0.5, level_mm = 0.5 }")
    )
    assert main(["check", str(tmp_path / "straight")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Can it be driven? Not as it stands. Not possible: missing the eye" in out
