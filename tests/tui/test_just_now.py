"""What has just changed under a person's hand: a proposal nobody has looked at, an answer that holds no more."""

from dataclasses import replace

import fake_drive
from kept import screen_text
from screen_pilot import ready

from steer.advice import Correction


def changed(snapshot, stroke=0):
    """The proposal that new readings make."""
    other = Correction(-4.5, 1.2, (38.0, 40.0, 34.0, 32.0), False)
    advice = replace(snapshot.advice, correction=other, stroke=snapshot.advice.stroke + stroke)
    return replace(snapshot, advice=advice, log_sequence=snapshot.log_sequence + 1)


async def test_a_proposal_drawn_an_instant_ago_is_looked_at_before_it_is_accepted(make_app, clock):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        drive.put(changed(drive.current))
        await app.look()
        clock.move(0.5)
        await pilot.press("a")
        await pilot.pause()
        assert drive.calls == [] and "changed just now: look at it first" in screen_text(app)
        clock.move(0.6)
        await pilot.press("a")
        await pilot.pause()
        assert drive.calls == [("accept",)]
        text = screen_text(app)
        assert "Stroke 97 accepted: 4.5 mm/m left, 1.2 mm/m up. Key u takes it back." in text


async def test_readings_that_leave_the_proposal_as_it_is_hold_nobody_up(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        drive.put(replace(drive.current, readings_used=2000))
        await app.look()
        await pilot.press("a")
        await pilot.pause()
        assert drive.calls == [("accept",)]


async def test_an_answer_goes_when_what_it_is_about_does(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("a")
        await pilot.pause()
        assert "Key u takes it back" in screen_text(app)
        own = {"kind": "overridden", "stroke": 96, "right_mm_per_m": 2.0, "up_mm_per_m": 0.0}
        drive.put(replace(drive.current, extra=drive.current.extra | {"decision": own}))
        await app.look()
        await pilot.pause()
        text = screen_text(app)
        assert "STROKE 97  own setting" in text and "accepted" not in text
        assert "your" not in text.lower()


async def test_an_answer_about_a_shot_goes_when_somebody_else_says_another_word(make_app):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "r")
        await pilot.pause()
        await pilot.pause()
        assert "is rejected. Key u takes that back" in screen_text(app)
        shots = tuple(replace(shot, verdict="withdrawn") for shot in drive.current.shots)
        drive.put(replace(drive.current, shots=shots))
        await app.look()
        await pilot.pause()
        assert "Key u takes that back" not in screen_text(app)
