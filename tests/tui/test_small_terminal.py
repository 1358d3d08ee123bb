"""In a small terminal what cannot be shown whole is left out whole, and what is to be done stays."""

import re
from dataclasses import replace

import fake_drive
import pytest
from test_stroke_page import page

from tui.draw import counters, shots_page
from tui.draw.scene import Scene
from tui.draw.spans import fit, plain


@pytest.mark.parametrize("width", [40, 50, 60, 70, 80, 120])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_that_a_check_survey_is_due_stays_in_sight(width, ascii_only):
    text = page("warning", width, 19, ascii_only=ascii_only)
    assert "CHECK SURVEY DUE" in text and "face 96.00 m" in text


@pytest.mark.parametrize("width", [46, 50, 55, 60, 65, 70, 80])
@pytest.mark.parametrize(("right", "up"), [(-2.0, 0.8), (12.5, -12.5), (0.0, 0.0)])
def test_what_a_hold_leaves_has_unit_and_direction(width, right, up, monkeypatch):
    held = fake_drive.good(hold=True)
    correction = replace(held.advice.correction, right_mm_per_m=right, up_mm_per_m=up)
    held = replace(held, advice=replace(held.advice, correction=correction))
    monkeypatch.setitem(fake_drive.STATES, "hold", lambda: held)
    lines = page("hold", width, 19, ascii_only=True).splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith(" HOLD"))
    panel = width - (32 if width >= 78 else 25)
    hold, stays = (lines[at + n][:panel].strip() for n in (0, 1))
    assert hold in (
        "HOLD  Leave the cylinders as they stand.",
        "HOLD  Leave the cylinders.",
        "HOLD  Leave all.",
    )
    if stays or width > 50:
        assert (
            stays.endswith(("straight", "straight."))
            if right == 0.0
            else re.search(r"\d (mm/m )?(left|right), [\d.]+ (mm/m )?(up|down)( mm/m)?\.?$", stays)
        )
        assert right == 0.0 or "mm/m" in stays


@pytest.mark.parametrize("width", [46, 50, 60, 70, 80])
@pytest.mark.parametrize("state", ["good", "hold"])
def test_the_title_of_the_setting_is_whole(width, state):
    lines = page(state, width, 17, ascii_only=True).splitlines()
    title = next(line for line in lines if "STROKE 97" in line)[: width - (31 if width >= 78 else 24)].strip()
    assert title.endswith((": set", "to", ": hold", "proposed"))


@pytest.mark.parametrize("width", [32, 40, 50, 55, 60, 70, 79, 80, 100])
def test_the_verdict_on_a_shot_stays_and_no_figure_is_cut(width):
    shot = replace(
        fake_drive.warning().shots[-1],
        line_mm=-1234.0,
        level_mm=-105.0,
        innovation_level_mm=-110.0,
        number=3002,
    )
    row = plain(shots_page.item(shot, width - 2))
    assert len(row) <= width - 2 and row.endswith(" waiting")
    assert set(row.split()) <= set(plain(shots_page.item(shot, 98)).split())
    head = plain(shots_page.head(width)[0])
    assert head.rstrip().endswith("verdict") and (width < 60 or "shot, mm" in head)
    if width < 80:
        assert abs(head.index("verdict") - 1 - row.index("waiting")) <= 1


@pytest.mark.parametrize("width", [50, 60, 80])
def test_that_a_drive_is_invented_is_not_cut_off_its_name(width):
    long = replace(fake_drive.good(), name="REPLAY " + "Quarry Bank and Long Meadow, " * 4 + "(invented)")
    row = plain(fit(counters.name_row(Scene(long, age_s=5.0), width), width))
    assert "... (invented) " in row and row.startswith(" REPLAY Qua")


def test_a_name_that_must_be_cut_keeps_what_a_shorter_time_leaves_of_it():
    name = "REPLAY Quillbeck Lane, shaft 2 to the reception (invented)"
    snapshot = replace(fake_drive.good(), name=name)
    row = plain(fit(counters.name_row(Scene(snapshot, age_s=5.0, today="2026-03-05"), 80), 80))
    assert (
        row.startswith(" REPLAY Quillbeck Lane, shaft 2 to the")
        and "... (invented)  last 2026-03-04 09:41" in row
    )


@pytest.mark.parametrize(("width", "age_s"), [(70, 5.0), (80, 5.0), (80, 1300.0)])
@pytest.mark.parametrize("roll_deg", [-0.1, -12.3, 0.04])
def test_the_roll_is_told_whole(width, age_s, roll_deg, monkeypatch):
    made = fake_drive.good()
    made = replace(made, advice=replace(made.advice, roll_deg=roll_deg))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: made)
    said = f"{abs(roll_deg):.1f} deg anticlockwise" if roll_deg < -0.05 else "no roll"
    assert said in page("good", width, 23, ascii_only=True, age_s=age_s)
