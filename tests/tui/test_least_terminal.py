"""In the least terminal that is not called too small what each page is for can be read whole; the rest gives way."""

import re
from dataclasses import replace

import fake_drive
import pytest
from kept import keep, screen_text
from screen_pilot import ready, until
from test_stroke_page import page

from steer.text import within
from tui.draw import asbuilt_page, words
from tui.draw.key_line import LEAST
from tui.draw.scene import Decision
from tui.draw.spans import plain
from tui.widgets.key_line import keys_of

STATES = ("good", "warning", "stale")


async def shown(make_app, clock, state, *keys):
    drive = fake_drive.FakeDrive(fake_drive.STATES["good" if state == "stale" else state]())
    if state == "stale":
        clock.move(1300.0)
    app = make_app(drive)
    async with app.run_test(size=LEAST) as pilot:
        await ready(app, pilot)
        await pilot.press(*keys)
        for _ in range(5):
            await pilot.pause()
        return drive, screen_text(app)


@pytest.mark.parametrize("state", STATES)
async def test_the_stroke_s_page_says_line_and_level_beside_the_setting(make_app, clock, state):
    drive, text = await shown(make_app, clock, state, "1")
    keep(f"stroke-{state}-46x12", text)
    e = drive.current.advice.estimate
    above = text[: text.index(" Do " if state == "stale" else " Why ")]
    for plane, value, sd in (("line", e.line_mm, e.line_sd_mm), ("level", e.level_mm, e.level_sd_mm)):
        said = words.offset(plane, value)
        assert (f"was {said}" if state == "stale" else f"{said} ± {within(sd)}") in above


@pytest.mark.parametrize("state", STATES)
async def test_the_shots_page_has_three_of_them_in_sight(make_app, clock, state):
    drive, text = await shown(make_app, clock, state, "2")
    keep(f"shots-{state}-46x12", text)
    for shot in drive.current.shots[-3:]:
        assert re.search(rf"^[> ].{{0,5}}{shot.number} +{shot.chainage_m:.2f} .*{shot.verdict}$", text, re.M)


@pytest.mark.parametrize("state", STATES)
async def test_the_as_built_verdict_is_whole_for_the_drive_and_for_each_pipe(make_app, clock, state):
    drive, text = await shown(make_app, clock, state, "3")
    keep(f"asbuilt-{state}-46x12", text)
    built = drive.asbuilt()
    assert built.summary[0] in " ".join(text.replace("!", " ").split())
    rows = [line for line in text.splitlines() if re.match(r"[> ] +\d+ +\d+\.\d\d ", line)]
    assert len(rows) == 2 and all(row.endswith(("inside", "outside", "cannot tell")) for row in rows)


def test_a_notice_has_a_second_row_where_the_reason_keeps_two():
    rows = page("warning", LEAST[0], LEAST[1] - 1).splitlines()
    (first,) = [n for n, row in enumerate(rows) if row.startswith(" ! ")]
    assert "The spot jumped by 9 mm and stayed" in rows[first] and "(+2 more: key l)" in rows[first + 1]
    assert rows[first - 2].startswith(" Why ")


@pytest.mark.parametrize("ascii_only", [False, True])
def test_each_cylinder_s_place_stands_beside_its_number(ascii_only, monkeypatch):
    text = page("good", LEAST[0], LEAST[1] - 1, ascii_only=ascii_only)
    assert ascii_only or all(f"{n} {at}°" in text for n, at in enumerate((45, 135, 225, 315), 1))
    made = replace(fake_drive.good(), cylinder_positions_deg=(0.0, 90.0, 180.0, 270.0))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: made)
    text = page("good", LEAST[0], LEAST[1] - 1, ascii_only=ascii_only)
    assert ascii_only or all(place in text for place in ("1 0°", "2 90°", "3 180°", "4 270°"))
    assert "1 top" in page("good", 40, 20, ascii_only=ascii_only)


async def test_the_key_that_takes_back_is_offered_where_something_stands(make_app, clock):
    for state, keys, offered in (("good", ("1",), False), ("good", ("1", "a"), True)):
        _, text = await shown(make_app, clock, state, *keys)
        foot = text.splitlines()[-1]
        assert ("u undo" in foot) is offered and "a accept" in foot and "q quit" in foot


async def test_no_key_for_strips_is_offered_where_none_are_drawn(make_app):
    app = make_app(fake_drive.FakeDrive())
    async with app.run_test(size=LEAST) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await until(pilot, lambda: "worst" in screen_text(app))
        assert not {"+", "Left", "z"} & {key for key, _ in keys_of(app.screen, shown_only=False)}
        assert "e export  p PDF  v CSV" in screen_text(app)
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: "+/= nearer" in screen_text(app) or "+ nearer" in screen_text(app))
        await pilot.resize_terminal(*LEAST)
        await until(pilot, lambda: "nearer" not in screen_text(app))


EVERYTHING = ("l", "f", "f", "f", "f", "f")  # the kind of line that the log has hundreds of


@pytest.mark.parametrize("state", STATES)
async def test_the_log_has_three_events_in_sight_and_the_one_under_the_cursor(make_app, clock, state):
    _, text = await shown(make_app, clock, state, *EVERYTHING)
    keep(f"log-{state}-46x12", text)
    rows = [line for line in text.splitlines() if re.match(r"[> ] +\d+ 03-04 ", line)]
    assert len(rows) >= 3 and [row[:7] for row in rows if row[0] == ">"] == [">   302"]
    assert "EVENT 302  check shot" in text and (state != "warning" or "! The spot jumped" in text)


async def test_notices_that_the_log_has_no_room_for_are_read_in_full_by_key_l(make_app, clock):
    drive, text = await shown(make_app, clock, "warning", "l", "l")
    for notice in drive.current.advice.notices:
        assert notice.text in " ".join(text.replace("!", " ").split())
    _, text = await shown(make_app, clock, "warning", "l", "l", "escape")
    assert "LOG  all but readings" in text
    _, text = await shown(make_app, clock, "good", "l", "l")
    assert "LOG  all but readings" in text and "in full" not in text


@pytest.mark.parametrize("state", ["good", "hold", "warning", "unsure", "opposite"])
@pytest.mark.parametrize("cylinders", [3, 4, 6])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_page_without_strips_leaves_line_and_level_to_the_reason(
    state, cylinders, ascii_only, monkeypatch
):
    """With few cylinders there is no room beside them, and a row of its own says it."""
    made = fake_drive.STATES[state]()
    mm = tuple(float(30 + n) for n in range(cylinders))
    advice = replace(
        made.advice, reason="", cylinder_now_mm=mm, correction=replace(made.advice.correction, cylinder_mm=mm)
    )
    degrees = tuple(360.0 * n / cylinders for n in range(cylinders))
    made = replace(made, advice=advice, cylinder_positions_deg=degrees)
    monkeypatch.setitem(fake_drive.STATES, state, lambda: made)
    e, pm = made.advice.estimate, "+-" if ascii_only else "±"
    text = page(state, LEAST[0], LEAST[1] - 1, ascii_only=ascii_only)
    for plane, value, sd in (("line", e.line_mm, e.line_sd_mm), ("level", e.level_mm, e.level_sd_mm)):
        assert f"{words.offset(plane, value)} {pm} {within(sd)}" in text


def test_outside_the_limit_is_said_in_words_there(monkeypatch):
    made = fake_drive.good()
    far = replace(made.advice.estimate, line_mm=-62.0)
    monkeypatch.setitem(
        fake_drive.STATES, "good", lambda: replace(made, advice=replace(made.advice, estimate=far))
    )
    assert "OUTSIDE 62 mm left" in page("good", *LEAST)


@pytest.mark.parametrize("size", [LEAST, (80, 24), (120, 40)])
@pytest.mark.parametrize(("at_mm", "sd", "told"), [(65.0, 18.4, "65 mm right"), (-50.4, 6.2, "50 mm left")])
def test_what_was_outside_the_limit_is_told_so_when_readings_stopped(size, at_mm, sd, told, monkeypatch):
    made = fake_drive.good()
    far = replace(made.advice.estimate, line_mm=at_mm, line_sd_mm=sd)
    monkeypatch.setitem(
        fake_drive.STATES, "good", lambda: replace(made, advice=replace(made.advice, estimate=far))
    )
    text = page("good", size[0], size[1] - 1, age_s=1300.0)
    strips = [row.partition("│")[0] for row in text.splitlines() if "│" in row]
    seen = " ".join((" ".join(strips) if strips else text).split())
    assert f"was {told} ± {within(sd)}" in seen and "OUTSIDE" in seen
    assert "Check the logger" in text and "was 8 mm high ± 3" in text


@pytest.mark.parametrize("age_s", [5.0, 1300.0])
def test_outside_the_limit_is_said_beside_the_lowest_strips(age_s, monkeypatch):
    made = fake_drive.warning()
    far = replace(made.advice.estimate, line_mm=65.0)
    monkeypatch.setitem(
        fake_drive.STATES, "good", lambda: replace(made, advice=replace(made.advice, estimate=far))
    )
    text = page("good", 80, 23, ascii_only=True, age_s=age_s)
    assert "LINE OUTSIDE LIMIT" in text and "65 mm right" in text


def test_the_title_of_an_own_setting_is_whole_beside_the_table():
    own = Decision(96, "overridden", 5.3, -1.0, (20.0, 50.0, 52.0, 22.0))
    assert "own setting " in page("good", LEAST[0], LEAST[1] - 1, decision=own)


@pytest.mark.parametrize("width", range(LEAST[0], 160))
def test_a_pipe_s_verdict_and_figures_are_whole_at_any_width(width):
    pipe = replace(fake_drive.FakeDrive().asbuilt().pipes[0], number=555, verdict="cannot tell", gap_mm=45.0)
    pipe = replace(pipe, line_mm=-234.0, level_mm=123.0, chainage_m=999.99, joint_mm_per_m=12.3)
    row = plain(asbuilt_page.pipe_row(pipe, width - 2))
    figures = row.removesuffix(" cannot tell").split()
    assert len(row) <= width - 2 and row.endswith(" cannot tell")
    kept = [word for word in ["555", "999.99", "234", "left", "123", "high", "12.3", "45"] if word in figures]
    assert figures == kept and {"555", "234", "left", "123", "high"} <= set(kept)
    assert width < 56 or len(kept) == 8
    head = plain(asbuilt_page.pipe_head(width)[0])
    assert len(head) == width and abs(head.index("verdict") - 1 - row.index("cannot tell")) <= 1
