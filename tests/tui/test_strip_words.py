"""What the strips say: at which chainage, of whose setting, and what stands at which limit."""

import re
from dataclasses import replace

import fake_drive
import pytest
from screen_pilot import ready, until
from test_other_screens import screen_text
from test_stroke_page import page

from steer.advice import Notice
from tui.draw.scene import Decision

OWN = Decision(96, "overridden", 5.3, -1.0, (20.0, 50.0, 52.0, 22.0))


def joints(snapshot):
    return replace(
        snapshot, advice=replace(snapshot.advice, joint="joints ahead turn 3.2 mm/m, bear 2513 kN")
    )


@pytest.mark.parametrize("kind", ["good", "hold"])
def test_after_an_own_setting_the_proposal_is_told_as_the_tools(kind, monkeypatch):
    monkeypatch.setitem(fake_drive.STATES, kind, lambda make=fake_drive.STATES[kind]: joints(make()))
    proposed = page(kind, 120, 39)
    assert (
        "2513 kN" in proposed and "inside the eye" in proposed and re.search(" (with|steered) .*mm", proposed)
    )
    own = page(kind, 120, 39, decision=OWN)
    words = " ".join(own.split())
    assert f"The tool proposed {'to hold: 2.0' if kind == 'hold' else '3.5'} mm/m left" in words
    assert " Why " not in own and "2513 kN as proposed" in own and "inside the eye 92 % as proposed" in own
    assert not re.search(r" (with|steered|without) (\d|on)", own)


@pytest.mark.parametrize("window_m", [20.0, 40.0, 80.0, None])
@pytest.mark.parametrize(("width", "height"), [(72, 23), (80, 21), (80, 23), (120, 39)])
def test_the_figures_at_the_strips_ends_have_unit_and_place(window_m, width, height):
    text = page("good", width, height, window_m=window_m)
    figures = re.findall(r" (with|without) (.+?)$", text, re.M)
    assert len(figures) == 4 and all(
        re.fullmatch(r"\d+ mm (right|left|high|low)|on (line|level)|0 mm ± \d+", said) for _, said in figures
    )
    (place,) = set(re.findall(r"(?:forecast|ahead) at ([\d.]+) m", text))
    snapshot = fake_drive.good()
    point = next(p for p in snapshot.advice.forecast_unchanged if f"{p.chainage_m:.1f}" == place)
    assert f"without {point.line_mm:.0f} mm right" in text


@pytest.mark.parametrize("ascii_only", [False, True])
def test_nothing_is_called_on_line_that_is_hardly_known(ascii_only, monkeypatch):
    loose = fake_drive.good()
    advice = loose.advice
    ahead = tuple(replace(p, line_mm=0.2, line_sd_mm=20.0) for p in advice.forecast)
    estimate = replace(advice.estimate, line_mm=-0.3, line_sd_mm=30.0)
    loose = replace(loose, advice=replace(advice, forecast=ahead, estimate=estimate))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: loose)
    mark = "+-" if ascii_only else "±"
    text = page("good", 80, 23, ascii_only)
    assert f" with 0 mm {mark} 40" in text and f"0 mm {mark} 59" in text and "on line" not in text
    stale = page("good", 80, 23, ascii_only, age_s=1300.0)
    assert f"was 0 mm {mark} 59" in stale and "on line" not in stale


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


def test_after_an_own_setting_nothing_is_foreseen_as_if_it_had_not_been_set():
    own = page("good", 120, 39, decision=OWN)
    assert "without" not in own and "forecast at" not in own and "without" in page("good", 120, 39)
    assert "no forecast with it" in own


def test_what_an_own_setting_foresees_is_drawn_and_named_as_its_own(monkeypatch):
    base = fake_drive.good()
    ahead = tuple(replace(p, line_mm=-17.0, level_mm=23.0) for p in base.advice.forecast)
    monkeypatch.setitem(
        fake_drive.STATES, "good", lambda: replace(base, extra=base.extra | {"own_forecast": ahead})
    )
    own = page("good", 120, 39, decision=OWN)
    assert "own 17 mm left" in own and "own 23 mm high" in own and " with " not in own
    assert "without" in own and "forecast at" in own
    assert "own 17" not in page("good", 120, 39)


def test_what_a_hold_foresees_is_named_by_the_corrections_that_it_counts():
    text = page("hold", 80, 23)
    assert re.search(r"steered (\d+ mm (right|left)|on line)", text) and "hold 1" not in text


@pytest.mark.parametrize("ascii_only", [False, True])
def test_a_shot_that_does_not_count_has_a_mark_of_its_own(ascii_only, monkeypatch):
    base = fake_drive.good()
    column = {}
    for verdict in ("agrees", "disagrees", "waiting", "ahead", "rejected", "withdrawn"):
        ahead = {"verdict": "waiting", "reached": False}
        how = ahead if verdict == "ahead" else {"verdict": verdict}
        shots = (*base.shots[:2], replace(base.shots[2], line_mm=-40.0, **how))
        monkeypatch.setitem(fake_drive.STATES, "good", lambda shots=shots: replace(base, shots=shots))
        text = page("good", 120, 39, ascii_only=ascii_only)
        rows = text.splitlines()
        strip = rows[next(n for n, row in enumerate(rows) if row.startswith("LINE")) :][:11]
        column[verdict] = {c for row in strip for c in row[20:98] if c in "o?x>"} - set("limit right left mm")
    assert column["agrees"] == column["disagrees"] == {"o"}
    assert (
        column["waiting"] == {"?"}
        and column["ahead"] == {">"}
        and column["rejected"] == {"x"}
        and column["withdrawn"] == set()
    )


@pytest.mark.parametrize(
    ("verdicts", "seen"),
    [
        (("agrees", "rejected"), "o"),
        (("disagrees", "rejected"), "o"),
        (("agrees", "waiting"), "o"),
        (("waiting", "rejected"), "?"),
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_of_shots_at_one_place_the_one_that_counts_is_seen(verdicts, seen, turned, monkeypatch):
    base = fake_drive.good()
    both = tuple(replace(base.shots[2], verdict=v, line_mm=-40.0) for v in verdicts)
    shots = both[::-1] if turned else both
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: replace(base, shots=shots))
    rows = page("good", 120, 39).splitlines()
    strip = rows[next(n for n, row in enumerate(rows) if row.startswith("LINE")) :][:11]
    assert {c for row in strip for c in row[20:98] if c in "o?x>"} - set("limit right left mm") == {seen}


@pytest.mark.parametrize("kind", ["hold", "good"])
@pytest.mark.parametrize("standing", [0, 1, 2])
def test_in_a_replay_at_80x24_the_strips_keep_their_chainages(kind, standing, monkeypatch):
    base = fake_drive.STATES[kind]()
    notices = (Notice("beam_lost", "The beam is lost.", 95.0), *fake_drive.warning().advice.notices[::2])[
        :standing
    ]
    base = replace(base, advice=replace(base.advice, notices=notices))
    monkeypatch.setitem(fake_drive.STATES, kind, lambda: base)
    rows = page(kind, 80, 19).splitlines()  # a replay has four rows less for the page
    assert any(row.startswith("chainage") and "forecast at" in row for row in rows)
    assert sum(row.startswith(("LINE", "LEVEL")) for row in rows) == 2
    assert standing or sum("limit" in row for row in rows) == 4
    assert not standing or any(row.startswith(" ! ") for row in rows)


@pytest.mark.parametrize("far_m", [14.0, 15.3, 17.9])
def test_the_forecasts_end_stands_on_the_strips_and_is_the_one_of_the_page_in_text(far_m, monkeypatch):
    from steer.says import page as text_page

    base = fake_drive.good(99.9)
    ahead = tuple(replace(p, chainage_m=99.9 + far_m * n / 12) for n, p in enumerate(base.advice.forecast, 1))
    same = {"forecast": ahead, "forecast_unchanged": tuple(replace(p, line_mm=40.0) for p in ahead)}
    base = replace(base, advice=replace(base.advice, **same))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: base)
    (place,) = set(re.findall(r"forecast at ([\d.]+) m", page("good", 120, 39)))
    assert place == f"{99.9 + far_m:.1f}"
    told = text_page("x", base.advice, 150.0)
    assert re.search(rf"with +at {place} m: line", told) and re.search(
        rf"without +at {place} m: line 40 mm", told
    )


def test_a_notice_holds_since_no_place_beyond_the_face(monkeypatch):
    """To the nearest tenth 99.95 m is 100.0 m, which the face has not come to."""
    base = fake_drive.good(99.95)
    noticed = replace(base.advice, notices=(Notice("beam_lost", "The beam is lost.", 99.95),))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: replace(base, advice=noticed))
    assert "The beam is lost. (since 99.9 m)" in page("good", 80, 24)


@pytest.mark.parametrize(
    "said", ["No spot on the target since 91.4 m: look.", "Turned since about 91 m: look."]
)
def test_a_notice_that_says_since_where_says_it_once(said, monkeypatch):
    base = fake_drive.good()
    noticed = replace(base.advice, notices=(Notice("beam_lost", said, 91.44),))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: replace(base, advice=noticed))
    assert said in page("good", 80, 24) and page("good", 80, 24).count("since 91") == said.count("since 91")
    other = replace(base.advice, notices=(Notice("beam_lost", "Lost since it was set.", 91.44),))
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: replace(base, advice=other))
    assert "Lost since it was set. (since 91.4 m)" in page("good", 80, 24)


def test_which_stroke_has_ended_and_which_is_to_come_is_said():
    text = page("good", 80, 24)
    assert "stroke 96 done" in text and "STROKE 97" in text


def swinging(base, **more):
    """Out to 31 mm right at 102 m, and back to 8 mm right where the forecast ends."""
    way = (14.0, 18.0, 22.0, 26.0, 29.0, 31.0, 29.0, 25.0, 20.0, 15.0, 11.0, 8.0)
    return tuple(replace(p, line_mm=mm, **more) for p, mm in zip(base.advice.forecast, way, strict=True))


@pytest.mark.parametrize(("width", "height"), [(46, 11), (80, 23), (120, 39)])
def test_how_far_the_face_swings_out_on_the_way_is_said_and_not_only_the_end(width, height, monkeypatch):
    base = joints(fake_drive.good())
    said = "up to 31 mm right at 102.0 m, then 8 mm right at 108.0 m"
    own = {"own_forecast": swinging(base), "own_joint": "joints ahead turn 5.1 mm/m, bear 1713 kN"}
    own["own_eye_probability"] = 0.41
    made = replace(base, extra=base.extra | own)
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: made)
    assert f"Own: {said}" in " ".join(page("good", width, height, decision=OWN).split())
    assert "31 mm right" not in page("good", width, height)
    made = replace(base, advice=replace(base.advice, forecast=swinging(base)))
    assert f"On the way: {said}" in " ".join(page("good", width, height).split())


def test_a_way_that_only_comes_nearer_is_not_told_of(monkeypatch):
    base = fake_drive.good()
    for way in ((-12.0, -10.0, -5.0), (-3.0, 2.0, 4.0), (-15.0, -16.0, -12.0)):
        ahead = tuple(replace(p, line_mm=mm) for p, mm in zip(base.advice.forecast, way, strict=False))
        made = replace(base, advice=replace(base.advice, forecast=ahead))
        monkeypatch.setitem(fake_drive.STATES, "good", lambda made=made: made)
        assert "On the way" not in page("good", 80, 23)


def test_what_an_own_setting_asks_of_joints_and_eye_stays_in_sight(monkeypatch):
    base = joints(fake_drive.good())
    known = {"own_joint": "joints ahead turn 5.1 mm/m, bear 1713 kN", "own_eye_probability": 0.41}
    made = replace(base, extra=base.extra | known)
    monkeypatch.setitem(fake_drive.STATES, "good", lambda: made)
    own = page("good", 120, 39, decision=OWN)
    assert (
        "1713 kN" in own and "inside the eye 41 %" in own and "as proposed" not in own and "2513" not in own
    )
    made = base
    own = page("good", 120, 39, decision=OWN)
    assert "2513 kN as proposed" in own and "inside the eye 92 % as proposed" in own
