"""A scenario driven from the launch to its end, or as far as asked, under one steerer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from steer.closed_loop.measures import Measures, measure
from steer.drivefile import DriveFile
from steer.ground import Simulation
from steer.machine.cylinders import articulation as articulation_of


class Steerer(Protocol):
    """What steers: told readings and check shots, asked at each stroke's end."""

    def reading(self, reading: dict[str, Any]) -> None:
        """One reading, with the contract's fields."""

    def shot(self, shot: dict[str, Any]) -> None:
        """One check shot, with the contract's fields."""

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        """Cylinder extensions (N,) mm for the next stroke."""


@dataclass(frozen=True)
class Driven:
    """One drive as it truly went: path (n,) over chainage, articulation (strokes, 2) as set, mm/m."""

    chainage_m: np.ndarray
    line_mm: np.ndarray
    level_mm: np.ndarray
    articulation: np.ndarray
    measures: Measures


def drive_whole(
    file: DriveFile,
    simulation: Simulation,
    steerer: Steerer,
    strokes: int | None = None,
    told: Callable[[int], None] | None = None,
) -> Driven:
    """Drive a fresh simulation to its end, or `strokes` strokes; `told` hears each stroke's number."""
    for reading in simulation.start():
        steerer.reading(reading)
    held: list[np.ndarray] = []
    force = float("nan")
    while not simulation.finished and (strokes is None or len(held) < strokes):
        wanted = np.asarray(steerer.stroke_end(simulation.chainage_m), float)
        held.append(articulation_set(file, wanted, simulation.roll_deg))
        readings = simulation.advance(wanted)
        force = largest_force(readings, force)
        for reading in readings:
            steerer.reading(reading)
        for shot in simulation.shots():
            steerer.shot(shot)
        if told is not None:
            told(len(held))
    return driven(file, simulation, np.array(held).reshape(-1, 2), force)


def driven(file: DriveFile, simulation: Simulation, articulation: np.ndarray, force_kn: float) -> Driven:
    """What a simulation came to so far."""
    truth = simulation.truth()
    line, level = truth.face_mm[:, 0], truth.face_mm[:, 1]
    held = np.vstack([np.zeros(2), articulation])  # launched straight: the first setting is a change too
    return Driven(
        truth.chainage_m, line, level, articulation,
        measure(file, truth.chainage_m, line, level, held, force_kn, simulation.string_force_kn()),
    )  # fmt: skip


def articulation_set(file: DriveFile, cylinder_mm: np.ndarray, roll_deg: float) -> np.ndarray:
    """Articulation (2,) mm/m of cylinders as set at a roll."""
    found = articulation_of(np.asarray(cylinder_mm, float), roll_deg, file.machine.cylinders)
    return np.array([found.right_mm_per_m, found.up_mm_per_m])


def largest_force(readings: list[dict[str, Any]], so_far: float = float("nan")) -> float:
    """The largest jacking force of readings, kN; NaN when there is none."""
    found = [r["jacking_force_kn"] for r in readings if r.get("jacking_force_kn") is not None]
    return float(np.fmax(so_far, max(found))) if found else so_far
