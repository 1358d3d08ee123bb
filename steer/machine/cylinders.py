"""Steering cylinders to articulation and back, for any number and position of cylinders and any roll.

Cylinder i stands at the angle t = position + roll, clockwise from the top, looking ahead, on a circle
of radius r about the joint. Turning the front body by a (right) and b (up), in mm/m, opens the joint
by the small rotation's distance at the cylinder, so its extension is

    extension = neutral − r·(a·sin t + b·cos t)/1000

(rigid-body geometry for small angles; at 40 mm/m what it leaves out is below 0.1 % of the travel).
A front body that turns right shortens the cylinders on the right. Looking ahead, roll is + clockwise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike

# Two planes can be told apart when at least two of the cylinders read stand this far from one line
# through the centre. The drive file asks the same of the whole set.
LEAST_SPREAD_DEG = 10.0


class Cylinders(Protocol):
    """What this module asks of a cylinder layout; `DriveFile.machine.cylinders` is one."""

    @property
    def positions_deg(self) -> tuple[float, ...]: ...
    @property
    def circle_radius_mm(self) -> float: ...
    @property
    def neutral_mm(self) -> float: ...


@dataclass(frozen=True)
class Articulation:
    """The front body against the rear one, mm/m, + right and + up, shape (...): NaN where the
    cylinders read do not settle both planes. `residual_mm`, shape (..., N), is the extension read
    minus the one that this articulation makes, NaN for a cylinder that was not read."""

    right_mm_per_m: Any
    up_mm_per_m: Any
    residual_mm: np.ndarray


@dataclass(frozen=True)
class Misread:
    """Cylinders do not fit one another. `cylinders` are the ones, counted from 1, of which each alone
    would explain it, and `by_mm` how much each would then read too long; more than one when the layout
    cannot tell them apart (of two opposite cylinders an equal error looks the same); none when no
    single cylinder explains it. `worst_mm` is the largest residual."""

    cylinders: tuple[int, ...]
    by_mm: tuple[float, ...]
    worst_mm: float


def extension_rows(roll_deg: ArrayLike, cylinders: Cylinders) -> np.ndarray:
    """Rows G of shape (..., N, 2), mm per mm/m: extension = neutral + G @ (right, up).

    `roll_deg` has shape (...), degrees, + clockwise; a NaN roll gives NaN rows.
    """
    angle = np.radians(np.asarray(cylinders.positions_deg, float) + np.asarray(roll_deg, float)[..., None])
    return np.stack((np.sin(angle), np.cos(angle)), axis=-1) * (-cylinders.circle_radius_mm / 1000)


def extensions(
    right_mm_per_m: ArrayLike, up_mm_per_m: ArrayLike, roll_deg: ArrayLike, cylinders: Cylinders
) -> np.ndarray:
    """Extensions, mm, shape (..., N), that make an articulation at a roll.

    Articulation (mm/m, + right, + up) and roll (degrees, + clockwise) broadcast to shape (...). The
    cylinders' range is not looked at: it is a limit of the correction.
    """
    rows = extension_rows(roll_deg, cylinders)
    right = np.asarray(right_mm_per_m, float)[..., None]
    up = np.asarray(up_mm_per_m, float)[..., None]
    return cylinders.neutral_mm + rows[..., 0] * right + rows[..., 1] * up


def articulation(extensions_mm: ArrayLike, roll_deg: ArrayLike, cylinders: Cylinders) -> Articulation:
    """The articulation that fits the extensions read best, by least squares.

    `extensions_mm` has shape (..., N), mm, NaN for a cylinder not read; `roll_deg` has shape (...).
    Cylinders not read are left out as long as the others settle both planes.
    Raises ValueError when the last axis is not one entry a cylinder.
    """
    read = np.asarray(extensions_mm, float)
    count = len(cylinders.positions_deg)
    if read.ndim == 0 or read.shape[-1] != count:
        raise ValueError(f"{count} cylinders, but extensions of shape {read.shape}")
    rows = extension_rows(roll_deg, cylinders)
    opened = read - cylinders.neutral_mm + 0.0 * rows[..., 0]
    known = np.isfinite(opened)
    gain = np.where(known[..., None], rows, 0.0)
    opened = np.where(known, opened, 0.0)
    # Normal equations of two unknowns, solved by Cramer's rule: by Lagrange's identity their
    # determinant is the sum over pairs of r⁴·sin²(angle between the pair), so it says how well
    # both planes are settled.
    g, h = gain[..., 0], gain[..., 1]
    gg, hh, gh = (g * g).sum(-1), (h * h).sum(-1), (g * h).sum(-1)
    go, ho = (g * opened).sum(-1), (h * opened).sum(-1)
    determinant = gg * hh - gh * gh
    least = (cylinders.circle_radius_mm / 1000) ** 4 * math.sin(math.radians(LEAST_SPREAD_DEG)) ** 2
    solvable = determinant >= least * (1 - 1e-9)
    divisor = np.where(solvable, determinant, np.nan)
    right = (hh * go - gh * ho) / divisor
    up = (gg * ho - gh * go) / divisor
    fitted = rows[..., 0] * right[..., None] + rows[..., 1] * up[..., None]
    residual = np.where(known, opened - fitted, np.nan)
    if right.ndim == 0:
        return Articulation(float(right), float(up), residual)
    return Articulation(right, up, residual)


def completed(
    extensions_mm: Sequence[float | None] | np.ndarray,
    roll_deg: float,
    cylinders: Cylinders,
    told_mm: Sequence[float] | None = None,
) -> np.ndarray:
    """Extensions read, shape (N,), mm, with each one not read (None or NaN) filled in.

    Where those read stand as told, within 1 mm, so does the rest; else it lies in the plane of those
    read, and NaN stays where they do not settle both planes.
    """
    read = np.array(extensions_mm, float)
    known = np.isfinite(read)
    if known.all() or not known.any():
        return read
    if told_mm is not None and len(told_mm) == len(read) and np.abs(read - told_mm)[known].max() <= 1.0:
        return np.where(known, read, told_mm)
    fit = articulation(read, roll_deg, cylinders)
    return np.where(known, read, extensions(fit.right_mm_per_m, fit.up_mm_per_m, roll_deg, cylinders))


def misread(
    extensions_mm: ArrayLike,
    roll_deg: float,
    cylinders: Cylinders,
    *,
    sd_mm: float = 1.0,
    last_mm: ArrayLike | None = None,
) -> Misread | None:
    """Whether one reading of the cylinders, shape (N,), holds a cylinder that does not fit the others.

    None when all fit, when fewer than three are read, or when they do not settle both planes. `sd_mm`
    is how well an extension is read; a misfit counts from four of them. `last_mm`, shape (N,), is an
    earlier reading that did fit: it decides between cylinders which the layout cannot tell apart.

    Method: data snooping, each residual against its own share of the redundancy (Baarda, A testing
    procedure for use in geodetic networks, 1968; reference from memory).
    """
    read = np.asarray(extensions_mm, float)
    residual = articulation(read, roll_deg, cylinders).residual_mm
    known = np.flatnonzero(np.isfinite(residual))
    if known.size < 3:
        return None
    rows = extension_rows(roll_deg, cylinders)[known]
    left_over = np.eye(known.size) - rows @ np.linalg.solve(
        rows.T @ rows, rows.T
    )  # residual = left_over @ error
    share = np.diag(left_over)
    off = residual[known]
    worst = float(np.abs(off).max())
    testable = share > 1e-6
    misfit = np.zeros_like(off)
    misfit[testable] = np.abs(off[testable]) / np.sqrt(share[testable])
    limit = 4 * sd_mm
    if misfit.max() <= limit:
        return None
    candidates: list[tuple[int, float]] = []
    for place in np.flatnonzero(misfit > limit):
        error = off[place] / share[place]
        rest = np.abs(off - left_over[:, place] * error) / np.sqrt(np.maximum(share, 1e-6))
        if rest.max() <= limit:
            candidates.append((int(known[place]), float(error)))
    if last_mm is not None and len(candidates) > 1:
        moved = np.abs(read - np.asarray(last_mm, float))
        # With the error taken off, the one that is to blame stands where it stood before.
        still = [np.abs(read[i] - error - np.asarray(last_mm, float)[i]) for i, error in candidates]
        if np.isfinite(still).all() and np.isfinite([moved[i] for i, _ in candidates]).all():
            order = np.argsort(still)
            if still[order[1]] - still[order[0]] > limit:
                candidates = [candidates[order[0]]]
    return Misread(tuple(i + 1 for i, _ in candidates), tuple(error for _, error in candidates), worst)
