"""What a strip draws, row by row: path with its uncertainty, limits, forecasts, shots. A cell holds two pixels, one
above the other.
"""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np

from steer.text import BAND, loose, within
from tui.draw import words
from tui.draw.limits import limit_mm, runs
from tui.draw.scene import Scene, own_setting
from tui.draw.spans import Row, cells
from tui.draw.stretch import Reach, foreseen

if TYPE_CHECKING:
    from steer.advice import ForecastPoint, Snapshot


SHOT_MARKS = {"waiting": "?", "rejected": "x"}  # of a shot that does not count
AHEAD_MARK = ">"  # of one that no word brings in: the face has not come there yet
_SEEN_LAST = {"rejected": 0, "waiting": 1}  # where several share a cell
LIMIT_ROWS = 3  # in fewer, every row would be a limit's: whatever was driven would stand in one
_SAMPLES = 4  # points of the path looked at in each column


class Plot:
    """One plane over a stretch in `height` rows."""

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
        self.off: tuple[int, bool] | None = (
            None  # column where the curve without runs off, and whether upwards
        )
        self.limit_seen = False
        self.limit_names: list[tuple[int, int, int, tuple[str, ...]]] = []
        snapshot = scene.snapshot
        if snapshot is None:
            self.half_mm = 1.0
            return
        advice = snapshot.advice
        path, sd = self._path(snapshot)
        forecast, alone = foreseen(scene)
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
        self._mark_off()
        self._draw_shots(snapshot)
        end = where.column(snapshot.end_chainage_m)
        if end is not None and snapshot.end_chainage_m < where.to_m + 1e-6:
            for y in range(height):
                self.marks.setdefault((y, end), (self.glyphs.wall, "limit"))
        # what is foreseen with a hold counts the corrections to come
        name = "own" if own_setting(scene) else "steered" if hold else "with"
        self._label_ends(forecast, alone, name)
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
        edges = np.asarray(self.where.edges())
        samples = edges[:-1, None] + np.linspace(0.0, 1.0, _SAMPLES) * np.diff(edges)[:, None]
        there = (samples <= face + 1e-9) & (samples >= chainage[0] - 1e-9)
        values = np.interp(samples, chainage, path)
        spreads = BAND * np.interp(samples, chainage, sd)
        known = there.any(1) & (np.isfinite(values) | ~there).all(1)
        banded = known & (np.isfinite(spreads) | ~there).all(1)
        high, low = np.where(there, values, -np.inf).max(1), np.where(there, values, np.inf).min(1)
        over = np.where(there, values + spreads, -np.inf).max(1)
        under = np.where(there, values - spreads, np.inf).min(1)
        for x in np.flatnonzero(known).tolist():
            self.ink[self._pixel(float(high[x])) : self._pixel(float(low[x])) + 1, x] = 1
            if banded[x]:
                self._shade(x, float(under[x]), float(over[x]))

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
                self.off = x, value > 0
                break
            if np.isfinite(value):
                self.ink[self._pixel(value), x] = ink

    def _mark_off(self) -> None:
        """Where the curve without runs off: in the next column that no other curve takes there."""
        if self.off is None:
            return
        first, up = self.off
        y = 0 if up else self.height - 1
        taken = self.ink[2 * y] + self.ink[2 * y + 1]
        x = next((x for x in range(first, self.where.columns) if not taken[x]), first)
        self.ink[2 * y : 2 * y + 2, x] = 0
        self.marks[(y, x)] = ("^" if up else "v", "without")

    def _shade(self, x: int, low_mm: float, high_mm: float) -> None:
        self.band[self._pixel(high_mm) : self._pixel(low_mm) + 1, x] = True

    def _draw_shots(self, snapshot: Snapshot) -> None:
        # in one cell the last one drawn is seen: one that counts, else one that may come to
        for shot in sorted(snapshot.shots, key=lambda s: _SEEN_LAST.get(s.verdict, len(_SEEN_LAST))):
            column = self.where.column(shot.chainage_m)
            if column is None or shot.point not in ("face", "pipe") or shot.verdict == "withdrawn":
                continue
            value = shot.line_mm if self.plane == "line" else shot.level_mm
            if np.isfinite(value):
                y = self._pixel(value)
                ahead = shot.verdict == "waiting" and not shot.reached
                mark = AHEAD_MARK if ahead else SHOT_MARKS.get(shot.verdict, self.glyphs.shot)
                self.ink[2 * (y // 2) : 2 * (y // 2) + 2, column] = 0
                self.marks[(y // 2, column)] = (mark, "shot")

    def _label_ends(self, points: list[ForecastPoint], alone: list[ForecastPoint], with_it: str) -> None:
        """Words at the ends of both curves, each nearest its own, and the one further right or up above."""
        ends: list[tuple[float, float, str, str]] = []
        for name, role, ahead in (
            (with_it, "with", points),
            ("without", "without", alone),
        ):
            shown = [p for p in ahead if self.where.shows(p)]
            if shown:
                ends.append((*self._value(shown[-1]), name, role))
        ends.sort(key=lambda end: -end[0])
        wanted = [self._pixel(value) // 2 for value, *_ in ends]
        for row, (value, sd, name, role) in zip(self._apart(wanted), ends, strict=False):
            text = f" {name} {words.offset(self.plane, value, sd_mm=sd)}"
            if not words.side(self.plane, value) and loose(sd):
                banded = f"{text} {self.glyphs.plus_minus} {within(sd)}"
                text = banded if cells(banded) <= self.where.labels else text
            if cells(text) > self.where.labels:
                text = f" {name} {abs(value) / 1000.0:.1f} m {words.side(self.plane, value)}"
            self.labels[row] = ((text, role),)

    def _apart(self, wanted: list[int]) -> tuple[int, ...]:
        """Rows in falling order on the strip, one each, as near those wanted as that leaves them."""
        choices = combinations(range(self.height), min(len(wanted), self.height))
        return min(choices, key=lambda rows: sum(abs(a - b) for a, b in zip(rows, wanted, strict=False)))

    def label(self, y: int) -> Row:
        """Words at the right end of row `y`."""
        return self.labels.get(y, ())

    def row(self, y: int) -> Row:
        """The plot's row `y`, equal neighbours in one span."""
        spans: list[tuple[str, str]] = []
        upper, lower = self.ink[2 * y].tolist(), self.ink[2 * y + 1].tolist()
        shaded = (self.band[2 * y] & self.band[2 * y + 1]).tolist()
        for x in range(self.where.columns):
            text, role = self._cell(y, x, upper[x], lower[x], shaded[x])
            if spans and spans[-1][1] == role:
                spans[-1] = (spans[-1][0] + text, role)
            else:
                spans.append((text, role))
        return tuple(spans)

    def _cell(self, y: int, x: int, upper: int, lower: int, shaded: bool) -> tuple[str, str]:
        glyphs = self.glyphs
        if upper or lower:
            for ink, role in ((1, "path"), (2, "with")):
                if ink in (upper, lower):
                    if upper == lower:
                        return glyphs.both, role
                    return (glyphs.upper if upper == ink else glyphs.lower), role + " in band" * shaded
            return glyphs.ahead[0 if upper == 3 else 1], "without" + " in band" * shaded
        mark = self.marks.get((y, x))
        if mark is not None:
            return mark
        if shaded:
            return glyphs.band, "band"
        if y == self.height // 2 and x % 2 == 0:
            return glyphs.axis, "axis"
        return " ", ""
