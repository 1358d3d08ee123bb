"""Random machines and states for the correction's tests."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from steer.drivefile import DriveFile, parse_drive
from steer.estimate.estimator import Estimator
from steer.estimate.nodes import Node
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml

SUPPORT = str(Path(__file__).parents[1] / "support")
if SUPPORT not in sys.path:
    sys.path.insert(0, SUPPORT)

LAYOUTS = (
    [60, 180, 300],
    [45, 135, 225, 315],
    [30, 90, 150, 210, 270, 330],
    [0, 45, 90, 135, 180, 225, 270, 315],
)


def drawn_drive(rng: np.random.Generator, seed: int) -> tuple[DriveFile, dict[str, Any]]:
    """A drive of a drawn scenario with cylinders of any kind."""
    toml = draw_scenario(seed).drive
    machine = toml["machine"]
    cylinders = machine["cylinders"]
    cylinders["positions_deg"] = list(LAYOUTS[rng.integers(len(LAYOUTS))])
    step = float(rng.choice([0.1, 0.3, 0.5, 0.7, 1.0, 2.0, 3.0]))
    cylinders["step_mm"] = step
    low = float(round(rng.uniform(-5.0, 5.0), 1))
    half = float(round(cylinders["circle_radius_mm"] * machine["max_articulation_mm_per_m"] / 1000.0, 1))
    half = max(half * float(rng.choice([0.5, 1.0, 1.3])), 2.0 * step)
    half = round(half, 1)
    cylinders["range_mm"] = [low, round(low + 2 * half, 1)]
    cylinders["neutral_mm"] = round(low + half, 1)
    machine["max_change_mm_per_m"] = float(round(rng.uniform(2.0, 12.0), 1))
    return parse_drive(drive_toml(toml)), toml


def drawn_node(rng: np.random.Generator, drive: DriveFile) -> tuple[Estimator, Node]:
    """A state somewhere along the drive, as the launch's but far off in any direction."""
    estimator = Estimator(drive)
    start = estimator.start
    x = start.x.copy()
    wide = np.sqrt(np.maximum(np.einsum("bii->bi", start.p), 0.0))
    x += wide * rng.normal(size=x.shape) * rng.choice([0.3, 1.0, 8.0])
    x[:, 6:9] = np.clip(x[:, 6:9], 0.02, 1.0)
    s_m = float(rng.uniform(0.0, drive.axis.end_chainage_m - drive.axis.start_chainage_m))
    s_m += drive.axis.start_chainage_m
    point = drive.axis.at(s_m)
    score = rng.normal(size=start.score.shape) * 3.0
    node = dataclasses.replace(
        start,
        s_m=s_m,
        x=x,
        bearing_rad=float(point.bearing_rad),
        grade=float(point.grade_mm_per_m),
        articulation=rng.normal(size=2) * 10.0,
        score=score,
    )
    return estimator, node


@pytest.fixture
def draw() -> Callable[[int], tuple[np.random.Generator, DriveFile, Estimator, Node]]:
    """Seed -> generator, drive, estimator, node."""

    def one(seed: int) -> tuple[np.random.Generator, DriveFile, Estimator, Node]:
        rng = np.random.default_rng([seed, 4])
        drive, _ = drawn_drive(rng, seed)
        estimator, node = drawn_node(rng, drive)
        return rng, drive, estimator, node

    return one
