"""Plan and long section of the axis as engineers draw them: to scale in plan, heights exaggerated below."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from steer.axis.axis import Axis, AxisPoint
from steer.axis.lettering import Sheet, beside, edge
from steer.axis.profile import ProfileElement

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)
_EXAGGERATIONS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)
_INK = "black"
_DPI = 150
_PT = _DPI / 72.0  # pixels
_MARGIN = 0.04  # of the length, free at either end of the long section
_SIDES_PT, _ENDS_PT = 75.0, 125.0  # free above and below the plan, left and right of it
_TICK_PT = 5.0  # half of a chainage mark
_MOST_WORDED = 60  # elements that are looked at for room, the longest first
_GIVE_UP = 12  # after so many without room


def draw_axis(axis: Axis, path: str | os.PathLike[str], title: str = "") -> None:
    """Write the drawing to a .png, .pdf or .svg file. Raises OSError when it cannot be written."""
    figure = axis_figure(axis, title)
    figure.savefig(path, dpi=_DPI, bbox_inches="tight")


def axis_figure(axis: Axis, title: str = "") -> Figure:
    """The drawing, A3 landscape: plan, long section and the rows beneath."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(16.5, 11.7), dpi=_DPI)  # A3, inches
    FigureCanvasAgg(figure)
    plan, section, band = figure.subplots(
        3, 1, gridspec_kw={"height_ratios": (5.0, 3.2, 1.0), "hspace": 0.12}, sharex=False
    )
    length = axis.end_chainage_m - axis.start_chainage_m
    step = next((s for s in _STEPS if length / s <= 16), _STEPS[-1])
    section.sharex(band)
    section.set_xlim(axis.start_chainage_m - _MARGIN * length, axis.end_chainage_m + _MARGIN * length)
    _draw_plan(plan, axis, step)
    _draw_section(section, axis, figure)
    _draw_band(band, axis, step)
    heading = "design axis, plan and long section"
    figure.suptitle(f"{title}: {heading}" if title else heading, y=0.93)
    return figure


def _round_chainages(axis: Axis, step: int) -> np.ndarray:
    first = math.ceil(axis.start_chainage_m / step - 1e-9) * step
    return np.arange(first, axis.end_chainage_m + 1e-6, step, dtype=float)


def _many(axis: Axis, chainages: np.ndarray) -> AxisPoint:
    return axis.at(np.clip(chainages, axis.start_chainage_m, axis.end_chainage_m))


class _Lettered:
    """A diagram whose words find their own room. Set its limits before."""

    def __init__(self, ax: Axes) -> None:
        self.ax = ax
        frame = ax.get_window_extent()
        self.sheet = Sheet((frame.x0, frame.y0, frame.x1, frame.y1))

    def pixels(self, x: Any, y: Any) -> np.ndarray:
        """(n, 2) or (2,) of data."""
        found: np.ndarray = self.ax.transData.transform(np.stack([x, y], axis=-1))
        return found

    def data(self, at: np.ndarray) -> tuple[float, float]:
        x, y = self.ax.transData.inverted().transform(at)
        return float(x), float(y)

    def words(
        self,
        text: str,
        centres: Any,
        *,
        size: float = 8.0,
        leader_from: np.ndarray | None = None,
        **more: Any,
    ) -> bool:
        """Write where there is room first; `centres` is a function of (width, height). False: no room."""
        artist = self.ax.text(0.0, 0.0, text, ha="center", va="center", fontsize=size, **more)
        extent = artist.get_window_extent()
        box = (extent.width, extent.height)
        centre = self.sheet.place(box, centres(box), leader_from)
        if centre is None:
            artist.remove()
            return False
        artist.set_position(self.data(centre))
        if leader_from is not None:
            ends = (self.data(leader_from), self.data(edge(centre, box, leader_from)))
            self.ax.plot(*zip(*ends, strict=True), color=_INK, linewidth=0.4)
        return True

    def name_elements(self, named: Sequence[tuple[float, str, np.ndarray, np.ndarray]]) -> int:
        """(length, words, middle, direction in pixels) of each; returns how many found no room."""
        distances = [p * _PT for p in (9.0, 16.0, 25.0, 36.0, 48.0, 62.0, 78.0, 96.0, 116.0)]
        left = failed = 0
        for k, (_, text, middle, along) in enumerate(sorted(named, key=lambda n: -n[0])):
            if k >= _MOST_WORDED or failed >= _GIVE_UP:
                left += 1
            elif not self.words(
                text,
                lambda box, m=middle, a=along: beside(m, a, box, distances, 18.0 * _PT),
                leader_from=middle,
            ):
                left, failed = left + 1, failed + 1
        return left


def _unworded(count: int, of: int) -> str:
    return f"; no room to name {count} of {of} elements, `steer axis` lists them" if count else ""


def _marks(ax: Axes, marks: Iterable[tuple[np.ndarray, np.ndarray]], **how: Any) -> None:
    """Many short lines as one, apart by gaps."""
    rows = [np.array([a, b, (np.nan, np.nan)]) for a, b in marks]
    if rows:
        ax.plot(*np.concatenate(rows).T, color=_INK, **how)


def _draw_plan(ax: Axes, axis: Axis, step: int) -> None:
    """Easting and northing to one scale, turned so that the drive runs left to right, with a north arrow."""
    line = _many(axis, np.linspace(axis.start_chainage_m, axis.end_chainage_m, 2000))
    east, north = np.asarray(line.easting_m), np.asarray(line.northing_m)
    turn = math.atan2(north[-1] - north[0], east[-1] - east[0])

    def page(e: Any, n: Any) -> np.ndarray:
        x, y = e - east[0], n - north[0]
        cos, sin = math.cos(turn), math.sin(turn)
        return np.stack([x * cos + y * sin, y * cos - x * sin], axis=-1)

    drawn = page(east, north)
    m_per_px = _one_scale(ax, drawn)
    ax.plot(*drawn.T, color=_INK, linewidth=1.6)
    lettered = _Lettered(ax)
    on_page = lettered.pixels(*drawn.T)
    lettered.sheet.draw(on_page)
    _north_arrow(lettered, turn)

    def stand(chainage: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """On the page: the place (m), the unit vector along, the one to the right."""
        p = axis.at(chainage)
        bearing = float(p.bearing_rad) + turn
        along = np.array([math.sin(bearing), math.cos(bearing)])
        return page(p.easting_m, p.northing_m), along, np.array([along[1], -along[0]])

    tick = _TICK_PT * _PT * m_per_px
    ends = axis.start_chainage_m + np.array([0.0, *axis.plan.joints_m, axis.plan.length_m])
    marks = [(at - 2.0 * tick * r, at + 2.0 * tick * r) for at, _, r in map(stand, np.unique(ends).tolist())]
    _marks(ax, marks, linestyle=(0, (3, 1.5)))
    lettered.sheet.draw_many([lettered.pixels(*np.array(mark).T) for mark in marks])
    for name, chainage, first in (
        ("start", axis.start_chainage_m, -1.0),
        ("end", axis.end_chainage_m, 1.0),
    ):
        p = axis.at(chainage)
        at = stand(chainage)[0]
        ax.plot(*at, "o", color=_INK, markersize=4)
        words = f"{name} {chainage:.3f} m\nE {p.easting_m:.3f}\nN {p.northing_m:.3f}"
        spot = lettered.pixels(*at)
        lettered.words(words, lambda box, s=spot, f=first: _round_about(s, box, 12.0 * _PT, f))
    round_ones = _round_chainages(axis, step).tolist()
    _marks(ax, ((at - tick * r, at + tick * r) for at, _, r in map(stand, round_ones)), linewidth=0.8)
    for chainage in round_ones:
        at, along, right = stand(chainage)
        mark = lettered.pixels(*at)
        lettered.words(
            f"{chainage:g}",
            lambda box, m=mark, r=right: [
                m - r * (s * (_TICK_PT + 4.0) * _PT + _half(r, box)) for s in (1, 2)
            ],
        )
    named, at_m = [], axis.start_chainage_m
    for element in axis.plan.elements:
        at, along, _ = stand(at_m + 0.5 * element.length_m)
        text = _plan_words(element.kind, element.length_m, element.curvature_start, element.curvature_end)
        named.append((element.length_m, text, lettered.pixels(*at), along))
        at_m += element.length_m
    left = lettered.name_elements(named)
    ax.set_xticks([])
    ax.set_yticks([])
    title = "Plan (one scale both ways; chainage in m; R: radius"
    ax.set_title(f"{title}{_unworded(left, len(named))})", fontsize=10, loc="left")


def _one_scale(ax: Axes, drawn: np.ndarray) -> float:
    """Limits of one scale with room for words round the line (n, 2); returns metres a pixel."""
    frame = ax.get_window_extent()
    low, high = drawn.min(axis=0), drawn.max(axis=0)
    room = np.array([frame.width - 2.0 * _ENDS_PT * _PT, frame.height - 2.0 * _SIDES_PT * _PT])
    m_per_px = float(((high - low) / room).max())
    middle, half = 0.5 * (low + high), 0.5 * m_per_px * np.array([frame.width, frame.height])
    ax.set_xlim(middle[0] - half[0], middle[0] + half[0])
    ax.set_ylim(middle[1] - half[1], middle[1] + half[1])
    return m_per_px


def _half(direction: np.ndarray, box: tuple[float, float]) -> float:
    """How far a box reaches from its centre in a direction."""
    return float(np.abs(direction) @ (0.5 * np.array(box)))


def _round_about(at: np.ndarray, box: tuple[float, float], gap: float, first: float) -> Iterable[np.ndarray]:
    """Centres for a box beside a point: to the `first` side (+1 right, -1 left), then round about it."""
    ways = [(first, 0), (first, -1), (first, 1), (0, -1), (0, 1), (-first, -1), (-first, 1), (-first, 0)]
    for far in (1.0, 2.5):
        for way in np.array(ways, float):
            yield at + way * (far * gap + 0.5 * np.array(box))


def _north_arrow(lettered: _Lettered, turn: float) -> None:
    """In the first free corner; grid north stands turned on the page like the drawing."""
    frame = lettered.ax.get_window_extent()
    length = 40.0 * _PT
    pointing = np.array([math.sin(turn), math.cos(turn)])
    inset = 34.0 * _PT
    corners = [
        (x, y) for x in (frame.x1 - inset, frame.x0 + inset) for y in (frame.y1 - inset, frame.y0 + inset)
    ]
    spots = [np.array(c) for c in corners]
    side = (length + 14.0 * _PT, length + 14.0 * _PT)
    centre = lettered.sheet.place(side, spots)
    centre = spots[0] if centre is None else centre
    foot = lettered.data(centre - 0.5 * length * pointing)
    lettered.ax.annotate(
        "N",
        xy=foot,
        xytext=lettered.data(centre + 0.5 * length * pointing),
        arrowprops={"arrowstyle": "<-", "color": _INK},
        ha="center",
        va="center",
    )


def _plan_words(kind: str, length_m: float, k0: float, k1: float) -> str:
    side = "right" if k0 + k1 > 0.0 else "left"
    if k0 == k1 == 0.0:
        return f"line {length_m:.3f} m"
    if kind != "spiral":
        return f"arc {side} R {abs(1.0 / k0):.2f} m\n{length_m:.3f} m"
    ends = " to ".join("straight" if k == 0.0 else f"R {abs(1.0 / k):.2f} m" for k in (k0, k1))
    return f"clothoid {side} {length_m:.3f} m\n{ends}"


def _draw_section(ax: Axes, axis: Axis, figure: Any) -> None:
    s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 2000)
    z = np.asarray(_many(axis, s).level_m)
    ax.plot(s, z, color=_INK, linewidth=1.6)
    low, high = float(z.min()), float(z.max())
    box = ax.get_position()
    ratio = (box.height * figure.get_figheight()) / (box.width * figure.get_figwidth())
    span = (1.0 + 2.0 * _MARGIN) * (s[-1] - s[0])  # what the page is wide
    wanted = 1.7 * max(high - low, 0.01)
    fitting = [x for x in _EXAGGERATIONS if ratio * span / x >= wanted]
    scale = fitting[-1] if fitting else 1
    height = ratio * span / scale
    if not fitting:
        height = wanted
    middle = 0.5 * (low + high)
    ax.set_ylim(middle - 0.5 * height, middle + 0.5 * height)
    lettered = _Lettered(ax)
    lettered.sheet.draw(lettered.pixels(s, z))
    named, ends, at = [], [], axis.start_chainage_m
    for element in axis.profile.elements:
        ends.append(at)
        half = axis.at(at + 0.5 * element.length_m)
        spot = lettered.pixels(half.chainage_m, half.level_m)
        named.append((element.length_m, _profile_words(element), spot, np.array([-1.0, 0.0])))  # words above
        at += element.length_m
    joints = np.array(ends[1:])
    ax.plot(joints, _many(axis, joints).level_m, "|", color=_INK, markersize=12)
    left = lettered.name_elements(named)
    ax.set_ylabel("level, m")
    ax.ticklabel_format(axis="y", useOffset=False)
    ax.grid(True, linewidth=0.3)
    ax.tick_params(labelbottom=False)
    times = f"heights {scale:g} times the lengths" if fitting else "heights reduced against the lengths"
    ax.set_title(f"Long section ({times}{_unworded(left, len(named))})", fontsize=10, loc="left")


def _profile_words(element: ProfileElement) -> str:
    g0, g1 = element.grade_start * 1e3, element.grade_end * 1e3
    if element.kind == "grade":
        word = "rising" if g0 > 0.0 else "falling" if g0 < 0.0 else "level"
        return f"{abs(g0):.3f} mm/m {word}, {element.length_m:.3f} m"
    name = "parabola" if element.kind == "parabola" else f"arc R {abs(element.radius_m):.1f} m"
    return f"{name}, {g0:+.3f} to {g1:+.3f} mm/m\n{element.length_m:.3f} m"


def _draw_band(ax: Axes, axis: Axis, step: int) -> None:
    """The rows under a long section: chainage, level, grade, bearing."""
    rows = ("chainage, m", "level, m", "grade, mm/m", "bearing, deg")
    ax.set_ylim(len(rows), 0)
    for i in range(len(rows)):
        ax.axhline(i, color=_INK, linewidth=0.5)
    ends = (axis.start_chainage_m, axis.end_chainage_m)
    apart = 0.045 * (ends[1] - ends[0])  # what a column needs
    between = [c for c in _round_chainages(axis, step).tolist() if min(abs(c - e) for e in ends) > apart]
    for chainage in (ends[0], *between, ends[1]):
        p = axis.at(chainage)
        values = (
            f"{chainage:.1f}" if abs(chainage - round(chainage, 1)) < 1e-9 else f"{chainage:.3f}",
            f"{p.level_m:.3f}",
            f"{p.grade_mm_per_m:+.2f}",
            f"{math.degrees(float(p.bearing_rad)) % 360.0:.4f}",
        )
        ax.axvline(chainage, color=_INK, linewidth=0.3, alpha=0.4)
        for i, text in enumerate(values):
            ax.text(chainage, i + 0.5, text, ha="center", va="center", fontsize=7.5, clip_on=False)
    ax.set_yticks([i + 0.5 for i in range(len(rows))], rows, fontsize=8)
    ax.set_xticks([])
    ax.tick_params(length=0)
