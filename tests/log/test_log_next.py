"""`steer next` over a drive's life: of what time it is, and what was decided since."""

from __future__ import annotations

from steer.cli.main import main
from steer.drive import Drive


def test_next_says_what_was_decided_for_the_coming_stroke(tmp_path, capsys):
    folder = tmp_path / "drive"
    assert main(["demo", str(folder), "--no-open"]) == 0
    capsys.readouterr()

    def said() -> str:
        assert main(["next", str(folder)]) == 0
        return " ".join(capsys.readouterr().out.split())

    with Drive.open(folder, write=True) as drive:
        stroke, time = drive.advice().stroke, drive.follower.present.time
        assert f"last reading {time[:16].replace('T', ' ')}" in said() and "accepted" not in said()
        drive.accept()
        assert f"stroke {stroke + 1} accepted: " in said()
        made = drive.override(5.0, 0.0).body
        assert f"stroke {stroke + 1} OWN SETTING: {made['right_mm_per_m']:.1f} mm/m right" in said()
        drive.undo_last()
        assert f"stroke {stroke + 1} accepted: " in said()
        drive.stroke_end(drive.advice().chainage_m + 0.9)
        assert "accepted" not in said()
