"""What a list does not show is counted, and what a later event took back is marked."""

from dataclasses import replace

import fake_drive
import pytest
from screen_pilot import ready, until
from test_other_screens import screen_text, settle

from steer.errors import FolderUnusable


async def test_rows_of_shots_out_of_sight_are_counted(make_app):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    first = drive.current.shots[0]
    more = tuple(replace(first, number=40 + n, chainage_m=31.0 + n) for n in range(9))
    drive.current = replace(drive.current, shots=(first, *more))
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "home")
        await settle(pilot)
        seen = [n for n in range(9) if f" {40 + n} " in screen_text(app)]
        assert seen == list(range(len(seen))) and len(seen) < 9
        assert f"{9 - len(seen)} more below" in screen_text(app) and "more above" not in screen_text(app)
        await pilot.press("end")
        await settle(pilot)
        assert f"{9 - len(seen)} more above" in screen_text(app) and "more below" not in screen_text(app)


async def test_what_was_taken_back_is_marked_in_the_log(make_app):
    drive = fake_drive.FakeDrive()
    setting = {"stroke": 95, "chainage_m": 95.0, "right_mm_per_m": 1.0, "up_mm_per_m": 0.0}
    events = [
        fake_drive.Logged(n, fake_drive.ARRIVED, kind, body)
        for n, (kind, body) in enumerate(
            [
                ("accepted", setting),
                ("accepted", setting),
                ("undone", {"event": 1}),
                ("note", {"text": "wet"}),
            ],
            1,
        )
    ]
    drive.events = lambda after=0: iter(events[after:])
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await until(pilot, lambda: "wet" in screen_text(app))
        rows = [line for line in screen_text(app).splitlines() if "accepted" in line]
        assert len(rows) == 2 and "TAKEN BACK by event 3: stroke 96" in rows[0] and "TAKEN" not in rows[1]
        await pilot.press("home")
        await settle(pilot)
        assert screen_text(app).count("TAKEN BACK") == 2  # in the row and in the whole of it below
        events.append(fake_drive.Logged(5, fake_drive.ARRIVED, "undone", {"event": 2}))
        drive.put(replace(drive.current, log_sequence=drive.current.log_sequence + 1))
        await app.look()
        await until(pilot, lambda: "TAKEN BACK by event 5" in screen_text(app))


@pytest.mark.parametrize("key", ["2", "3", "l"])
@pytest.mark.parametrize("opened", [False, True], ids=["from the start", "later"])
async def test_why_the_log_cannot_be_read_is_said_to_its_end(make_app, key, opened):
    """The place comes first in it and is the longer part: what is the matter stands behind."""
    why = f"/srv/drives/{'a-long-name-of-a-place/' * 2}drive.db: the log is damaged in a place that no page of it says"
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        if opened:
            await ready(app, pilot)
        drive.trouble = FolderUnusable(why)
        await app.look(always=True)
        if not opened:
            app.set_scene(replace(app.scene, snapshot=None))
        await pilot.press(key)
        await until(pilot, lambda: why in " ".join(screen_text(app).split()))
