"""Practice, its debrief, the replay and the what if as kept pictures, over invented figures."""

import fake_practice
import pytest
from kept import keep, screen_text
from screen_pilot import ready, until

pytestmark = pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])


@pytest.fixture(autouse=True)
def colours(monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)


def practice_app(proposal, face_m):
    from tui.practice import PracticeApp

    return PracticeApp(fake_practice.FakePractice(proposal, face_m), stale_minutes=0.0, poll_s=3600.0)


def replay_app(number):
    from tui.replay import ReplayApp

    return ReplayApp(fake_practice.FakeReplay(number), stale_minutes=0.0, poll_s=3600.0)


def compare(app, name, size):
    text = screen_text(app)
    lines = text.splitlines()
    assert len(lines) == size[1] and max(map(len, lines)) <= size[0] and "q quit" in lines[-1]
    keep(f"{name}-{size[0]}x{size[1]}", text)


@pytest.mark.parametrize(
    ("name", "proposal", "face_m"),
    [("first", "shown", 0.0), ("good", "shown", 60.0), ("hidden", "hidden", 60.0), ("after", "after", 60.0)],
)
async def test_practice(name, proposal, face_m, size):
    app = practice_app(proposal, face_m)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        if name == "first":
            compare(app, "practice-first", size)
            return
        if name == "good":
            await pilot.press("space")
            await until(pilot, lambda: "Jacked to 61.00 m" in screen_text(app))
        compare(app, f"practice-{name}", size)
        if name != "good":
            await pilot.press("o")
            await until(pilot, lambda: "Set 2.0 mm/m left" in screen_text(app))
            await pilot.press("enter", "enter")
            await until(pilot, lambda: "own setting" in screen_text(app))
            compare(app, f"practice-{name}-own", size)


@pytest.mark.parametrize(("name", "face_m"), [("debrief", 60.0), ("debrief-early", 6.0)])
async def test_debrief(name, face_m, size):
    app = practice_app("shown", face_m)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("e")
        await until(pilot, lambda: "root mean square" in screen_text(app))
        compare(app, name, size)


@pytest.mark.parametrize(("name", "number"), [("first", 0), ("good", 1), ("notices-at-its-end", 3)])
async def test_replay(name, number, size):
    app = replay_app(number)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await until(pilot, lambda: "KNOWN NOW" in screen_text(app))
        compare(app, f"replay-{name}", size)
        if name == "notices-at-its-end":
            await pilot.press("l")
            await until(pilot, lambda: "NOTICES of this moment" in screen_text(app))
            said = " ".join(screen_text(app).split())
            assert all(notice.text in said for notice in app.scene.snapshot.advice.notices)
            compare(app, "replay-notices", size)
            await pilot.press("escape")
            await until(pilot, lambda: "KNOWN NOW" in screen_text(app))


async def test_what_if(size):
    app = replay_app(1)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("f")
        await until(pilot, lambda: "What if, from 34.00 m on" in screen_text(app))
        keep(f"what-if-asked-{size[0]}x{size[1]}", screen_text(app))
        await pilot.press(*"steering.firmness=gentle", "enter")
        await until(pilot, lambda: "as driven" in screen_text(app))
        compare(app, "what-if-answer", size)
        await pilot.press("end")
        await until(pilot, lambda: "more below" not in screen_text(app))
        compare(app, "what-if-end", size)
        await pilot.press("escape", "f")
        await until(pilot, lambda: "What if, from 34.00 m on" in screen_text(app))
        await pilot.press(*"tolerance.width=3")
        await until(pilot, lambda: "allowed are" in screen_text(app))
        await pilot.press("enter")
        await pilot.pause()
        keep(f"what-if-refused-{size[0]}x{size[1]}", screen_text(app))
