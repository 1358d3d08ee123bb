"""The cylinders as they are read, told and judged: what articulation was held, and how they stand now."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from steer.drivefile import MachineSection
from steer.machine.cylinders import Misread, articulation, completed, misread

_AVERAGED = 15  # readings of one setting
SILENT = 0.5  # strokes without a cylinder read after a setting was told: from then on what was told stands


@dataclass(frozen=True)
class Standing:
    """`read_mm` (N,) as read last, averaged, and whether one of them does not fit the others (`wrong`); `mm` (N,) the
    same with that one set right where the others tell which it is. None at the start, where nobody has said."""

    read_mm: np.ndarray | None
    mm: np.ndarray | None
    wrong: Misread | None = None


@dataclass(frozen=True)
class Chosen:
    """Extensions (N,) mm that a person accepted or typed, by the event `sequence`, with the face at `at_m`."""

    sequence: int
    mm: tuple[float, ...]
    at_m: float


class CylinderReadings:
    """Follows the cylinders of one machine. `articulation` (2,) is held now, mm/m; `silent`: they were read once, and
    are no more (a logger that lost their channel), though a setting was told since."""

    def __init__(self, machine: MachineSection, stroke_m: float) -> None:
        self.machine = machine
        self.articulation = np.zeros(2)
        self.read_mm: tuple[float, ...] | None = None  # None: nobody ever read them
        self.fitting_mm: tuple[float, ...] | None = None  # last read that fitted one another
        self.silent = False
        self.chosen: Chosen | None = None  # by a person, while nothing was told since
        self.read_at_m = -math.inf  # where they were read last
        self._silence_m = SILENT * stroke_m
        self._relied = False  # whether readings were ever taken by what was told
        # advised, accepted or overridden: the newest before a cylinder was read, and all since, by their sequence
        self._told_before_mm: tuple[float, ...] | None = None
        self._told: dict[int, tuple[float, ...]] = {}
        self._rough_mm = max(1.0, 0.6 * machine.cylinders.step_mm)  # how well an extension is read
        self._near_mm = max(1.0, machine.cylinders.step_mm)

    @property
    def told_mm(self) -> tuple[float, ...] | None:
        """The setting advised, accepted or overridden last."""
        return next(reversed(self._told.values()), self._told_before_mm)

    @property
    def unread(self) -> bool:
        """Whether nobody reads the cylinders, so that what was told is what stands."""
        return self.read_mm is None or self.silent

    def tell(
        self, sequence: int, cylinder_mm: Sequence[float], roll_deg: float, chosen_at_m: float | None
    ) -> None:
        """A setting was advised, or chosen by a person with the face at `chosen_at_m`, by the event `sequence`."""
        self._told[sequence] = mm = tuple(cylinder_mm)
        self.chosen = None if chosen_at_m is None else Chosen(sequence, mm, chosen_at_m)
        if self.unread:
            self.articulation, self._relied = self._as_told(roll_deg), True

    def take_back(self, sequence: int) -> bool:
        """A setting told is no longer to count. False: readings may have been taken by it, read the log again."""
        if self._relied:
            return False
        self._told.pop(sequence, None)
        if self.chosen is not None and self.chosen.sequence == sequence:
            self.chosen = None
        return True

    def take(self, bodies: list[dict[str, Any]], roll_deg: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """The articulation (n, 2) held at readings, at their rolls and chainages (n,); the last before where they tell
        none, and what was told since where they have told none for `SILENT` strokes."""
        read = self._rows(bodies)
        fit = articulation(read, roll_deg, self.machine.cylinders)
        known = np.isfinite(fit.right_mm_per_m)
        silent = self._silence(known, at_m)
        if known.any():
            newest = np.flatnonzero(known)[-1]
            self.read_mm, self.read_at_m = tuple(read[newest].tolist()), float(at_m[newest])
            self._told_before_mm = self.told_mm
            self._told.clear()
        if self._leave_out(read, fit.residual_mm, float(roll_deg[-1])):
            fit = articulation(read, roll_deg, self.machine.cylinders)
        held = np.stack([fit.right_mm_per_m, fit.up_mm_per_m], -1)
        for i in np.flatnonzero(silent):
            held[i] = self._as_told(float(roll_deg[i]))
        held[:, 0] = carried(held[:, 0], self.articulation[0])
        held[:, 1] = carried(held[:, 1], self.articulation[1])
        self.articulation = held[-1].copy()
        return held

    def _silence(self, known: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """The readings (n,) at which nobody reads the cylinders any more, `known` where somebody does."""
        silent = self.silent | (bool(self._told) & (at_m - self.read_at_m > self._silence_m))
        if self.read_mm is None:
            silent[:] = False
        silent = np.logical_or.accumulate(silent) & ~np.logical_or.accumulate(known)
        self.silent = bool(silent[-1])
        self._relied |= bool(silent.any())
        return silent

    def _as_told(self, roll_deg: float) -> np.ndarray:
        """The articulation (2,) that the setting told last makes at this roll."""
        held = articulation(np.array(self.told_mm, float), roll_deg, self.machine.cylinders)
        return np.array([held.right_mm_per_m, held.up_mm_per_m])

    def fit_one_another(self, bodies: list[dict[str, Any]], roll_deg: float) -> bool:
        """Whether the cylinders do in every reading."""
        fit = articulation(self._rows(bodies), roll_deg, self.machine.cylinders)
        return not self._odd(fit.residual_mm).any()

    def standing(self, recent: list[dict[str, Any]], roll_deg: float) -> Standing:
        """How they stand after the readings `recent`: what was told where nobody reads them."""
        read = self._standing_read(recent, roll_deg)
        wrong = None if read is None else self._misfit(read, roll_deg)
        if read is None or wrong is None or len(wrong.cylinders) != 1:
            return Standing(read, read, wrong)
        step = self.machine.cylinders.step_mm
        right = read.copy()
        right[wrong.cylinders[0] - 1] -= np.round(wrong.by_mm[0] / step) * step
        return Standing(read, right, wrong)

    def _standing_read(self, recent: list[dict[str, Any]], roll_deg: float) -> np.ndarray | None:
        """The last cylinder readings averaged (N,) mm, on whole steps where they agree with one; a cylinder not
        read stands as told or in the plane of the others. A lone last row that is `_unlikely` waits for a second."""
        if self.read_mm is None or self.silent:
            return None if self.told_mm is None else np.array(self.told_mm)
        cyl = self.machine.cylinders
        runs: list[list[np.ndarray]] = []  # of rows that agree, the newest first
        for body in reversed(recent):
            if body.get("cylinder_mm") is None:
                continue
            read = completed(self._rows([body])[0], roll_deg, cyl, self.told_mm)
            if np.isnan(read).any():
                continue
            if not runs or np.abs(read - runs[-1][0]).max() > self._near_mm:
                runs.append([])
            runs[-1].append(read)
            if len(runs) > 2 or len(runs[-1]) == _AVERAGED:
                break
        if not runs:
            runs = [[completed(self.read_mm, roll_deg, cyl, self.told_mm)]]
        lone = len(runs[0]) == 1 and len(runs) > 1 and len(runs[1]) > 2
        waits = lone and self._unlikely(runs[0][0], runs[1][0], roll_deg)
        mean = np.array(runs[1] if waits else runs[0]).mean(0)
        whole = np.round(mean / cyl.step_mm) * cyl.step_mm
        return whole if np.abs(mean - whole).max() < 0.4 * cyl.step_mm else mean

    def _unlikely(self, read_mm: np.ndarray, before_mm: np.ndarray, roll_deg: float) -> bool:
        """Whether a row read once (N,) is not what was told, and either no stroke may come to it from the rows
        before or it fits no plane."""
        m = self.machine
        if self.told_mm is not None and np.abs(read_mm - self.told_mm).max() <= self._near_mm:
            return False
        now, before = (articulation(mm, roll_deg, m.cylinders) for mm in (read_mm, before_mm))
        right, up = now.right_mm_per_m - before.right_mm_per_m, now.up_mm_per_m - before.up_mm_per_m
        return max(abs(right), abs(up)) > m.max_change_mm_per_m or self._misfit(read_mm, roll_deg) is not None

    def _misfit(self, read_mm: np.ndarray, roll_deg: float) -> Misread | None:
        """Whether one of the cylinders read (N,) does not fit the others."""
        before = self.told_mm if self.told_mm is not None else self.fitting_mm
        last = None if before is None or len(before) != len(read_mm) else np.array(before, float)
        return misread(read_mm, roll_deg, self.machine.cylinders, sd_mm=self._rough_mm, last_mm=last)

    def _rows(self, bodies: list[dict[str, Any]]) -> np.ndarray:
        """Extensions as read (n, N), NaN where not. Several in a row that no cylinder of the machine can have, not even
        one read from the wrong end, are a logger's way to say nothing; a single one is judged by the others. So is 0 in
        all of them on a machine that is straight far from there."""
        nothing = [math.nan] * len(self.machine.cylinders.positions_deg)
        rows = [nothing if (c := b.get("cylinder_mm")) is None else c for b in bodies]
        read = np.array(rows, float).reshape(len(bodies), len(nothing))
        short, long = self.machine.cylinders.range_mm
        absurd = np.abs(read - 0.5 * (short + long)) > 1.5 * (long - short)
        if abs(self.machine.cylinders.neutral_mm) > 0.25 * (long - short):
            absurd |= (read == 0.0).all(1)[:, None]
        read[absurd & (absurd.sum(1) > 1)[:, None]] = np.nan
        return read

    def _leave_out(self, read: np.ndarray, residual_mm: np.ndarray, roll_deg: float) -> bool:
        """Blank (NaN) in `read` (n, N) the cylinder that does not fit the others; True when there was one.

        Readings of one setting are judged together, by their mean."""
        odd = self._odd(residual_mm)
        if not odd.any():
            whole = np.flatnonzero(np.isfinite(read).all(1))
            if len(whole):
                self.fitting_mm = tuple(read[whole[-1]].tolist())
            return False
        blank = np.isnan(read)
        step = np.abs(np.diff(np.where(blank, 0.0, read), axis=0)).max(1) > 2.0
        anew = step | (np.diff(odd) != 0) | (blank[1:] != blank[:-1]).any(1)
        edges = [0, *(np.flatnonzero(anew) + 1).tolist(), len(read)]
        found = False
        for begin, end in pairwise(edges):
            mean = read[begin:end].mean(0)
            wrong = self._misfit(mean, roll_deg) if odd[begin] else None
            if wrong is not None and len(wrong.cylinders) == 1:
                read[begin:end, wrong.cylinders[0] - 1] = np.nan
                found = True
            elif not odd[begin] and np.isfinite(mean).all():
                self.fitting_mm = tuple(read[end - 1].tolist())
        return found

    def _odd(self, residual_mm: np.ndarray) -> np.ndarray:
        """Rows (n,) of cylinders that do not fit one another, from what is left over (n, N)."""
        off = np.abs(np.where(np.isfinite(residual_mm), residual_mm, 0.0)).max(1)
        return np.asarray(off > self._rough_mm)


def carried(values: np.ndarray, first: float) -> np.ndarray:
    """Values (n,) with the one before for each that is missing (NaN), `first` where there is none."""
    known = np.isfinite(values)
    if known.all():
        return values
    index = np.where(known, np.arange(len(values)), -1)
    np.maximum.accumulate(index, out=index)
    return np.where(index >= 0, values[np.maximum(index, 0)], first)
