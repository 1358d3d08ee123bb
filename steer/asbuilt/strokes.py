"""The steering record: for every stroke what was proposed, decided, set and answered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from steer.drivefile import DriveFile
from steer.machine.cylinders import articulation

_NEAR_M = 0.05
Pair = tuple[float, float]  # right, up; mm/m


@dataclass(frozen=True)
class StrokeRow:
    """One stroke. `proposed` and `decided` are None where the log holds none, `set_to` where the cylinders
    were not read. `answered` is by how much the nose turned over the stroke, the design curve's own turn
    included; `gain` the learned response against rigid guidance (line, level), with its sd."""

    number: int
    from_m: float
    to_m: float
    proposed: Pair | None
    hold: bool
    decision: str  # "accepted", "overridden", "none recorded"
    decided: Pair | None
    set_to: Pair | None
    answered: Pair
    gain: Pair
    gain_sd: Pair


def stroke_rows(
    file: DriveFile,
    events: Iterable[Any],
    path_m: np.ndarray,
    heading_mm_per_m: np.ndarray,
    gain_per_m: np.ndarray,
    gain_sd_per_m: np.ndarray,
) -> tuple[StrokeRow, ...]:
    """Rows of the strokes along the smoothed path: arrays (n,) and (n, 2) over ascending chainage.

    Strokes end where `stroke_end` events say, or, in a log without them, every nominal stroke.
    """
    told = _Told(file)
    for event in events:
        told.take(event)
    edges = told.edges(float(path_m[0]), float(path_m[-1]))
    starts = edges[:-1]
    proposed = _at_starts(told.proposals, starts)
    decided = _at_starts([d for d in told.decisions if d[0] not in told.undone], starts)
    set_to = told.settings(edges)
    point = file.axis.at(edges)
    design = np.column_stack([1000.0 * np.asarray(point.bearing_rad), np.asarray(point.grade_mm_per_m)])
    heading = np.column_stack([np.interp(edges, path_m, heading_mm_per_m[:, k]) for k in (0, 1)]) + design
    turned = np.diff(heading, axis=0)
    # rigid guides would make the circle R = (front + rear)/(2·articulation)
    rigid = 2.0 / file.machine.length_m
    gain, gain_sd = (
        np.column_stack([np.interp(edges[1:], path_m, values[:, k]) for k in (0, 1)]) / rigid
        for values in (gain_per_m, gain_sd_per_m)
    )
    rows = []
    for i in range(len(starts)):
        offer, choice = proposed.get(i), decided.get(i)
        rows.append(
            StrokeRow(
                i + 1, float(edges[i]), float(edges[i + 1]),
                None if offer is None else (offer[2], offer[3]),
                bool(offer and offer[4]),
                "none recorded" if choice is None else str(choice[4]),
                None if choice is None else (choice[2], choice[3]),
                set_to[i],
                _pair(turned[i]), _pair(gain[i]), _pair(gain_sd[i]),
            )
        )  # fmt: skip
    return tuple(rows)


def _pair(row: np.ndarray) -> Pair:
    return float(row[0]), float(row[1])


Told = tuple[int, float, float, float, Any]  # sequence, chainage, right, up, hold or kind


def _at_starts(found: list[Told], starts: np.ndarray) -> dict[int, Told]:
    """The last of them at each stroke's start."""
    by_start: dict[int, Told] = {}
    for one in found:
        if len(starts):
            by_start[int(np.argmin(np.abs(starts - one[1])))] = one
    return by_start


class _Told:
    """What the log says about steering, gathered in one pass."""

    def __init__(self, file: DriveFile) -> None:
        self.file = file
        self.ends: list[float] = []
        self.proposals: list[Told] = []
        self.decisions: list[Told] = []
        self.undone: set[int] = set()
        self.read: list[tuple[float, ...]] = []
        self.count = len(file.machine.cylinders.positions_deg)
        self.roll = 0.0

    def take(self, event: Any) -> None:
        body, kind = event.body, event.kind
        if kind == "reading":
            if body.get("roll_deg") is not None:
                self.roll = body["roll_deg"]
            extensions = body.get("cylinder_mm")
            if extensions is not None:
                known = [np.nan if v is None else v for v in extensions]
                self.read.append((body["chainage_m"], self.roll, *known))
        elif kind == "stroke_end":
            self.ends.append(float(body["chainage_m"]))
        elif kind in ("advised", "accepted", "overridden"):
            what = bool(body.get("hold")) if kind == "advised" else kind
            told = (
                event.sequence, float(body["chainage_m"]), float(body["right_mm_per_m"]),
                float(body["up_mm_per_m"]), what,
            )  # fmt: skip
            (self.proposals if kind == "advised" else self.decisions).append(told)
        elif kind == "undone":
            self.undone.add(int(body["event"]))

    def edges(self, first_m: float, last_m: float) -> np.ndarray:
        """Chainages (m + 1,) between which the strokes lie."""
        ends = sorted(e for e in self.ends if first_m + _NEAR_M < e < last_m - _NEAR_M)
        if not self.ends:
            stroke = self.file.drive.stroke_m
            ends = np.arange(first_m + stroke, last_m - _NEAR_M, stroke).tolist()
        kept = [first_m]
        for end in ends:
            if end - kept[-1] > _NEAR_M:
                kept.append(end)
        if last_m - kept[-1] > 0.0:
            kept.append(last_m)
        return np.array(kept)

    def settings(self, edges: np.ndarray) -> list[Pair | None]:
        """The articulation read in each stroke: the median over its new ground, its first fifth left out."""
        if not self.read:
            return [None] * (len(edges) - 1)
        table = np.array(self.read, float)
        top = np.maximum.accumulate(table[:, 0])
        bent = articulation(table[:, 2:], table[:, 1], self.file.machine.cylinders)
        both = np.column_stack([bent.right_mm_per_m, bent.up_mm_per_m])
        found: list[Pair | None] = []
        for begin, end in pairwise(edges.tolist()):
            mine = (top > begin + 0.2 * (end - begin)) & (top <= end + 1e-6) & np.isfinite(both).all(1)
            found.append(_pair(np.median(both[mine], axis=0)) if mine.any() else None)
        return found
