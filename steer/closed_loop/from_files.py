"""A drive told again from what its files hold, in the order of time: as a feed would have stored it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from steer.closed_loop.memory import drive_in_memory
from steer.closed_loop.whole import articulation_set
from steer.drive import Drive
from steer.drivefile import DriveFile
from steer.ground.sample import Setting
from steer.log import Event


def events_of(
    file: DriveFile,
    readings: Iterable[dict[str, Any]],
    shots: Iterable[dict[str, Any]],
    settings: Iterable[Setting],
) -> list[Event]:
    """Events with the strokes' ends, what is advised there, and what the crew did with it.

    Bodies of readings and check shots as the intake makes them, each with its `time`. A setting that is what
    was proposed is "accepted", another one "overridden"; at one without extensions nobody has decided yet.
    """
    drive = drive_in_memory(file)
    came: list[tuple[str, int, Any]] = [(body["time"], 0, body) for body in readings]
    came += [(body["time"], 1, body) for body in shots]
    came += [(setting.time, 2, setting) for setting in settings]
    begun = False
    for _, what, item in sorted(came, key=lambda one: one[:2]):
        if what < 2:
            drive.add("check_shot" if what else "reading", item)
            continue
        if begun:  # the first one is set in the launch, where no stroke has ended
            drive.stroke_end(item.chainage_m)
        begun = True
        if item.cylinder_mm is not None:
            decide(drive, item.cylinder_mm)
    return list(drive.log.events())


def decide(drive: Drive, cylinder_mm: np.ndarray) -> Event:
    """Store that the crew sets these extensions (N,) mm: the proposal accepted, or overridden."""
    advice = drive.advice()
    if advice is not None and list(cylinder_mm) == list(advice.correction.cylinder_mm):
        return drive.accept()
    return drive.add("overridden", own_setting(drive, cylinder_mm))


def own_setting(drive: Drive, cylinder_mm: np.ndarray) -> dict[str, Any]:
    """The body of an "overridden" event with these extensions (N,) mm, whatever they are."""
    advice = drive.advice()
    assert advice is not None  # readings come before a crew sets anything
    right, up = articulation_set(drive.file, cylinder_mm, advice.roll_deg)
    return {
        "stroke": advice.stroke, "chainage_m": advice.chainage_m, "right_mm_per_m": float(right),
        "up_mm_per_m": float(up), "cylinder_mm": [float(v) for v in cylinder_mm],
    }  # fmt: skip
