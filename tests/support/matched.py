"""Drives whose truth follows the estimator's own motion model, drawn at random: for honesty checks.

The law is taken from `Stack.ahead` started without doubt: its mean is where the truth goes on
average, its covariance the noise of that step.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from steer.drivefile import DriveFile, parse_drive
from steer.estimate import sensors
from steer.estimate.cells import Cell
from steer.estimate.estimator import Estimator
from steer.estimate.motion import D, G, H, Y
from steer.estimate.shots import Shot
from steer.estimate.stack import Stack
from steer.estimate.tuning import Answer
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml

CELL_M = 0.25


def normal(rng: np.random.Generator, covariance: np.ndarray) -> np.ndarray:
    """A draw (…, n) of zero mean with a covariance (…, n, n) that may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    unit = rng.normal(size=values.shape) * np.sqrt(np.maximum(values, 0.0))
    out: np.ndarray = np.einsum("...ij,...j->...i", vectors, unit)
    return out


def straight_drive(seed: int = 0) -> DriveFile:
    """A straight drive of a drawn machine, guided by a beam."""
    drive = draw_scenario(seed, curved=False).drive
    drive["reference"]["kind"] = "beam"
    return parse_drive(drive_toml(drive))


def drive_of(
    model: Answer, drive: DriveFile, rng: np.random.Generator, length_m: float,
    shot_every_m: float,
) -> tuple[list[Cell | Shot], list[np.ndarray]]:  # fmt: skip
    """Items of one drive and the truth at each: list of Cell or Shot, list of (2, 12)."""
    law = Stack(drive, (model,))
    launch = law.launch()
    node = replace(launch, p=np.zeros_like(launch.p))
    x = launch.x.copy()
    x[:2] += normal(rng, launch.p[:2])
    for state, (low, high) in (
        (H, law.motion.share_bounds),
        (D, law.motion.share_bounds),
        (G, law.motion.gain_bounds_per_m),
    ):
        x[:, state] = np.clip(x[:, state], low, high)
    a = np.zeros(2)
    items: list[Cell | Shot] = []
    truths: list[np.ndarray] = []
    next_shot = shot_every_m
    for i in range(1, round(length_m / CELL_M) + 1):
        s = law.axis.start_chainage_m + i * CELL_M
        if i % 4 == 1:
            a = np.clip(a + rng.normal(0.0, 2.0, 2), -10.0, 10.0)
        node = law.ahead(replace(node, x=x, p=np.zeros_like(node.p)), s, a, a)
        x = node.x + normal(rng, node.p)
        acting = law.acting(node, a)
        row, const = sensors.target_row(law.body, acting, 0.0, np.zeros(len(acting)), np.zeros(len(acting)))
        along = s - law.axis.start_chainage_m - drive.target.behind_face_m
        along = max(along, 0.0)
        row = sensors.add_reference(row, along)
        head, head_0 = sensors.heading_row(
            law.body, acting, 0.0, np.zeros(len(acting)), along, law.plane == 0
        )
        z = np.concatenate([(np.einsum("bi,bi->b", row, x) + const)[:2],
                            (np.einsum("bi,bi->b", head, x) + head_0)[:2]])  # fmt: skip
        sd = law.channel_sd.copy()
        sd[:2] += law.spot_growth * along
        items.append(
            Cell(
                s,
                (0, 0),
                i,
                np.array([s]),
                (z + sd * rng.normal(size=4))[None, :],
                along,
                a,
                a,
                np.zeros(1, int),
            )
        )
        truths.append(x[:2].copy())
        if s - law.axis.start_chainage_m >= next_shot - 1e-9:
            next_shot += shot_every_m
            items.append(Shot(s, 10_000 + i, "face", x[:2, Y] + 2.0 * rng.normal(size=2), 4.0 * np.eye(2)))
            truths.append(x[:2].copy())
    return items, truths


def told(estimator: Estimator, truth: np.ndarray) -> Estimator:
    """The estimator told the true answer to steering (H, D, G of the launch) beforehand."""
    start = estimator.start
    p = start.p.copy()
    x = start.x.copy()
    for state in (H, D, G):
        p[:, state, :] = p[:, :, state] = 0.0
        x[:, state] = truth[estimator.stack.plane, state]
    estimator.start = replace(start, x=x, p=p)
    return estimator
