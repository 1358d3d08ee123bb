"""What the strips say: at which chainage, of whose setting, and what stands at which limit."""

import re
from dataclasses import replace

import fake_drive
import pytest
from screen_pilot import ready, until
from test_other_screens import screen_text
from test_stroke_page import page

from tui.draw.scene import Decision

OWN = Decision(96, "overridden", 5.3, -1.0, (20.0, 50.0, 52.0, 22.0))


def joints(snapshot):
    return replace(snapshot, advice=replace(snapshot.advice, joint="joints turn 3.2 mm/m, bear 2513 kN"))


@pytest.mark.parametrize("kind", ["good", "hold"])
def test_after_an_own_setting_the_proposal_is_told_as_the_tools(kind, monkeypatch):
    monkeypatch.setitem(fake_drive.STATES, kind, lambda make=fake_drive.STATES[kind]: joints(make()))
    proposed = page(kind, 120, 39)
    assert "2513 kN" in proposed and "inside the eye" in proposed and re.search(" (with|hold) .*mm", proposed)
    own = page(kind, 120, 39, decision=OWN)
    words = " ".join(own.split())
    assert f"The tool proposed {'to hold: 2.0' if kind == 'hold' else '3.5'} mm/m left" in words
    assert " Why " not in own and "kN" not in own and "inside the eye" not in own
    assert not re.search(r" (with|hold) (\d|on)", own) and "without" in own


@pytest.mark.parametrize("window_m", [20.0, 40.0, 80.0, None])
@pytest.mark.parametrize(("width", "height"), [(72, 23), (80, 21), (80, 23), (120, 39)])
def test_the_figures_at_the_strips_ends_have_unit_and_place(window_m, width, height):
    text = page("good", width, height, window_m=window_m)
    figures = re.findall(r" (with|without) (.+?)$", text, re.M)
    assert len(figures) == 4 and all(
        re.fullmatch(r"\d+ mm (right|left|high|low)|on (line|level)", said) for _, said in figures
    )
    (place,) = set(re.findall(r"(?:forecast|ahead) at ([\d.]+) m", text))
    snapshot = fake_drive.good()
    point = next(p for p in snapshot.advice.forecast_unchanged if f"{p.chainage_m:.1f}" == place)
    assert f"without {point.line_mm:.0f} mm right" in text


def test_a_figure_too_long_for_its_place_is_told_in_metres(monkeypatch):
    far = fake_drive.good()
    ahead = tuple(replace(p, line_mm=1234.0) for p in far.advice.forecast_unchanged)
    far = replace(far, advice=replace(far.advice, forecast_unchanged=ahead))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: far)
    assert "without 1.2 m right" in page("good", 80, 23)


@pytest.mark.parametrize("close", [False, True])
def test_in_two_rows_no_limit_is_drawn_through_the_path(close):
    text = page("warning", 80, 23, ascii_only=True, close=close)
    strips = [line for line in text.splitlines() if re.match("L(INE|EVEL)", line)]
    assert len(strips) == 2 and "limit" not in text
    half = [float(re.search(r"edges (\d+) mm", line)[1]) for line in strips]
    assert half[0] > 50 and (half[1] == 30 or close)


async def test_key_z_says_what_it_did(make_app):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()), ascii_only=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("z")
        await until(pilot, lambda: "scaled to the path" in screen_text(app))
