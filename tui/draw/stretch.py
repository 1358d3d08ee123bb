"""The stretch of chainage that the strips show, what is foreseen on it, and the scale under them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tui.draw.scene import Scene, blocked, own_setting
from tui.draw.spans import Row, cells, fit

if TYPE_CHECKING:
    from steer.advice import ForecastPoint


MARGIN = 20  # words at the left
LABELS = 21  # words at the right: "without 123 mm right" and a blank
NARROW_MARGIN = 18  # words at the left where a terminal has less than 80 columns


@dataclass(frozen=True)
class Reach:
    """The stretch of chainage that the strips show, and how many columns they have."""

    from_m: float
    to_m: float
    columns: int
    margin: int
    labels: int

    def edges(self) -> np.ndarray:
        """Chainages of the column borders, shape (columns + 1,)."""
        return np.linspace(self.from_m, self.to_m, self.columns + 1)

    def shows(self, point: ForecastPoint) -> bool:
        """Whether a point ahead lies on the stretch."""
        return point.chainage_m <= self.to_m + 1e-6

    def column(self, chainage_m: float) -> int | None:
        """Column of a chainage, None when it is off the strip."""
        if not self.from_m <= chainage_m <= self.to_m or self.to_m <= self.from_m:
            return None
        share = (chainage_m - self.from_m) / (self.to_m - self.from_m)
        return min(self.columns - 1, int(share * self.columns))


def reach(scene: Scene, size: int) -> Reach:
    """What to show at a width of `size` cells: labels go first when it is narrow, then the margin's hints."""
    wide = size >= 80
    margin = MARGIN if wide else NARROW_MARGIN if size >= 60 else 14 if size >= 40 else 0
    labels = LABELS if size >= 72 else 0
    columns = max(1, size - margin - labels)
    snapshot = scene.snapshot
    if snapshot is None:
        return Reach(0.0, 1.0, columns, margin, labels)
    start, end = snapshot.start_chainage_m, snapshot.end_chainage_m
    if scene.window_m is None or snapshot.advice is None:
        stretch = end - start if scene.window_m is None else min(end - start, scene.window_m)
        return Reach(start, start + max(stretch, 1.0), columns, margin, labels)
    face = snapshot.advice.chainage_m
    # The stretch moves on in steps, so that most readings change a few cells only.
    step = scene.window_m / 8.0
    from_m = start + math.floor((face - 0.55 * scene.window_m - start) / step) * step
    far = max((p.chainage_m for p in snapshot.advice.forecast), default=face)
    if far <= face + 0.45 * scene.window_m:
        # with all that is foreseen: the figures at its end are then those of `steer next` and of the reason
        from_m = max(from_m, start + math.ceil((far - scene.window_m - start) / step - 1e-9) * step)
    from_m = max(start, min(from_m, end - scene.window_m))
    return Reach(from_m, from_m + scene.window_m, columns, margin, labels)


def foreseen(scene: Scene) -> tuple[list[ForecastPoint], list[ForecastPoint]]:
    """What is foreseen with the proposal, or with the crew's own setting in its place, and without: the cylinders left
    as they stand."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None or blocked(scene) is not None:
        return [], []
    advice = snapshot.advice
    if own_setting(scene):
        own = snapshot.extra.get("own_forecast")
        return (list(own), list(advice.forecast_unchanged)) if isinstance(own, tuple) and own else ([], [])
    return list(advice.forecast), [] if advice.correction.hold else list(advice.forecast_unchanged)


def place(scene: Scene, where: Reach) -> Row:
    """The chainage that the figures at the strips' ends are for; it is another when the stretch is."""
    ahead = [p.chainage_m for points in foreseen(scene) for p in points if where.shows(p)]
    if not ahead:
        known = own_setting(scene) and blocked(scene) is None
        return ((" no forecast with it"[: where.labels], "quiet"),) if known else ()
    texts = [f" {what}at {max(ahead):.1f} m" for what in ("forecast ", "ahead ", "")]
    # at the right, apart from the last chainage of the scale
    return ((next((t for t in texts if cells(t) <= where.labels), "").rjust(where.labels), "quiet"),)


def scale_row(scene: Scene, where: Reach) -> Row:
    """Chainages under the strips, with the face named."""
    snapshot = scene.snapshot
    line = [" "] * where.columns
    step = next(
        (s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500) if (where.to_m - where.from_m) / s <= 6), 1000
    )
    face = snapshot.advice.chainage_m if snapshot and snapshot.advice else None
    marks: list[tuple[float, str]] = []
    if face is not None:
        marks.append((face, f"face {face:.2f}"))
    if snapshot is not None:
        marks.append((snapshot.end_chainage_m, "shaft"))
    first = int(np.ceil(where.from_m / step))
    marks += [(m * step, f"{m * step} m") for m in range(first, int(where.to_m // step) + 1)]
    for chainage, text in marks:
        column = where.column(chainage)
        if column is None:
            continue
        left = min(max(0, column - len(text) // 2), max(0, where.columns - len(text)))
        if left + len(text) > where.columns:
            continue
        room = line[max(0, left - 1) : left + len(text) + 1]
        if all(c == " " for c in room):
            line[left : left + len(text)] = list(text)
    head = "chainage" if where.margin else ""
    return (
        *fit(((head, "quiet"),), where.margin),
        ("".join(line), "quiet"),
        *fit(place(scene, where), where.labels),
    )
