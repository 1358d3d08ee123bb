"""`steer next` over a drive's life: of what time it is, and what was decided since."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import sample

from steer.checkshots import views
from steer.cli.main import main
from steer.drive import Drive


def test_next_says_what_was_decided_for_the_coming_stroke(tmp_path, capsys):
    folder = sample.copied(tmp_path / "drive", 42)

    def said() -> str:
        assert main(["next", str(folder)]) == 0
        return " ".join(capsys.readouterr().out.split())

    with Drive.open(folder, write=True) as drive:
        stroke, time = drive.advice().stroke, drive.follower.present.time
        assert f"last reading {time[:16].replace('T', ' ')}" in said() and "accepted" not in said()
        drive.accept()
        assert f"stroke {stroke + 1} accepted: " in said()
        made = drive.override(2.0, 0.0).body
        told = said()
        assert f"stroke {stroke + 1} OWN SETTING: {made['right_mm_per_m']:.1f} mm/m right" in told
        set_mm = ", ".join(f"{n}: {mm:g}" for n, mm in enumerate(made["cylinder_mm"], 1))
        assert f"cylinders {set_mm} mm. It stands" in told
        assert " PROPOSED " in told and " SET " not in told  # what the crew set goes before the tool's own
        drive.undo_last()
        assert f"stroke {stroke + 1} accepted: " in said() and " PROPOSED " not in said()
        drive.stroke_end(drive.advice().chainage_m + 0.9)
        assert "accepted" not in said()


def test_a_reading_that_comes_late_changes_neither_next_nor_feed_nor_screens(tmp_path, capsys):
    """One of the sample drive handed over again hours later, with the cylinders, roll and force of then."""
    from steer.cli.screen_source import ScreenSource

    folder = sample.copied(tmp_path / "drive", 42)
    late = {
        "time": "2031-03-03T16:51:15Z", "chainage_m": 28.5, "spot_right_mm": -1.0, "spot_up_mm": 1.0,
        "cylinder_mm": [19.1, 20.0, 21.0, 20.0], "roll_deg": -3.0, "jacking_force_kn": 1400.0,
    }  # fmt: skip
    untimed = {name: value for name, value in late.items() if name != "time"} | {"chainage_m": 33.0}

    def said() -> str:
        assert main(["next", str(folder), "--json"]) == 0
        return capsys.readouterr().out

    before = said()
    with Drive.open(folder, write=True) as drive:
        source = ScreenSource(drive)
        shown, answer = source.snapshot(), drive.advice()
        for body in (late, untimed):
            drive.add("reading", body)
            assert drive.advice() == answer  # as the feed gives it
            now = source.snapshot()
            assert now.advice == shown.advice
            assert now.last_reading_time == shown.last_reading_time
            if (
                body is late
            ):  # it came, but no newer reading did; one without a time shows that the logger lives
                assert now.extra["last_reading_arrival"] == shown.extra["last_reading_arrival"]
    assert said() == before


def test_a_newest_reading_without_a_time_is_told_by_when_it_came(tmp_path, capsys):
    """As the screens have it: the time that an older reading told is not that of the newest."""
    folder = sample.copied(tmp_path / "drive", 42)

    def as_of() -> str:
        assert main(["next", str(folder)]) == 0
        return next(row for row in capsys.readouterr().out.split("\n") if row.startswith("as of"))

    with Drive.open(folder, write=True) as drive:
        drive.advice()
        timed = drive.follower.present.time
        assert as_of().endswith(f"last reading {timed[:16].replace('T', ' ')} UTC")
        body = {"chainage_m": drive.advice().chainage_m + 0.3, "yaw_mm_per_m": 1.0}
        arrived = drive.add("reading", body).arrived
        assert as_of().endswith(f"last reading came {arrived[:16].replace('T', ' ')} UTC")


def test_where_nobody_reads_the_cylinders_next_and_the_large_words_say_told(tmp_path, capsys):
    from steer.cli.screen_source import ScreenSource
    from steer.drivefile import TEMPLATE
    from tui.draw.scene import Scene
    from tui.draw.spans import join
    from tui.draw.stroke_page import draw

    (tmp_path / "drive.toml").write_text(TEMPLATE, encoding="utf-8")

    def said() -> tuple[str, str]:
        assert main(["next", str(tmp_path)]) == 0
        page = join(draw(Scene(source.snapshot(), stale_after_s=0.0), 120, 40))
        return capsys.readouterr().out, page

    with Drive.open(tmp_path, write=True) as drive:
        source = ScreenSource(drive)

        def read_m(from_m: float, **cylinders: object) -> None:
            for step in range(10):
                s = from_m + 0.1 * (step + 1)
                body = {"chainage_m": s, "spot_right_mm": -40.0, "spot_up_mm": -1.0, "roll_deg": 0.0}
                drive.add("reading", body | {"yaw_mm_per_m": 4.0, "pitch_mm_per_m": 5.0} | cylinders)

        read_m(0.0)
        drive.override(3.0, 0.0)
        read_m(1.0)
        drive.stroke_end(2.0)
        text, page = said()
        stands = drive.advice().now_right_mm_per_m
        side, figure = "right" if stands > 0 else "left", f"{abs(stands):.1f}"
        assert figure != "0.0"
        assert f"(told {side} {figure})" in text and "(now" not in text and "mm, told" in text
        assert f"told {figure}" in page and f"now {figure}" not in page
        read_m(2.0, cylinder_mm=[36.0] * 4)
        text, page = said()
        assert "(now " in text and "told" not in text and " told" not in page


def test_what_next_does_not_print_is_not_worked_out(tmp_path, capsys, monkeypatch):
    """The evidence for twenty of ten thousand shots took as long as the estimate."""
    folder = sample.copied(tmp_path / "drive", 42)
    with Drive.open(folder, write=True) as drive:
        shot = {"chainage_m": drive.follower.top_m, "point": "face", "line_mm": 90.0, "level_mm": 0.0}
        drive.add("check_shot", {**shot, "sd_mm": 2.0, "asks": True})
        assert drive.shots()[-1].evidence and drive.follower.forces.peaks

    def work(*given):
        raise AssertionError("worked out")

    monkeypatch.setattr(views, "evidence", work)
    assert main(["next", str(folder)]) == 0
    assert "finds the machine" in " ".join(capsys.readouterr().out.split())
