"""`steer reduce`: the contract's JSON, the sheet for people, and the sample surveys."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from steer.cli.main import main

DATA = Path(__file__).parent / "data"
SAMPLES = Path(str(resources.files("sample_surveys"))) / "surveys"


def reduced(capsys, observations: Path, control: Path, *more: str) -> dict:
    assert main(["reduce", str(observations), "--control", str(control), "--json", *more]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_has_the_keys_of_the_contract(capsys):
    found = reduced(capsys, SAMPLES / "tunnel_observations.csv", SAMPLES / "tunnel_control.csv")
    point = next(p for p in found["points"] if p["point"] == "M")
    assert {
        "point", "easting_m", "northing_m", "level_m", "sd_easting_mm", "sd_northing_mm", "sd_level_mm",
        "covariance_mm2",
    } <= set(point)  # fmt: skip
    covariance = np.array(point["covariance_mm2"])
    assert covariance.shape == (3, 3)
    np.testing.assert_allclose(covariance, covariance.T)
    sd = [point["sd_easting_mm"], point["sd_northing_mm"], point["sd_level_mm"]]
    np.testing.assert_allclose(np.sqrt(covariance.diagonal()), sd, rtol=1e-4)
    assert {
        "row", "station", "target", "observation", "residual", "unit", "standardised", "redundancy",
    } <= set(found["residuals"][0])  # fmt: skip
    assert {r["observation"] for r in found["residuals"]} == {"direction", "zenith", "slope"}
    assert {r["unit"] for r in found["residuals"]} == {"sec", "mm"}
    assert found["degrees_of_freedom"] == 53
    assert found["global_test"]["passed"] is True and 0.05 < found["global_test"]["probability"] < 1.0
    assert found["suspect_rows"] == []


def test_rows_are_lines_of_the_file(capsys):
    found = reduced(capsys, DATA / "network_textbook_observations.csv", DATA / "network_textbook_control.csv")
    lines = (DATA / "network_textbook_observations.csv").read_text().splitlines()
    for residual in found["residuals"]:
        cells = lines[residual["row"] - 1].split(",")
        assert (cells[0], cells[2]) == (residual["station"], residual["target"])


def test_a_level_not_observed_is_null(capsys):
    found = reduced(capsys, DATA / "network_gon_observations.csv", DATA / "network_gon_control.csv")
    for point in found["points"]:
        assert point["level_m"] is None and point["sd_level_mm"] is None
        assert point["covariance_mm2"][2] == [None, None, None]


def test_degrees_gon_and_dms_say_the_same(tmp_path, capsys):
    rows = [("A", "B", 90.0), ("A", "P", 44.5125), ("B", "A", 270.0), ("B", "P", 315.25)]
    known = tmp_path / "known.csv"
    known.write_text("point,easting_m,northing_m\nA,0,0\nB,100,0\n")
    found = []
    for unit in ("deg", "gon", "dms"):
        path = tmp_path / f"{unit}.csv"
        text = f"station,target,direction_{unit}\n"
        for station, target, degrees in rows:
            whole, minutes = divmod(round(degrees * 3600), 3600)
            written = {
                "deg": f"{degrees}",
                "gon": f"{degrees / 0.9:.9f}",
                "dms": f"{whole}-{minutes // 60:02d}-{minutes % 60:02d}",
            }[unit]
            text += f"{station},{target},{written}\n"
        path.write_text(text)
        point = reduced(capsys, path, known)["points"][-1]
        found.append((point["easting_m"], point["northing_m"], point["sd_easting_mm"]))
    assert found[0] == pytest.approx(found[1], abs=1e-5)
    assert found[0] == pytest.approx(found[2], abs=1e-5)


def test_ppm_and_mm_of_a_distance_add_as_squares(tmp_path, capsys):
    (tmp_path / "known.csv").write_text("point,easting_m,northing_m\nA,0,0\nB,0,1000\n")
    (tmp_path / "s.csv").write_text(
        "station,target,direction_deg,distance_m,sd_direction_sec,sd_distance_mm,sd_distance_ppm\n"
        "A,B,0,,0.001,,\nA,P,0,1000,0.001,3,4\n"
    )
    point = reduced(capsys, tmp_path / "s.csv", tmp_path / "known.csv")["points"][-1]
    assert point["sd_northing_mm"] == pytest.approx(5.0, rel=1e-6)


def test_refraction_none_and_another_k(capsys):
    def level(*more: str) -> float:
        found = reduced(capsys, SAMPLES / "tunnel_observations.csv", SAMPLES / "tunnel_control.csv", *more)
        return next(p["level_m"] for p in found["points"] if p["point"] == "M")

    assert level() == level("--refraction", "0.13")
    assert level("--refraction", "none") != level() != level("--refraction", "-2")


def test_the_sample_with_a_blunder_names_its_row(capsys):
    found = reduced(capsys, SAMPLES / "tunnel_observations_blunder.csv", SAMPLES / "tunnel_control.csv")
    assert found["global_test"]["passed"] is False
    assert found["suspect_rows"] == [17]


def test_the_sample_coordinates_are_the_polar_sample_reduced(capsys):
    found = reduced(capsys, SAMPLES / "polar_observations.csv", SAMPLES / "polar_control.csv")
    point = next(p for p in found["points"] if p["point"] == "M")
    cells = (SAMPLES / "polar_coordinates.csv").read_text().splitlines()[1].split(",")
    assert [float(c) for c in cells[3:6]] == pytest.approx(
        [point["easting_m"], point["northing_m"], point["level_m"]], abs=1e-4
    )


def test_the_sheet_says_what_a_person_needs(capsys):
    samples = [
        str(SAMPLES / "tunnel_observations_blunder.csv"),
        "--control",
        str(SAMPLES / "tunnel_control.csv"),
    ]
    assert main(["reduce", *samples]) == 0
    text = capsys.readouterr().out
    assert "Global test FAILED" in text and "SUSPECT: row 17 direction." in text
    marked = [line for line in text.splitlines() if line.endswith("SUSPECT")]
    assert len(marked) == 1 and "direction" in marked[0]  # its distance, stretched by the slip, is sound
    assert "adjusted minus observed" in text and "licensed surveyor" in text
    assert "would move most" in " ".join(text.split()) and "east" in text  # wherever the line breaks


def test_default_sd_and_heights_are_said(tmp_path, capsys):
    (tmp_path / "known.csv").write_text("point,easting_m,northing_m,level_m\nA,0,0,0\nB,0,100,0\n")
    (tmp_path / "s.csv").write_text(
        "station,target,direction_deg,zenith_deg,slope_m\nA,B,0,90,100\nA,P,30,90,50\n"
    )
    assert main(["reduce", str(tmp_path / "s.csv"), "--control", str(tmp_path / "known.csv")]) == 0
    text = capsys.readouterr().out
    assert "taken as 0 m" in text and "taken as 3 arc-seconds" in text and "2 mm and 2 ppm" in text
