"""The tolerance along a strip: the drive's own, and the stretches where another one counts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steer.advice import Snapshot


def limit_mm(snapshot: Snapshot, plane: str, from_m: float, to_m: float | None = None) -> float:
    """The tightest tolerance of a plane that counts anywhere between two chainages (mm)."""
    to_m = from_m if to_m is None else to_m
    apart = [
        part.line_mm if plane == "line" else part.level_mm
        for part in snapshot.tolerance_stretches
        if part.from_m <= to_m + 1e-9 and part.to_m >= from_m - 1e-9
    ]
    own = snapshot.tolerance_line_mm if plane == "line" else snapshot.tolerance_level_mm
    return min(apart) if apart else own


def runs(limits: Sequence[float]) -> Iterator[tuple[int, int, float]]:
    """Neighbouring columns of one limit: first column, the one after the last, the limit."""
    first = 0
    for x in range(1, len(limits) + 1):
        if x == len(limits) or limits[x] != limits[first]:
            yield first, x, limits[first]
            first = x
