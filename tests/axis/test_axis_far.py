"""Points far from the axis: said, with the slip that would explain them."""

import json
import shutil
from pathlib import Path

import pytest

from steer.cli.main import main
from steer.drivefile import load_drive

DATA = Path(__file__).parent / "data"


@pytest.fixture
def folder(tmp_path):
    shutil.copy(DATA / "drive_curved.toml", tmp_path / "drive.toml")
    return tmp_path


def said(capsys, folder, *points):
    assert (
        main(["axis", str(folder), "--json", "--locate", *(",".join(f"{v:.4f}" for v in p) for p in points)])
        == 0
    )
    out, err = capsys.readouterr()
    return json.loads(out)["locate"], err


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        (lambda e, n, z: (n, e, z), "perhaps easting and northing are changed over: it would lie 25 mm off"),
        (lambda e, n, z: (z, e, n), "perhaps easting, northing and level are changed over"),
        (lambda e, n, z: (e, z, n), "perhaps easting, northing and level are changed over"),
        (lambda e, n, z: (e / 0.3048, n / 0.3048, z / 0.3048), "perhaps they are in feet"),
        (lambda e, n, z: (e, n, z / 0.3048), "perhaps the level is in feet"),
        (lambda e, n, z: (e, n, z * 1000.0), "perhaps the level is in millimetres"),
        (lambda e, n, z: (e + 455000.0, n + 5930000.0, z), "another grid, or another point?"),
    ],
)  # fmt: skip
def test_the_slip_is_named(folder, capsys, slip, words):
    point = load_drive(folder).axis.position(90.0, 20.0, -15.0)
    (place,), err = said(capsys, folder, slip(*point))
    assert words in err and words in place["doubt"] and err.startswith("steer: note: point ")
    assert {"chainage_m", "line_mm", "level_mm"} <= place.keys()


def test_what_lies_by_the_axis_or_a_machine_before_it_is_not_doubted(folder, capsys):
    axis = load_drive(folder).axis
    points = [axis.position(s, line, 100.0) for s, line in ((90.0, 20.0), (-5.0, 0.0), (164.0, 9000.0))]
    found, err = said(capsys, folder, *points)
    assert err == "" and all("doubt" not in place for place in found)


def test_beyond_the_ends(folder, capsys):
    axis = load_drive(folder).axis
    points = [axis.position(-500.0, 0.0, 0.0), axis.position(190.0, 3.0, 0.0)]
    (before, after), _ = said(capsys, folder, *points)
    assert (
        before["doubt"].startswith("lies 500 m before its start") and "30 m beyond its end" in after["doubt"]
    )


def test_tables_and_csv_say_it_beside_their_rows(folder, capsys):
    axis = load_drive(folder).axis
    e, n, z = axis.position(50.0, 0.0, 0.0)
    for form in ([], ["--csv"]):
        assert main(["axis", str(folder), *form, "--locate", f"{n:.3f},{e:.3f},{z:.3f}"]) == 0
        out, err = capsys.readouterr()
        assert "changed over" in err and "changed over" not in out
