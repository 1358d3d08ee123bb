"""Whole cylinder steps that obey every limit: the best combination, not each cylinder by itself."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from steer.drivefile import MachineSection
from steer.machine.cylinders import articulation, extension_rows, extensions

MOST_TRIED = 8192


@dataclass(frozen=True)
class Chosen:
    """Extensions (N,) mm on whole steps, the articulation (2,) mm/m they make, and what it costs beyond the best."""

    cylinder_mm: np.ndarray
    articulation: np.ndarray
    cost: float


def choose(
    machine: MachineSection,
    roll_deg: float,
    wanted: np.ndarray,
    hessian: np.ndarray,
    now: np.ndarray,
    now_mm: np.ndarray | None,
    most_change: float,
) -> Chosen:
    """The combination of whole steps with the least cost ½(a − wanted)ᵀ·hessian·(a − wanted).

    Every combination of the steps around the exact extensions is looked at (two for each cylinder,
    three where that is few), and the present setting `now_mm`. Those that break range, magnitude or
    the change from `now` (2,) per plane are left out; when none is left, the one that breaks least.
    Cylinders that do not fit one plane strain the ring, so the misfit counts a little.
    """
    cyl = machine.cylinders
    step = cyl.step_mm
    low, high = cyl.range_mm
    lowest = np.ceil(low / step - 1e-9)
    highest = np.floor(high / step + 1e-9)
    exact = extensions(wanted[0], wanted[1], roll_deg, cyl) / step
    count = len(exact)
    spread = 3 if 4**count <= MOST_TRIED else (1 if 2**count <= MOST_TRIED else 0)
    if spread == 3:
        sets = [np.array([-1, 0, 1, 2]) + np.floor(e) for e in exact]
        tried = np.array(list(itertools.product(*sets)))
    elif spread == 1:
        tried = np.array(list(itertools.product(*[(np.floor(e), np.floor(e) + 1) for e in exact])))
    else:
        tried = np.round(exact)[None, :]
    tried = np.clip(tried, lowest, highest)
    if now_mm is not None and np.isfinite(now_mm).all():
        tried = np.concatenate([tried, np.clip(np.round(now_mm / step), lowest, highest)[None, :]])
    rows = extension_rows(roll_deg, cyl)
    back = np.linalg.pinv(rows)
    made = (tried * step - cyl.neutral_mm) @ back.T
    misfit = (tried * step - cyl.neutral_mm) - made @ rows.T
    off = made - wanted
    price = 0.5 * np.einsum("ij,jk,ik->i", off, hessian, off)
    strain = (misfit**2).sum(1) / (step * step)
    unit = 0.5 * np.trace(hessian) * (step / cyl.circle_radius_mm * 1000.0) ** 2
    over = np.maximum(np.abs(made - now).max(1) - most_change, 0.0)
    over = np.maximum(over, np.hypot(made[:, 0], made[:, 1]) - machine.max_articulation_mm_per_m)
    total = price + 0.02 * unit * strain
    allowed = over <= 1e-9
    best = int(np.argmin(np.where(allowed, total, np.inf))) if allowed.any() else int(np.argmin(over))
    return Chosen(tried[best] * step, made[best], float(price[best]))


def settled(machine: MachineSection, cylinder_mm: np.ndarray, roll_deg: float) -> np.ndarray:
    """The articulation (2,) of extensions as set."""
    fit = articulation(cylinder_mm, roll_deg, machine.cylinders)
    return np.array([fit.right_mm_per_m, fit.up_mm_per_m])
