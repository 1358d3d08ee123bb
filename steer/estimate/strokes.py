"""The strokes' ends that the log tells of, and the number of the stroke that has ended."""

from __future__ import annotations

from steer.estimate.cells import NEAR_M
from steer.estimate.rulings import counter_lacks

Counter = tuple[tuple[int, float, int], ...]  # as in `rulings.Rulings`


class StrokesEnded:
    """Takes readings and strokes' ends in the log's order; chainages as told, without the counter's corrections."""

    def __init__(self) -> None:
        # sequence, chainage, whether the newest reading is near it
        self._ends: list[tuple[int, float, bool]] = []
        self._read_m: float | None = None

    def reading(self, told_m: float) -> None:
        """A reading."""
        self._read_m = told_m

    def end(self, sequence: int, told_m: float) -> None:
        """A stroke's end, the event `sequence`."""
        near = self._read_m is not None and abs(self._read_m - told_m) < NEAR_M
        self._ends.append((sequence, told_m, near))

    @property
    def count(self) -> int:
        """How many ends were told."""
        return len(self._ends)

    @property
    def last_sequence(self) -> int:
        """The event of the newest end; 0 before the first one."""
        return self._ends[-1][0] if self._ends else 0

    def last_two_m(self, counter: Counter) -> tuple[float | None, float | None]:
        """Where the newest stroke ended and where the one before it, the counter's corrections put on; None for a
        stroke that was not."""
        ends = [told_m + counter_lacks(counter, sequence) for sequence, told_m, _ in self._ends[-2:]]
        newest, before, *_ = [*ends[::-1], None, None]
        return newest, before

    def number(self, counter: Counter, start_m: float, top_m: float, stroke_m: float) -> int:
        """Strokes jacked from `start_m` to the furthest reading `top_m`: one for each end told, and where readings
        without ends lie between, as many as the nominal stroke makes of their length. A stroke may run half a
        stroke over before it counts as two."""
        at_m, at, number = start_m, 0, 0
        for sequence, told_m, near in self._ends:
            number += 1
            if near:  # else the chainage told may be a slip
                end_m = told_m + counter_lacks(counter, sequence)
                number = max(number, at + round((end_m - at_m) / stroke_m))
                at_m, at = end_m, number
        beyond = (top_m - at_m) / stroke_m
        return max(number, at + round(beyond)) if not self._ends or beyond >= 1.5 else number
