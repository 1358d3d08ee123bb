"""Findings that came and went: stored with each advice, listed in the record."""

from pathlib import Path

import pytest

from steer.asbuilt import assemble, tables
from steer.asbuilt.record import Gone, _gone
from steer.drive import Drive
from steer.drivefile import TEMPLATE
from steer.errors import InputRefused
from steer.intake.stored import import_checked
from steer.log.export import export_drive
from steer.recompute import recompute


def test_runs_of_a_finding_end_where_it_was_given_last() -> None:
    a, b = frozenset("a"), frozenset("b")
    advised = [(1.0, a), (2.0, a | b), (3.0, b), (4.0, frozenset()), (5.0, a), (6.0, a | b)]
    assert _gone(advised, {"b"}) == (Gone("a", 1.0, 2.0), Gone("b", 2.0, 3.0), Gone("a", 5.0, 6.0))


def _driven(folder: Path) -> Drive:
    folder.mkdir()
    (folder / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    drive = Drive.open(folder, write=True)
    for step in range(60):
        s = 0.1 * (step + 1)
        lost = 20 <= step < 40
        spot = {} if lost else {"spot_right_mm": 0.5, "spot_up_mm": -0.5}
        drive.add("reading", {"chainage_m": s, "yaw_mm_per_m": 0.1, "pitch_mm_per_m": 5.0, "roll_deg": 0.0,
                              "cylinder_mm": [36.0] * 4, **spot})  # fmt: skip
        if step % 10 == 9:
            drive.stroke_end(s)
    return drive


def test_a_finding_that_is_over_is_in_the_record_and_the_log_stays_whole(tmp_path: Path) -> None:
    with _driven(tmp_path / "a") as drive:
        codes = [set(e.body.get("notices", ())) for e in drive.log.of_kinds("advised")]
        assert "beam_lost" in codes[2] and "beam_lost" not in codes[-1]
        record = assemble(drive)
        found = [g for g in record.gone if g.code == "beam_lost"]
        assert [(round(g.from_m, 1), round(g.to_m, 1)) for g in found] == [(3.0, 4.0)]
        assert any("beam lost: given from 3.0 to 4.0 m" in str(row[3]) for row in tables.said(record).rows)
    again = recompute(tmp_path / "a")
    assert again.given == 6 and again.different == []
    export_drive(tmp_path / "a", ["drive.toml"], tmp_path / "one.gz")
    import_checked(tmp_path / "one.gz", tmp_path / "b")
    export_drive(tmp_path / "b", ["drive.toml"], tmp_path / "two.gz")
    assert (tmp_path / "one.gz").read_bytes() == (tmp_path / "two.gz").read_bytes()


@pytest.mark.parametrize("notices", [None, [], ["beam_lost"]])
def test_an_advice_of_any_program_is_taken(tmp_path: Path, notices: list[str] | None) -> None:
    body = {
        "stroke": 1,
        "chainage_m": 1.0,
        "right_mm_per_m": 0.0,
        "up_mm_per_m": 0.0,
        "cylinder_mm": [36.0] * 4,
    }
    with _driven(tmp_path / "a") as drive:
        drive.border.new("advised", body if notices is None else {**body, "notices": notices})
        for odd in ("beam_lost", [5], ["=1+1"], ["a" * 50]):
            with pytest.raises(InputRefused, match="notices"):
                drive.border.new("advised", {**body, "notices": odd})
