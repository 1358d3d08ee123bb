"""Whole cylinder steps that obey every limit: the best combination, not each cylinder by itself."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from steer.drivefile import MachineSection
from steer.machine.cylinders import articulation, extension_rows, extensions

MOST_TRIED = 8192
_STRAIN = 1e-3  # what a step away from the exact extension counts against missing what is asked, squared
MARGIN = 1e-3  # mm/m kept from a limit, so that figures with three decimals keep it too


@dataclass(frozen=True)
class Chosen:
    """Extensions (N,) mm on whole steps, the articulation (2,) mm/m they make, what it costs beyond the
    best, and by how much (mm/m) the change and the magnitude pass their limits (0 when kept)."""

    cylinder_mm: np.ndarray
    articulation: np.ndarray
    cost: float
    change_over: float = 0.0
    most_over: float = 0.0


def step_range(machine: MachineSection) -> tuple[float, float]:
    """Least and greatest whole step inside the cylinders' range, mm; the range itself when it holds none."""
    low, high = machine.cylinders.range_mm
    step = machine.cylinders.step_mm
    lowest, highest = np.ceil(low / step - 1e-9) * step, np.floor(high / step + 1e-9) * step
    return (float(lowest), float(highest)) if lowest <= highest else (low, high)


def choose(
    machine: MachineSection,
    roll_deg: float,
    wanted: np.ndarray,
    hessian: np.ndarray,
    now_mm: np.ndarray | None,
    low: np.ndarray,
    high: np.ndarray,
) -> Chosen:
    """The combination of whole steps with the least cost ½(a − wanted)ᵀ·hessian·(a − wanted).

    Every combination of the steps around the exact extensions is looked at (four for each cylinder, two
    where those are too many), and the present setting `now_mm`. Range holds always; those that break
    the magnitude or the box `low` to `high` (2,) that the change per stroke leaves are left out; when
    none is left, the one that breaks least. Cylinders that do not fit one plane strain the ring, so
    the misfit counts a little.
    """
    cyl = machine.cylinders
    # from where one wants to be towards the middle of what the change leaves, then towards straight
    middle, straight = 0.5 * (low + high), np.clip(0.0, low, high)
    best: Chosen | None = None
    for to, share in ((middle, 0.0), (middle, 0.5), (middle, 1.0), (straight, 0.5), (straight, 1.0)):
        at = wanted + share * (to - wanted)
        tried = _around(machine, extensions(at[0], at[1], roll_deg, cyl))
        tried = np.clip(tried, *step_range(machine))
        if now_mm is not None and np.isfinite(now_mm).all():
            least, most = step_range(machine)
            whole = np.round(now_mm / cyl.step_mm) * cyl.step_mm
            tried = np.concatenate([tried, np.clip(whole, least, most)[None, :]])
        found = _least(machine, roll_deg, tried, wanted, hessian, low, high)
        if best is None or found.change_over + found.most_over < best.change_over + best.most_over:
            best = found
        if best.change_over + best.most_over == 0.0:
            break
    assert best is not None
    return best


def nearest(
    machine: MachineSection, roll_deg: float, wanted: np.ndarray, now_mm: np.ndarray | None, now: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The whole steps (N,) mm that make an articulation (2,) most nearly, and what they make (2,).

    A plane asked for as it stands, to the tenth that is shown, is left as it stands; both so leave the
    cylinders as they read, between whole steps or not. Else the cylinders keep their mean, or take
    neutral's where that does not do. Range and limits that what is asked keeps are kept;
    what is asked beyond them is taken beyond them.
    """
    cyl = machine.cylinders
    as_it_stands = np.abs(wanted - now) <= 0.05 + 1e-9
    wanted = np.where(as_it_stands, now, wanted)
    neutral = extensions(wanted[0], wanted[1], roll_deg, cyl)
    bases = [neutral]
    if now_mm is not None and np.isfinite(now_mm).all():
        if as_it_stands.all():
            return now_mm, now
        mean = float((now_mm - extensions(now[0], now[1], roll_deg, cyl)).mean())
        bases = [neutral + mean, neutral]
    tried = np.concatenate([_around(machine, base) for base in bases])
    rows = extension_rows(roll_deg, cyl)
    made = (tried - cyl.neutral_mm) @ np.linalg.pinv(rows).T
    # the least move of those that come as near: figures are shown in tenths
    price = ((made - wanted) ** 2).sum(1)
    price += _STRAIN * (1000.0 / cyl.circle_radius_mm) ** 2 * ((tried - bases[0]) ** 2).sum(1)
    least, most = cyl.range_mm
    beyond = np.maximum(least - tried, tried - most).max(1) > 1e-9
    if not _breaks(machine, wanted[None], now)[0]:
        beyond = 2 * beyond + _breaks(machine, made, now)
    best = int(np.lexsort((price, beyond))[0])
    return tried[best], made[best]


def _breaks(machine: MachineSection, made: np.ndarray, now: np.ndarray) -> np.ndarray:
    """Whether articulations (k, 2) break the magnitude or, from `now` (2,), the change per stroke."""
    change = np.abs(made - now).max(1) > machine.max_change_mm_per_m + 1e-9
    found: np.ndarray = change | (np.hypot(*made.T) > machine.max_articulation_mm_per_m + 1e-9)
    return found


def _around(machine: MachineSection, exact_mm: np.ndarray) -> np.ndarray:
    """Combinations (k, N) of whole steps around exact extensions (N,) mm, inside the range or not."""
    exact = exact_mm / machine.cylinders.step_mm
    count = len(exact)
    near: tuple[int, ...] = (0,)
    base = np.round(exact)
    if 4**count <= MOST_TRIED:
        near, base = (-1, 0, 1, 2), np.floor(exact + 1e-9)
    elif 2**count <= MOST_TRIED:
        near, base = (0, 1), np.floor(exact + 1e-9)
    found: np.ndarray = (_combinations(near, count) + base) * machine.cylinders.step_mm
    return found


@lru_cache(maxsize=8)
def _combinations(near: tuple[int, ...], count: int) -> np.ndarray:
    """Every choice of `count` of `near`, (k, count); thousands, and the same at every stroke."""
    found = np.array(list(itertools.product(near, repeat=count)), float)
    found.setflags(write=False)
    return found


def _least(
    machine: MachineSection,
    roll_deg: float,
    tried: np.ndarray,
    wanted: np.ndarray,
    hessian: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
) -> Chosen:
    cyl = machine.cylinders
    rows = extension_rows(roll_deg, cyl)
    opened = tried - cyl.neutral_mm
    made = opened @ np.linalg.pinv(rows).T
    misfit = opened - made @ rows.T
    off = made - wanted
    price = 0.5 * np.einsum("ij,jk,ik->i", off, hessian, off)
    unit = 0.5 * np.trace(hessian) * (cyl.step_mm / cyl.circle_radius_mm * 1000.0) ** 2
    total = price + 0.02 * unit * (misfit**2).sum(1) / cyl.step_mm**2
    change_over = np.maximum(np.maximum(low - made, made - high).max(1) + MARGIN, 0.0)
    most_over = np.maximum(np.hypot(*made.T) - machine.max_articulation_mm_per_m + MARGIN, 0.0)
    over = change_over + most_over
    least = float(over.min())
    best = int(np.argmin(np.where(over <= least + 1e-9, total, np.inf)))
    return Chosen(
        tried[best], made[best], float(price[best]), float(change_over[best]), float(most_over[best])
    )


def settled(machine: MachineSection, cylinder_mm: np.ndarray, roll_deg: float) -> np.ndarray:
    """The articulation (2,) of extensions as set."""
    fit = articulation(cylinder_mm, roll_deg, machine.cylinders)
    return np.array([fit.right_mm_per_m, fit.up_mm_per_m])
