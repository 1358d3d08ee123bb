"""Waiting for the screens in tests: for what they should show, never for a fixed time."""

from __future__ import annotations


async def ready(app, pilot) -> None:
    """Until the first snapshot is on the screen."""
    for _ in range(200):
        await pilot.pause()
        if app.scene.snapshot is not None:
            break
    await pilot.pause()


async def until(pilot, holds, tries: int = 200) -> None:
    """Until `holds()` is true; fails when it never is."""
    for _ in range(tries):
        await pilot.pause(0.01)
        if holds():
            return
    raise AssertionError("what was waited for did not come")
