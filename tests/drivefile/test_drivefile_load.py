"""What a sound drive.toml becomes."""

import dataclasses
import math
from pathlib import Path

import pytest
from pydantic import ValidationError

from steer.drivefile import TEMPLATE, load_drive, parse_drive
from steer.errors import FolderUnusable

GOOD = (Path(__file__).parent / "data" / "good.toml").read_text(encoding="utf-8")


def test_values_stand_under_the_names_of_their_keys() -> None:
    file = parse_drive(GOOD)
    assert file.drive.name == "Invented drive for tests"
    assert file.machine.cylinders.positions_deg == (45.0, 135.0, 225.0, 315.0)
    assert file.machine.cylinders.range_mm == (0.0, 72.0)
    assert (file.target.behind_face_m, file.target.up_mm) == (1.8, 350.0)
    assert file.tolerance.eye is not None
    assert file.tolerance.eye.level_mm == 20.0
    assert file.axis_spec.horizontal[1].radius_start_m == math.inf
    assert isinstance(file.machine.cylinders.positions_deg[0], float)


def test_axis_is_built() -> None:
    axis = parse_drive(GOOD).axis
    assert (axis.start_chainage_m, axis.end_chainage_m) == (0.0, 160.0)
    at = axis.at(100.0)
    assert at.curvature_right_mm_per_m2 == pytest.approx(1000 / 600)
    assert at.level_m == pytest.approx(12.34 + 0.4)


def test_defaults_are_the_contract_s() -> None:
    sd = parse_drive(GOOD.replace("[sd]\nspot_mm = 1.5\n", "")).sd
    assert dataclasses.astuple(_Defaults()) == tuple(sd.model_dump().values())


@dataclasses.dataclass
class _Defaults:
    spot_mm: float = 1.5
    spot_mm_per_100m: float = 0.75
    yaw_mm_per_m: float = 0.7
    pitch_mm_per_m: float = 0.5
    pitch_bias_mm_per_m: float = 0.3
    launch_mm: float = 4.0
    launch_mm_per_m: float = 1.0
    reference_mm: float = 1.5
    reference_mm_per_m: float = 0.02


def test_optional_keys_may_be_left_out() -> None:
    text = GOOD.replace("eye = { line_mm = 30.0, level_mm = 20.0 }\n", "")
    text = text[: text.index("packer_thickness_mm")]
    text = text.replace('kind = "beam"', 'kind = "axis"')
    text = text.replace("right_mm_per_m = 0.0\nup_mm_per_m = 0.0\n", "")
    file = parse_drive(text)
    assert file.tolerance.eye is None
    assert not file.pipe.has_force_keys
    assert file.reference.right_mm_per_m == 0.0
    assert file.steering.firmness == "normal"
    assert file.decision.conformance_probability == 0.95


def test_records_are_frozen() -> None:
    file = parse_drive(GOOD)
    with pytest.raises(ValidationError):
        file.machine.front_length_m = 3.0  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        file.axis = None  # type: ignore[misc]


def test_three_cylinders_and_two_at_a_right_angle_steer_both_planes() -> None:
    for positions in ("[0, 120, 240]", "[0, 90]", "[0, 90, 180]", "[-45, 45, 180]"):
        parse_drive(GOOD.replace("[45, 135, 225, 315]", positions))


@pytest.mark.parametrize("change", ["\ufeff", "crlf"])
def test_windows_files_load(tmp_path: Path, change: str) -> None:
    text = GOOD.replace("\n", "\r\n") if change == "crlf" else change + GOOD
    (tmp_path / "drive.toml").write_bytes(text.encode("utf-8"))
    assert load_drive(tmp_path).drive.stroke_m == 1.0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            ("max_articulation_mm_per_m = 38.0", "max_articulation_mm_per_m = 70.0"),
            "out of the cylinders' reach",
        ),
        (("behind_face_m = 1.8", "behind_face_m = 5.0"), "behind the machine's tail"),
        (("up_mm = 350.0\n\n[ref", "up_mm = 1100.0\n\n[ref"), "outside the machine"),
        (("outer_diameter_mm = 2160.0", "outer_diameter_mm = 2190.0"), "more than the machine's"),
        (("line_mm = 30.0", "line_mm = 60.0"), "wider than the tolerance"),
        (('kind = "beam"\nright_mm = 0.0', 'kind = "axis"\nright_mm = 0.0'), None),
        (("right_mm_per_m = 0.0", "right_mm_per_m = 1.0"), None),
    ],
)
def test_the_unusual_is_a_warning(change: tuple[str, str], said: str | None) -> None:
    assert change[0] in GOOD
    warnings = parse_drive(GOOD.replace(*change, 1)).warnings
    assert (said is None and warnings == ()) or (said is not None and said in "".join(warnings))


def test_beam_direction_with_an_axis_reference_is_a_warning() -> None:
    text = GOOD.replace('kind = "beam"', 'kind = "axis"').replace(
        "right_mm_per_m = 0.0", "right_mm_per_m = 1.0"
    )
    assert "only a beam has a direction" in "".join(parse_drive(text).warnings)


def test_template_loads_and_explains_every_key() -> None:
    file = parse_drive(TEMPLATE)
    assert file.warnings == ()
    for section in (file.drive, file.machine.cylinders, file.tolerance, file.machine, file.target,
                    file.reference, file.sd, file.pipe, file.steering, file.decision,
                    file.survey):  # fmt: skip
        for key in type(section).model_fields:
            assert key in TEMPLATE, f"{key} is not in the file that `steer new` writes"


def test_template_gives_the_default_sds() -> None:
    assert parse_drive(TEMPLATE).sd == parse_drive(GOOD.replace("[sd]\nspot_mm = 1.5\n", "")).sd


def test_circular_vertical_curve_beside_a_parabola() -> None:
    """Between the same grades: within micrometres of the parabola, and with the property of a circle."""
    text = GOOD.replace('kind = "parabola"', 'kind = "arc"')
    circle, parabola = parse_drive(text), parse_drive(GOOD)
    assert circle.axis_spec.vertical[1].kind == "arc"
    assert circle.axis.at(160.0).grade_mm_per_m == pytest.approx(7.0)
    assert circle.axis.at(130.0).level_m == pytest.approx(parabola.axis.at(130.0).level_m, abs=1e-5)
    # a circle: the sine of the slope angle grows evenly with the plan length
    sines = [math.sin(math.atan(circle.axis.at(s).grade_mm_per_m / 1000)) for s in (100.0, 130.0, 160.0)]
    assert sines[1] == pytest.approx((sines[0] + sines[2]) / 2, abs=1e-12)


def test_lengths_agree_to_a_millimetre() -> None:
    """Plans and profiles of design offices are rounded to the millimetre on their own."""
    assert parse_drive(GOOD.replace("length_m = 100.0", "length_m = 100.0009")).axis.end_chainage_m == 160.0
    with pytest.raises(FolderUnusable, match="must span the 160 m"):
        parse_drive(GOOD.replace("length_m = 100.0", "length_m = 100.0011"))


def test_survey_base() -> None:
    """Two marks of 0.5 mm on a base of 5 m: sqrt(2)·0.5/5 mm/m; one key of the base alone is refused."""
    assert parse_drive(GOOD).survey.base_sd_mm_per_m is None
    both = GOOD + "\n[survey]\nbase_m = 5.0\nbase_mark_sd_mm = 0.5\n"
    assert parse_drive(both).survey.base_sd_mm_per_m == pytest.approx(0.141421, abs=1e-6)
    with pytest.raises(FolderUnusable, match=r"survey\.base_mark_sd_mm: missing beside base_m"):
        parse_drive(both.replace("base_mark_sd_mm = 0.5", ""))
