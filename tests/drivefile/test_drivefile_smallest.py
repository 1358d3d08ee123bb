"""The smallest values of drive.toml: tiny ones are refused with the bound, and the bound itself can be driven."""

import io
import json
import math
import re
from pathlib import Path

import pytest

from steer.cli.main import main
from steer.drivefile import TEMPLATE, DriveFileWrong, parse_drive

# every key, the optional ones too
WHOLE = re.sub(r"^# (?=(\w+ = \d|eye))", "", TEMPLATE, flags=re.M)
NUMBER = re.compile(r"^[^#\n]*?\b(\w+) = (-?\d[\d.]*)", re.M)
# neutral_mm is bounded by range_mm alone, and nothing is divided by it
PLACES = [place for place in NUMBER.finditer(WHOLE) if place[1] != "neutral_mm"]
SMALLEST = {
    "stroke_m": "0.01",
    "max_articulation_mm_per_m": "0.1",
    "max_change_mm_per_m": "0.1",
    "circle_radius_mm": "1",
    "step_mm": "0.001",
    "packer_thickness_mm": "0.1",
    "packer_modulus_mpa": "0.1",
    "packer_width_mm": "1",
    "max_joint_stress_mpa": "0.1",
    "max_joint_angle_mm_per_m": "0.01",
    "grade_base_m": "0.1",
    "angle_sd_sec": "0.01",
    "spot_mm": "0.001",
}


def refused(text: str) -> list[str]:
    try:
        parse_drive(text, Path(__file__).parent)
    except DriveFileWrong as wrong:
        return wrong.problems
    return []


@pytest.mark.parametrize("tiny", ["1e-9", "1e-300", "5e-324"])
@pytest.mark.parametrize("place", PLACES, ids=lambda p: f"{p[1]}-{p.start()}")
def test_a_tiny_number_is_allowed_only_where_zero_is(place: re.Match[str], tiny: str) -> None:
    at_tiny, at_zero = (
        refused(WHOLE[: place.start(2)] + value + WHOLE[place.end(2) :]) for value in (tiny, "0.0")
    )
    assert bool(at_tiny) == bool(at_zero)


def test_every_key_is_asked() -> None:
    asked = {place[1] for place in PLACES}
    assert asked >= {*SMALLEST, "return_over_m", "pipe_kn", "point_sd_mm", "base_m", "rear_length_m"}
    assert refused(WHOLE) == []


def test_an_element_of_the_axis_has_a_shortest_length() -> None:
    lines = refused(TEMPLATE.replace('"line", length_m = 100.0', '"line", length_m = 1e-300', 2))
    assert (
        "drive.toml: axis.horizontal, element 1, length_m: 1e-300 is not allowed: must be a number from 0.001 to"
        in "".join(lines)
    )


@pytest.mark.parametrize(("key", "bound"), SMALLEST.items())
def test_the_refusal_says_the_smallest(key: str, bound: str) -> None:
    (line,) = refused(re.sub(rf"^{key} = [\d.]+", f"{key} = 1e-300", TEMPLATE, count=1, flags=re.M))
    assert f"{key}: 1e-300 is not allowed: must be a number from {bound} to " in line


def test_a_drive_of_the_smallest_values_is_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = TEMPLATE
    for key, bound in SMALLEST.items():
        text = re.sub(rf"^{key} = [\d.]+", f"{key} = {bound}", text, count=1, flags=re.M)
    text = text.replace("length_m = 3.0", "length_m = 0.1").replace("length_m = 100.0", "length_m = 2.0")
    (tmp_path / "drive.toml").write_text(text, encoding="utf-8")
    lines = [
        {"kind": kind, "chainage_m": 0.01 * stroke, **more}
        for stroke in range(1, 4)
        for kind, more in (
            ("reading", {"spot_right_mm": -1.0, "spot_up_mm": 0.5, "jacking_force_kn": 500.0}),
            ("stroke_end", {}),
        )
    ]
    feed = "".join(json.dumps(line) + "\n" for line in lines)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(feed.encode())))
    assert main(["feed", str(tmp_path)]) == 0
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [answer["kind"] for answer in answers] == ["advice"] * 3
    for answer in answers:
        assert all(math.isfinite(value) for value in answer["estimate"].values())
        assert all(0.0 <= value <= 72.0 for value in answer["correction"]["cylinder_mm"])
    for command in (["check"], ["next"], ["asbuilt"]):
        assert main([*command, str(tmp_path)]) in (0, 1)
        assert "drive.toml" not in capsys.readouterr().err
