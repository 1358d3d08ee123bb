"""One strip along the chainage: driven path with its uncertainty, tolerance, and the two forecasts.

Line is seen from above (right is up on the strip), level from the side (high is up). A cell holds
two pixels, one above the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from steer.text import BAND
from tui.draw import words
from tui.draw.limits import limit_mm, runs
from tui.draw.scene import Scene, blocked, out_of_date, own_setting
from tui.draw.spans import Row, cells, fit

if TYPE_CHECKING:
    from steer.advice import ForecastPoint, Snapshot


MARGIN = 20  # words at the left
LABELS = 21  # words at the right: "without 123 mm right" and a blank
NARROW_MARGIN = 18  # words at the left where a terminal has less than 80 columns
LIMIT_ROWS = 3  # in fewer, every row would be a limit's: whatever was driven would stand in one
_SAMPLES = 4  # points of the path looked at in each column


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
    margin = MARGIN if wide else NARROW_MARGIN if size >= 60 else 13 if size >= 40 else 0
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
    from_m = max(start, min(from_m, end - scene.window_m))
    return Reach(from_m, from_m + scene.window_m, columns, margin, labels)


def draw(scene: Scene, plane: str, where: Reach, height: int, place: bool = False) -> list[Row]:
    """The strip of a plane ("line" or "level") in `height` rows; with the `place` that the figures at its end are for,
    where no row of chainages says it."""
    plot = _Cells(scene, plane, where, height)
    if place:
        free = [y for y in range(height) if not plot.label(y)]
        plot.labels |= dict.fromkeys(free[-1:], _place(scene, where))
    margin = _margin(scene, plane, height, where.margin, plot)
    rows = []
    for y in range(height):
        row: Row = (*fit(margin[y], where.margin - 1), (scene.glyphs.side, "axis")) if where.margin else ()
        rows.append(row + plot.row(y) + fit(plot.label(y), where.labels))
    return rows


def _foreseen(scene: Scene) -> tuple[list[ForecastPoint], list[ForecastPoint]]:
    """What is foreseen with the proposal, and without: the cylinders left alone."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None or blocked(scene) is not None:
        return [], []
    advice = snapshot.advice
    if own_setting(scene):
        return [], list(advice.forecast_unchanged)
    return list(advice.forecast), [] if advice.correction.hold else list(advice.forecast_unchanged)


def _place(scene: Scene, where: Reach) -> Row:
    """The chainage that the figures at the strips' ends are for; it is another when the stretch is."""
    ahead = [p.chainage_m for points in _foreseen(scene) for p in points if where.shows(p)]
    if not ahead:
        return ()
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
        *fit(_place(scene, where), where.labels),
    )


def _margin(scene: Scene, plane: str, height: int, size: int, plot: _Cells) -> list[Row]:
    snapshot, glyphs = scene.snapshot, scene.glyphs
    seen = "from above" if plane == "line" else "from side"
    if height < LIMIT_ROWS:
        seen = f"edges {plot.half_mm:.0f} mm"
    title: Row = ((plane.upper(), "strong"), (f" {seen}", "quiet"))
    texts: list[Row] = [title]
    if snapshot is not None and snapshot.advice is not None:
        estimate = snapshot.advice.estimate
        value = estimate.line_mm if plane == "line" else estimate.level_mm
        sd = estimate.line_sd_mm if plane == "line" else estimate.level_sd_mm
        nose = estimate.yaw_mm_per_m if plane == "line" else estimate.pitch_mm_per_m
        nose_sd = estimate.yaw_sd_mm_per_m if plane == "line" else estimate.pitch_sd_mm_per_m
        limit = limit_mm(snapshot, plane, snapshot.advice.chainage_m)
        if out_of_date(scene):
            # What is not known now is told as what it was.
            texts.append(((f"was {words.offset(plane, value)}", "quiet"),))
        else:
            outside = abs(value) > limit
            said, mark, band = words.known(plane, value, sd, glyphs.plus_minus).partition(
                f" {glyphs.plus_minus}"
            )
            texts.append(((said, "alarm" if outside else "strong"), (mark + band, "")))
            if outside:
                texts.append((("OUTSIDE THE LIMIT", "alarm"),))
            texts.append(((words.heading(plane, nose, nose_sd, size - 1), ""),))
        if not plot.limit_seen:
            texts.append(((f"limit {limit:.0f} mm", "quiet"),))
    texts = texts[:height]
    return texts + [()] * (height - len(texts))


class _Cells:
    """The plot itself, row by row."""

    def __init__(self, scene: Scene, plane: str, where: Reach, height: int) -> None:
        self.glyphs = scene.glyphs
        self.where = where
        self.height = height
        self.plane = plane
        self.pixels = 2 * height
        columns = where.columns
        self.ink = np.zeros((self.pixels, columns), dtype=np.uint8)  # 1 path, 2 with, 3 without
        self.band = np.zeros((self.pixels, columns), dtype=bool)
        self.marks: dict[tuple[int, int], tuple[str, str]] = {}
        self.labels: dict[int, Row] = {}
        self.limit_seen = False
        self.limit_names: list[tuple[int, int, int, tuple[str, ...]]] = []
        snapshot = scene.snapshot
        if snapshot is None:
            self.half_mm = 1.0
            return
        advice = snapshot.advice
        path, sd = self._path(snapshot)
        forecast, alone = _foreseen(scene)
        edges = where.edges()
        limits = [limit_mm(snapshot, plane, a, b) for a, b in pairwise(edges)]
        self.half_mm = self._half_range(scene.close, max(limits), path, sd, forecast, alone)
        if height >= LIMIT_ROWS:
            self._draw_limits(limits)
        driven_to = float(snapshot.path.chainage_m[-1]) if len(path) else snapshot.start_chainage_m
        face = advice.chainage_m if advice is not None else driven_to
        self._draw_path(snapshot.path.chainage_m, path, sd, face)
        hold = advice is not None and advice.correction.hold
        start = float(path[-1]) if len(path) else 0.0
        self._draw_ahead(face, start, alone, 3)
        self._draw_ahead(face, start, forecast, 2)
        self._draw_shots(snapshot)
        end = where.column(snapshot.end_chainage_m)
        if end is not None and snapshot.end_chainage_m < where.to_m + 1e-6:
            for y in range(height):
                self.marks.setdefault((y, end), (self.glyphs.wall, "limit"))
        self._label_ends(forecast, alone, hold)
        self._name_limits()

    def _path(self, snapshot: Snapshot) -> tuple[np.ndarray, np.ndarray]:
        if self.plane == "line":
            return snapshot.path.line_mm, snapshot.path.line_sd_mm
        return snapshot.path.level_mm, snapshot.path.level_sd_mm

    def _value(self, point: ForecastPoint) -> tuple[float, float]:
        if self.plane == "line":
            return point.line_mm, point.line_sd_mm
        return point.level_mm, point.level_sd_mm

    def _half_range(
        self,
        close: bool,
        limit: float,
        path: np.ndarray,
        sd: np.ndarray,
        ahead: list[ForecastPoint],
        alone: list[ForecastPoint],
    ) -> float:
        """Offset at the strip's edge: the tolerance and a little more, or the path's own size.

        What would come without the correction (`alone`) may run off the strip: it must not press the path
        and the limits into one row.
        """
        biggest = float(np.nanmax(np.abs(path) + BAND * sd)) if len(path) else 0.0
        apart = max(biggest, limit * self.height / 3.0)  # each limit a row and a half from the axis
        for points, most in ((ahead, np.inf), (alone, apart)):
            for point in points:
                if self.where.from_m <= point.chainage_m <= self.where.to_m:
                    biggest = max(biggest, min(most, abs(self._value(point)[0])))
        if not np.isfinite(biggest):
            biggest = limit
        if close:
            nice = (5, 10, 15, 20, 30, 40, 50, 75, 100, 150, 200, 300, 500, 1000)
            return float(next((n for n in nice if n >= biggest), biggest))
        # The limits run through the middle of the outermost rows.
        fitting = limit * self.height / (self.height - 1) if self.height >= LIMIT_ROWS else limit
        return fitting if biggest <= fitting else biggest * 1.05

    def _pixel(self, value_mm: float) -> int:
        share = (self.half_mm - value_mm) / (2.0 * self.half_mm)
        return min(self.pixels - 1, max(0, int(share * self.pixels)))

    def _draw_limits(self, limits: list[float]) -> None:
        high, low = words.SIDES[self.plane]
        for first, end, limit in runs(limits):
            for value, name in ((limit, high), (-limit, low)):
                if abs(value) > self.half_mm:
                    continue
                self.limit_seen = True
                y = self._pixel(value * (1 - 1e-9)) // 2
                for x in range(first, end):
                    self.marks[(y, x)] = (self.glyphs.limit, "limit")
                texts = (
                    f" limit {limit:.0f} mm {name} ",
                    f" limit {limit:.0f} {name} ",
                    f" {limit:.0f} {name} ",
                )
                self.limit_names.append((y, first, end, texts))

    def _name_limits(self) -> None:
        """Writes each limit's value into its rule, where nothing else is drawn; shorter where room is short."""
        for y, first, end, texts in self.limit_names:
            busy = (self.ink[2 * y] + self.ink[2 * y + 1] > 0) | np.array(
                [self.marks.get((y, x), ("", ""))[0] != self.glyphs.limit for x in range(self.where.columns)]
            )
            for text in texts:
                columns = range(first + 1, end - len(text))
                left = next((x for x in columns if not busy[x - 1 : x + len(text) + 1].any()), None)
                if left is not None:
                    for n, character in enumerate(text):
                        self.marks[(y, left + n)] = (character, "limit")
                    break

    def _draw_path(self, chainage: np.ndarray, path: np.ndarray, sd: np.ndarray, face: float) -> None:
        if len(path) == 0:
            return
        edges = self.where.edges()
        share = np.linspace(0.0, 1.0, _SAMPLES)
        for x in range(self.where.columns):
            samples = edges[x] + share * (edges[x + 1] - edges[x])
            samples = samples[(samples <= face + 1e-9) & (samples >= chainage[0] - 1e-9)]
            if len(samples) == 0:
                continue
            values = np.interp(samples, chainage, path)
            spreads = BAND * np.interp(samples, chainage, sd)
            if not np.all(np.isfinite(values)):
                continue
            top, bottom = self._pixel(float(values.max())), self._pixel(float(values.min()))
            self.ink[top : bottom + 1, x] = 1
            if np.all(np.isfinite(spreads)):
                self._shade(x, float((values - spreads).min()), float((values + spreads).max()))

    def _draw_ahead(self, face: float, start: float, points: list[ForecastPoint], ink: int) -> None:
        if not points:
            return
        chainage = np.array([face, *(p.chainage_m for p in points)])
        values = np.array([start, *(self._value(p)[0] for p in points)])
        spreads = np.array([0.0, *(BAND * self._value(p)[1] for p in points)])
        spreads[0] = spreads[1]
        edges = self.where.edges()
        for x in range(self.where.columns):
            middle = 0.5 * (edges[x] + edges[x + 1])
            if not face < middle <= chainage[-1]:
                continue
            value = float(np.interp(middle, chainage, values))
            if ink == 2:
                spread = float(np.interp(middle, chainage, spreads))
                self._shade(x, value - spread, value + spread)
                y = self._pixel(value)
                # Where both run together, the dashes alone are drawn.
                self.ink[max(0, y - 1) : y + 2, x][self.ink[max(0, y - 1) : y + 2, x] == 3] = 0
                if x % 3 == 2:
                    continue
            if ink == 3 and abs(value) > self.half_mm:
                # Off the strip from here on; the label says how far.
                edge = 0 if value > 0 else self.height - 1
                self.marks[(edge, x)] = ("^" if value > 0 else "v", "without")
                break
            if np.isfinite(value):
                self.ink[self._pixel(value), x] = ink

    def _shade(self, x: int, low_mm: float, high_mm: float) -> None:
        self.band[self._pixel(high_mm) : self._pixel(low_mm) + 1, x] = True

    def _draw_shots(self, snapshot: Snapshot) -> None:
        for shot in snapshot.shots:
            column = self.where.column(shot.chainage_m)
            if column is None or shot.point not in ("face", "pipe") or shot.verdict == "withdrawn":
                continue
            value = shot.line_mm if self.plane == "line" else shot.level_mm
            if np.isfinite(value):
                y = self._pixel(value)
                self.ink[2 * (y // 2) : 2 * (y // 2) + 2, column] = 0
                self.marks[(y // 2, column)] = (self.glyphs.shot, "shot")

    def _label_ends(self, points: list[ForecastPoint], alone: list[ForecastPoint], hold: bool) -> None:
        taken: set[int] = set()
        for name, role, ahead in (
            ("hold" if hold else "with", "with", points),
            ("without", "without", alone),
        ):
            shown = [p for p in ahead if self.where.shows(p)]
            if not shown:
                continue
            value = self._value(shown[-1])[0]
            y = self._pixel(value) // 2
            choices = sorted(range(self.height), key=lambda row: (abs(row - y), row))
            row = next((r for r in choices if r not in taken), y)
            taken.add(row)
            text = f" {name} {words.offset(self.plane, value)}"
            if cells(text) > self.where.labels:
                text = f" {name} {abs(value) / 1000.0:.1f} m {words.side(self.plane, value)}"
            self.labels[row] = ((text, role),)

    def label(self, y: int) -> Row:
        """Words at the right end of row `y`."""
        return self.labels.get(y, ())

    def row(self, y: int) -> Row:
        """The plot's row `y`, equal neighbours in one span."""
        spans: list[tuple[str, str]] = []
        for x in range(self.where.columns):
            text, role = self._cell(y, x)
            if spans and spans[-1][1] == role:
                spans[-1] = (spans[-1][0] + text, role)
            else:
                spans.append((text, role))
        return tuple(spans)

    def _cell(self, y: int, x: int) -> tuple[str, str]:
        glyphs = self.glyphs
        upper, lower = int(self.ink[2 * y, x]), int(self.ink[2 * y + 1, x])
        shaded = bool(self.band[2 * y, x] and self.band[2 * y + 1, x])
        for ink, role in ((1, "path"), (2, "with")):
            if ink in (upper, lower):
                if upper == lower:
                    return glyphs.both, role
                return (glyphs.upper if upper == ink else glyphs.lower), role + " in band" * shaded
        if 3 in (upper, lower):
            return glyphs.ahead[0 if upper == 3 else 1], "without" + " in band" * shaded
        mark = self.marks.get((y, x))
        if mark is not None:
            return mark
        if shaded:
            return glyphs.band, "band"
        if y == self.height // 2 and x % 2 == 0:
            return glyphs.axis, "axis"
        return " ", ""
