"""Help explains the words and signs of the screen in front."""

import pytest
from screen_pilot import ready
from test_other_screens import screen_text, settle
from test_reduction_screen import opened


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("width", [80, 120])
async def test_help_explains_what_the_strips_and_the_joints_line_say(make_app, width, ascii_only):
    app = make_app(ascii_only=ascii_only)
    async with app.run_test(size=(width, 60)) as pilot:
        await ready(app, pilot)
        await pilot.press("question_mark")
        await settle(pilot)
        words = " ".join(screen_text(app).split())
        for said in (
            "bear 2513 kN: ",
            "jacking force",
            "' or , on a curve" if ascii_only else "' or . on a curve",
            '" _ # without gaps, path as driven; : around it' if ascii_only else "▀ ▄ █ without gaps",
            "^ or v",
            "the design axis",
            "5.2 sd: ",
        ):
            assert said in words or said in words.replace(" - ", " "), said


async def test_help_on_the_reduction_is_of_the_reduction(make_app):
    app = make_app()
    async with app.run_test(size=(80, 40)) as pilot:
        await opened(app, pilot)
        await pilot.press("question_mark")
        await settle(pilot)
        text = screen_text(app)
        for word in (
            "Residual:",
            "Standardised:",
            "Redundancy:",
            "Variance factor:",
            "sd: ",
            "row out or in",
        ):
            assert word in text, word
        assert "Cylinders" not in text and "LEFT 3.5" not in text
