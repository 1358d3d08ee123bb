"""Small things that were passed over in silence, each said in one line."""

import os
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from steer.cli import survey_view
from steer.cli.main import main
from steer.drivefile import TEMPLATE, load_drive
from steer.log.trouble import explain
from steer.survey.files import read_survey
from steer.survey.reduced import reduce_network

SURVEYS = Path(__file__).parents[2] / "sample_surveys" / "surveys"


def _new(tmp_path: Path, more: str = "") -> Path:
    folder = tmp_path / "drive"
    folder.mkdir()
    text = TEMPLATE.replace("[machine]", f"{more}\n[machine]", 1)
    (folder / "drive.toml").write_text(text, encoding="utf-8")
    return folder


def test_next_as_json_without_readings_is_a_message_and_no_null(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["next", str(_new(tmp_path)), "--json"]) == 1
    out, err = capsys.readouterr()
    assert out == "" and "no reading yet" in err and len(err.splitlines()) == 1


@pytest.mark.parametrize(
    ("from_m", "to_m", "said"),
    [(-5.0, 20.0, "beyond the axis"), (5.0, 9000.0, "beyond the axis"), (8000.0, 9000.0, "holds nowhere")],
)
def test_a_tolerance_beyond_the_axis_is_doubtful(
    tmp_path: Path, from_m: float, to_m: float, said: str
) -> None:
    part = f"[[tolerance.ranges]]\nfrom_m = {from_m}\nto_m = {to_m}\nline_mm = 9.0\nlevel_mm = 9.0\n"
    (warning,) = load_drive(_new(tmp_path, part)).warnings
    assert "tolerance.ranges, stretch 1" in warning and said in warning


def test_a_tolerance_as_long_as_the_axis_is_not(tmp_path: Path) -> None:
    part = "[[tolerance.ranges]]\nfrom_m = 0.0\nto_m = 5.0\nline_mm = 9.0\nlevel_mm = 9.0\n"
    assert load_drive(_new(tmp_path, part)).warnings == ()


def test_a_log_that_may_not_be_read_is_said_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "drive.db"
    path.write_bytes(b"")
    error = sqlite3.OperationalError("unable to open database file")
    error.sqlite_errorcode = sqlite3.SQLITE_CANTOPEN
    assert "permission" not in str(explain(path, error))
    monkeypatch.setattr(os, "access", lambda *_: False)  # to the superuser all is readable
    assert str(explain(path, error)).endswith("no permission to read it")


def test_the_reduction_screen_shows_what_may_explain_a_bad_fit() -> None:
    files = (SURVEYS / "tunnel_observations.csv", SURVEYS / "tunnel_control.csv")
    survey = read_survey(*files)
    network = reduce_network(survey.observations, survey.control)
    assert not any("Perhaps" in line for line in survey_view._verdict(network)[1])
    doubtful = replace(network, probability=0.0, hint="control point A may be wrong")
    assert survey_view._verdict(doubtful)[1][-1] == "Perhaps: control point A may be wrong"
