"""The operator's page as text: kept pictures, and what must never be missing from it.

The kept pictures are in tests/tui/pictures; `STEER_KEEP_PICTURES=1 pytest tests/tui` writes them
anew, to be reviewed like code.
"""

import re
from dataclasses import replace

import fake_drive
import pytest
from kept import keep

SIZES = [(80, 24), (120, 40)]


def page(state: str, width: int, height: int, ascii_only: bool = False, **change: object) -> str:
    import fake_drive

    from tui.draw import spans, stroke_page
    from tui.draw.glyphs import ASCII, UNICODE
    from tui.draw.scene import Scene

    scene = Scene(fake_drive.STATES[state](), age_s=5.0, glyphs=ASCII if ascii_only else UNICODE)
    rows = stroke_page.draw(replace(scene, **change), width, height)
    assert len(rows) == height
    assert all(spans.width(row) == width for row in rows)
    return spans.join(rows)


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize("state", ["good", "hold", "warning", "unsure", "opposite", "empty"])
def test_kept_pictures(state, width, height):
    keep(f"stroke-{state}-{width}x{height}", page(state, width, height - 1))


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_kept_pictures_stale(width, height):
    keep(f"stroke-stale-{width}x{height}", page("good", width, height - 1, age_s=1300.0))


@pytest.mark.parametrize("state", ["good", "warning"])
def test_kept_pictures_ascii(state):
    text = page(state, 80, 23, ascii_only=True)
    assert text.isascii()
    keep(f"stroke-{state}-ascii-80x24", text)


@pytest.mark.parametrize("width", [30, 40, 50, 60, 70, 80, 100, 160, 200])
@pytest.mark.parametrize("height", [6, 9, 12, 16, 20, 24, 40, 60])
@pytest.mark.parametrize("state", ["good", "hold", "warning", "unsure", "opposite", "empty"])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_any_size_keeps_the_number_its_direction_and_unit(state, width, height, ascii_only):
    from tui.draw.bigtype import big

    text = page(state, width, height, ascii_only)
    lines = text.splitlines()
    if state in ("unsure", "opposite", "empty"):
        assert "NO PROPOSAL"[: width - 21] in text
        assert "3.5" not in text and "12.5" not in text
        return
    wanted = {"good": "left 3.5", "warning": "left 12.5", "hold": "hold"}[state]
    large = [big(wanted, form) for form in ("half", "ascii", "double")]
    as_text = wanted.upper() in text
    assert as_text or any(
        all(any(part.rstrip() in line for line in lines) for part in form) for form in large
    )
    if state != "hold" and width >= 40:
        assert "mm/m" in text


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_without_trust_the_page_says_why_and_what_to_do_and_no_setting(width, height):
    unsure, opposite = (" ".join(page(s, width, height - 1).split()) for s in ("unsure", "opposite"))
    assert "The face is known to ± 38 mm in line" in unsure and "Have a check shot taken" in unsure
    assert "answers right and left opposite" in opposite and "check how cylinders and target" in opposite
    assert "for 4 strokes" not in unsure and "this setting" not in opposite


def test_while_shots_wait_for_a_word_the_page_sends_to_them_and_asks_for_no_other():
    from tui.draw.scene import Scene, blocked

    snapshot = fake_drive.unsure()
    shots = tuple(replace(shot, verdict="waiting") for shot in snapshot.shots[:2]) + snapshot.shots[2:]
    told = blocked(Scene(replace(snapshot, shots=shots), stale_after_s=0.0))
    assert told is not None
    assert told.todo == "2 check shots wait to be accepted or rejected: decide on them first (key 2)."
    ahead = tuple(replace(shot, reached=False) for shot in shots)
    told = blocked(Scene(replace(snapshot, shots=ahead), stale_after_s=0.0))
    assert told is not None and told.todo == "Have a check shot taken and enter it."


def test_stale_readings_take_the_proposal_away():
    from tui.draw.bigtype import big

    fresh, stale = page("good", 80, 23), page("good", 80, 23, age_s=1000.0)
    first = big("left 3.5", "half")[1]
    assert first in fresh and first not in stale
    assert "NO PROPOSAL" in stale and "16 min ago" in stale
    # Neither the cylinder settings nor the forecast stay.
    assert "out 1" in fresh and "out 1" not in stale
    assert "without" in fresh and "without" not in stale


def test_zero_switches_staleness_off():
    assert "NO PROPOSAL" not in page("good", 80, 23, age_s=1e6, stale_after_s=0.0)


def test_trouble_takes_the_proposal_away_and_says_why():
    text = page("good", 80, 23, trouble="cannot open drive.db: no such file")
    assert "NO PROPOSAL" in text and "no such file" in text and "was 12 mm left" in text


def test_overriding_setting_is_shown_with_its_cylinders():
    from tui.draw.bigtype import big
    from tui.draw.scene import Decision

    text = page("good", 80, 23, decision=Decision(96, "overridden", 4.0, -1.0, (20.0, 50.0, 52.0, 22.0)))
    assert "own setting" in text
    assert big("right 4.0", "half")[0] in text and big("down 1.0", "half")[0] in text
    assert "in 16" in text and "out 12" in text


CHANGED = {"cylinders": (40.0, 39.0, 33.0, 33.5), "turns alone": None}


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_kept_pictures_of_a_proposal_changed_since_it_was_accepted(width, height):
    from tui.draw.scene import Decision

    made = Decision(96, "accepted", -4.5, 1.0, CHANGED["cylinders"])
    keep(f"stroke-changed-{width}x{height}", page("good", width, height - 1, decision=made))


@pytest.mark.parametrize("width", [30, 40, 60, 80, 120, 200])
@pytest.mark.parametrize("height", [6, 11, 17, 23, 39])
@pytest.mark.parametrize("known", CHANGED)
def test_what_was_accepted_and_is_proposed_no_longer_is_told_from_what_still_is(width, height, known):
    from tui.draw.scene import Decision

    def lines(right, cylinder_mm):
        made = Decision(96, "accepted", right, 1.2, cylinder_mm)
        return page("good", width, height, decision=made).splitlines()

    same = lines(-3.5, (37.0, 39.0, 35.0, 33.0) if CHANGED[known] else None)
    other = lines(-4.5, CHANGED[known])
    title = next(line for line in other if "STROKE 97" in line or " 97 accepted" in line)
    assert "CHANGED" in title or "NOW" in title
    assert not any("CHANGED" in line or "NOW" in line or " New " in line for line in same)
    assert "STROKE 97  accepted" in "".join(same)
    if width < 60 or height < 11:
        return
    said = " ".join(" ".join(other).split())
    assert "Accepted 4.5 mm/m left, 1.2 mm/m up" in said
    if width >= 80:
        assert "accepted 4.5 left, 1.2 up mm/m" in title
        # 37, 39, 35, 33 is proposed
        wanted = (
            "cylinders 1 in 3 mm, 3 out 2 mm, 4 in 0.5 mm" if CHANGED[known] else "1.0 mm/m further right"
        )
        assert wanted in said


def test_wide_characters_in_a_name_do_not_shift_the_page():
    import fake_drive

    from tui.draw import spans, stroke_page
    from tui.draw.scene import Scene

    snapshot = replace(fake_drive.good(), name="\u63a8\u9032\u5de5\u6cd5 " * 9)
    rows = stroke_page.draw(Scene(snapshot, age_s=1.0), 80, 23)
    assert all(spans.width(row) == 80 for row in rows)


def test_strip_shows_the_side_the_face_is_on():
    import fake_drive
    import numpy as np

    from steer.advice import Path as DrivenPath
    from tui.draw import spans, stretch, strip
    from tui.draw.scene import Scene

    chainage = np.arange(0.0, 96.01, 1.0)
    for offset, upper in ((30.0, True), (-30.0, False)):
        flat = np.full(len(chainage), offset)
        sd = np.full(len(chainage), 0.5)
        snapshot = replace(fake_drive.good(), path=DrivenPath(chainage, flat, sd, flat / 2, sd), shots=())
        for plane in ("line", "level"):
            scene = Scene(snapshot, age_s=1300.0)  # stale: the driven path alone
            rows = [spans.plain(r) for r in strip.draw(scene, plane, stretch.reach(scene, 80), 8)]
            inked = [y for y, row in enumerate(rows) if "▀" in row or "▄" in row or "█" in row]
            assert inked and all((y < 4) == upper for y in inked)


@pytest.mark.parametrize("width", [60, 79, 80, 100, 120, 200])
@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("count", [3, 4, 6, 8])
def test_no_figure_of_the_table_or_beside_the_large_type_is_cut(width, ascii_only, count):
    import fake_drive

    from steer.advice import Correction
    from tui.draw import spans, stroke_page
    from tui.draw.glyphs import ASCII, UNICODE
    from tui.draw.scene import Scene

    base = fake_drive.good()
    now = tuple(112.5 - n for n in range(count))
    wanted = tuple(100.0 - 2 * n for n in range(count))
    advice = replace(
        base.advice,
        correction=Correction(19.5, -10.5, wanted, False),
        cylinder_now_mm=now,
        now_right_mm_per_m=10.5,
        now_up_mm_per_m=-12.5,
    )
    positions = tuple(360.0 * n / count for n in range(count))
    snapshot = replace(base, advice=advice, cylinder_positions_deg=positions)
    scene = Scene(snapshot, age_s=1.0, glyphs=ASCII if ascii_only else UNICODE)
    text = spans.join(stroke_page.draw(scene, width, 30))
    for n in range(count):
        assert re.search(rf" {now[n]:.1f} +{wanted[n]:.1f} in {now[n] - wanted[n]:.1f}\b", text)
    if width >= 80:
        for beside in ("mm/m", "now 10.5", "right", "now 12.5", "down"):
            assert beside in text


@pytest.mark.parametrize("state", ["good", "hold", "opposite"])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_large_type_does_not_touch_the_bar_above_it(state, width, height):
    """Bar and type may have one colour: the ink must begin half a cell below."""
    rows = page(state, width, height - 1).splitlines()
    bar = next(n for n, row in enumerate(rows) if "STROKE 97" in row or "NO PROPOSAL" in row)
    panel = rows[bar + 1][: width - 33]
    assert not set(panel) & set("\u2588\u2580")  # full block, upper half block
    assert "\u2588" in rows[bar + 2]


@pytest.mark.parametrize("width", [24, 30, 40, 46, 60, 80])
@pytest.mark.parametrize("height", range(3, 24))
@pytest.mark.parametrize("state", ["warning", "unsure", "opposite"])
def test_a_notice_that_stands_is_seen_at_any_size(state, width, height):
    text = page(state, width, height)
    rows = [line for line in text.splitlines() if line.startswith(" ! ")]
    marked = re.search(r"! [13](: l| notices?, key l)", text)
    assert bool(rows) != bool(marked)


def test_on_small_terminals_the_gravest_notice_keeps_a_row():
    assert " ! The spot jumped by 9 mm and stayed" in page("warning", 60, 19)
    assert " ! The spot jumped ... (+2 more: key l)" in page("warning", 40, 11)
    assert "! 3 notices, key l" in page("warning", 40, 8)
    assert "!" not in page("good", 40, 8)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 39)])
def test_cylinders_held_beside_what_they_read_are_said_to_be_as_set(width, height, monkeypatch):
    base = fake_drive.hold()
    assert "noise" not in page("hold", width, height)
    read = replace(base.advice, cylinder_now_mm=(36.4, 38.0, 35.7, 34.0))
    monkeypatch.setitem(fake_drive.STATES, "hold", lambda: replace(base, advice=read))
    text = page("hold", width, height)
    assert (
        "36.4" in text
        and "as set, within reading noise" in text
        and "2.0 mm/m left, 0.8 mm/m up" in " ".join(text.split())
    )
    # one figure for what is to be left alone: what the machine shows
    assert re.findall(r"(?:right|left) +([\d.]+) +([\d.]*) *stay", text) == [
        (shown, "") for shown in ("36.4", "38.0", "35.7", "34.0")
    ]
