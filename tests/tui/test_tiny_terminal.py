"""Terminals made tiny and large again while a page stands: nothing ends, nothing is lost, and it is said."""

import fake_drive
import fake_practice
import pytest
from kept import screen_text
from screen_pilot import ready, until
from test_reduction_screen import opened

WIDE = (80, 24)
TINY = [(20, 5), (40, 10), (80, 8), (20, 24), (2, 2), (1, 1)]

pytestmark = pytest.mark.usefixtures("colours")


@pytest.fixture
def colours(monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)


def practice_app():
    from tui.practice import PracticeApp

    return PracticeApp(fake_practice.FakePractice("shown", 60.0), stale_minutes=0.0, poll_s=3600.0)


def replay_app():
    from tui.replay import ReplayApp

    return ReplayApp(fake_practice.FakeReplay(1), stale_minutes=0.0, poll_s=3600.0)


async def settle(pilot):
    for _ in range(4):
        await pilot.pause()


async def made_tiny_and_back(app, pilot, said=True, kept=None):
    """Sizes on and back again; the front page as it was, and in between a word that this is too small."""
    await settle(pilot)
    front, wide = app.screen, screen_text(app)
    for size in [*TINY, (40, 10), (20, 5), WIDE]:
        await pilot.resize_terminal(*size)
        await settle(pilot)
        assert app.screen is front and front.size == size
        if said and size[0] >= 20:  # drawn after the size has changed, on a busy machine well after
            await until(
                pilot, lambda s=size: ("oo small" in screen_text(app).splitlines()[-1]) == (s != WIDE)
            )
        text = screen_text(app)
        assert not said or not set(text) & set("▆▁▂▃▅▇"), text  # no bar over the text
        if kept is not None and size[0] >= 20:
            assert kept in text, (size, text)
    assert screen_text(app) == wide


@pytest.mark.parametrize(
    ("keys", "shown", "kept"),
    [((), "STROKE 61", "STROKE 61"), (("space",), "Jacked to", "STROKE 62"), (("e",), "root mean square", "HOW"),
     (("question_mark",), "KEYS", "KEYS"), (("g",), "Esc", None), (("2",), "CHECK SHOTS", "CHECK SHOTS"),
     (("3",), "AS-BUILT", "AS-BUILT"), (("l",), "LOG", "NOTICES")],
)  # fmt: skip
async def test_practice(keys, shown, kept):
    app = practice_app()
    async with app.run_test(size=WIDE) as pilot:
        await ready(app, pilot)
        await pilot.press(*keys)
        await until(pilot, lambda: shown in screen_text(app))
        await made_tiny_and_back(app, pilot, kept=kept)
        assert app.source is not None and app.is_running


@pytest.mark.parametrize("size", [(20, 5), (40, 5), (80, 5), (40, 7)])
async def test_an_answer_leaves_both_planes_of_the_correction_in_sight(size):
    app = practice_app()
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("space")
        await until(pilot, lambda: "Jacked to" in screen_text(app))
        assert sum("mm/m" in row for row in screen_text(app).splitlines()[:3]) == 2


async def test_a_setting_half_typed_in_practice_is_still_there():
    app = practice_app()
    async with app.run_test(size=WIDE) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        await until(pilot, lambda: "Enter or Tab goes on" in screen_text(app))
        await pilot.press("ctrl+u", *"3.5 r")
        await made_tiny_and_back(app, pilot, said=False)
        assert app.screen.query_one("#line").value == "3.5 r"


@pytest.mark.parametrize("size", [(46, 11), (40, 10), (80, 8), (80, 6), (30, 8), (24, 5), (20, 4)])
async def test_of_the_box_for_an_own_setting_what_is_typed_in_stays(make_app, size):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("o", *"3.5 r", "tab", *"22 u")
        await settle(pilot)
        text = screen_text(app)
        assert "3.5 r" in text and "22 u" in text and "Line," in text and "Level," in text
        assert (
            size[1] < 8
            or size[0] < 40
            or ("Esc leaves" in text and "! level would" in " ".join(text.split()))
        )


@pytest.mark.parametrize(
    ("keys", "shown", "kept"),
    [
        ((), "KNOWN NOW", "STROKE"),
        (("l",), "NOTICES of this", "NOTICES"),
        (("f", "enter"), "as driven", None),
    ],
)
async def test_replay(keys, shown, kept):
    app = replay_app()
    async with app.run_test(size=WIDE) as pilot:
        await ready(app, pilot)
        for key in keys:
            await pilot.press(key)
            await settle(pilot)
        await until(pilot, lambda: shown in screen_text(app))
        await made_tiny_and_back(app, pilot, kept=kept)


@pytest.mark.parametrize("keys", [(), ("x",), ("End",), ("question_mark",)])
async def test_reduction(make_app, keys):
    app = make_app(fake_drive.FakeDrive())
    async with app.run_test(size=WIDE) as pilot:
        await opened(app, pilot)
        await pilot.press(*keys)
        await made_tiny_and_back(app, pilot)


@pytest.mark.parametrize("width", range(18, 90))
def test_no_figure_of_a_sight_s_row_loses_its_end(width):
    from tui.draw import reduction_page
    from tui.draw.spans import fit, plain

    for sight in fake_drive.reduced((3,)).sights:
        row = plain(fit(reduction_page.item(sight, width), width))
        wanted = "left out" if sight.left_out else f"{sight.residual:+.1f} {sight.unit}"
        wanted = wanted.replace("+0.0", "0.0").replace("-0.0", "0.0")
        assert f" {wanted} " in f"{row} ", (width, row)
