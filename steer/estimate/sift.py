"""Which readings of a cell count, and whether a channel has jumped.

One wild reading is left out and counted. Readings that agree with each other and not with the estimate,
in two cells in a row, are news and not noise: they are taken in as a jump.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.estimate.cells import Cell
from steer.estimate.tuning import GATE

JUMP = 5.0  # standard deviations of a cell's middle beyond which it has jumped


@dataclass(frozen=True)
class Sifted:
    """Channels as in `Cell.values`: `use` (n, 4) readings that count, `offered` (4,) how many there were,
    `shifted` (4,) common residual of a channel that lies elsewhere (NaN: it does not), `moved` (4,) whether
    the cell before said the same."""

    use: np.ndarray
    offered: np.ndarray
    shifted: np.ndarray
    moved: np.ndarray


def sift(
    cell: Cell, residual: np.ndarray, spread: np.ndarray, sd: np.ndarray, earlier: np.ndarray, settled: bool
) -> Sifted:
    """Sift a cell: `residual` (n, 4) of its readings, `spread` (4,) the prediction's variance, `sd` (4,) of one
    reading, `earlier` (4,) what the cell before shifted by, `settled` whether no steering is fresh."""
    has = np.isfinite(residual)
    gate = GATE * np.sqrt(spread + sd * sd)
    use = has & (np.abs(np.where(has, residual, np.inf)) <= gate)
    offered = has.sum(0)
    shifted = np.full(4, np.nan)
    for channel in np.flatnonzero((use.sum(0) < 0.5 * offered) & (offered > 0)):
        out = residual[has[:, channel] & ~use[:, channel], channel]
        middle = float(np.median(out))
        if np.median(np.abs(out - middle)) < 2.5 * sd[channel]:
            shifted[channel] = middle
    if settled:
        # A jump near the gate leaves some readings inside it: what counts is where their middle lies.
        # Just after steering a wrong answer can look like one, so it is not judged there.
        jump = JUMP * np.sqrt(spread + cell.repeats_factor(has) * sd * sd)
        furthest = np.abs(np.where(has, residual, 0.0)).max(0)  # no middle lies beyond it
        for channel in np.flatnonzero((offered[:2] >= 3) & (furthest[:2] > jump[:2])):
            middle = float(np.median(residual[has[:, channel], channel]))
            if abs(middle) > jump[channel]:
                shifted[channel] = middle
                use[:, channel] = False
    moved = np.isfinite(shifted) & np.isfinite(earlier) & (np.abs(shifted - earlier) < 6 * sd)
    for channel in np.flatnonzero(moved):
        use[:, channel] = has[:, channel] & (
            np.abs(residual[:, channel] - shifted[channel]) <= GATE * sd[channel]
        )
    return Sifted(use, offered, shifted, moved)
