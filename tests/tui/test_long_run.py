"""A shift's screens do not heap up what they no longer need."""

import gc
import weakref
from dataclasses import replace

import fake_drive
import pytest
from rich.cells import cached_cell_len
from screen_pilot import ready
from textual.geometry import Region

from tui.long_run import AGAIN_S


class Heaped:
    """Garbage that only a full collection finds."""

    def __init__(self):
        self.itself = self


@pytest.fixture
def heap():
    """Heaps up something; tells whether it still lies there, and whether places and texts on the screen are remembered."""
    gc.disable()

    def made():
        ref = weakref.ref(Heaped())
        for x in range(500):
            Region(x, 0, 7, 3).intersection(Region(0, 0, 1000, 3))
            cached_cell_len(f"{x} mm")
        kept = Region.intersection, cached_cell_len
        return lambda: (ref() is not None, *(of.cache_info().currsize >= 500 for of in kept))

    yield made
    gc.enable()


async def test_each_stroke_frees_what_lies_about(make_app, clock, heap):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)

    async def told(strokes_on):
        advice = replace(drive.current.advice, stroke=drive.current.advice.stroke + strokes_on)
        drive.put(replace(drive.current, advice=advice, log_sequence=drive.current.log_sequence + 1))
        await app.look()
        await pilot.pause()

    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        lies = heap()
        clock.move(AGAIN_S + 1.0)
        await told(0)  # a reading
        assert lies() == (True, True, True)
        await told(1)
        assert lies() == (False, False, False)
        lies = heap()
        await told(1)  # stepping through a replay
        assert lies() == (True, True, True)
        clock.move(AGAIN_S + 1.0)
        await told(1)
        assert lies() == (False, False, False)
