"""Plan and long section at exaggerated scale, with tolerance and uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.marks import BAND, BUILT, DESIGN, TOLERANCE, along, key
from steer.asbuilt.report.sheet import GREY, INK, Sheet
from steer.asbuilt.tolerances import tolerance_along

_HEIGHTS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)
_TIMES = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """One page on its side."""
    return [("Plan and long section", True, lambda sheet: _draw(sheet, record))]


def _draw(sheet: Sheet, record: AsBuilt) -> None:
    height = sheet.bottom - sheet.top
    left, width = sheet.left + 23.0, sheet.inner - 25.0
    plan = sheet.axes(left, sheet.top + 9.0, width, 0.34 * height)
    _plan(plan, record, width, 0.34 * height)
    top = sheet.top + 0.34 * height + 22.0
    tall = 0.32 * height
    section = sheet.axes(left, top, width, tall)
    _section(section, record, width, tall)
    _band(sheet, record, left, top + tall + 3.0, width)


def _plan(ax: Any, record: AsBuilt, width_mm: float, height_mm: float) -> None:
    axis = record.file.axis
    s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 601)
    point = axis.at(s)
    e, n = np.asarray(point.easting_m, float), np.asarray(point.northing_m, float)
    # turned on the page so that the drive runs from left to right
    turn = math.atan2(n[-1] - n[0], e[-1] - e[0])
    cos, sin = math.cos(turn), math.sin(turn)

    def turned(east: np.ndarray, north: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        east, north = np.asarray(east, float) - e[0], np.asarray(north, float) - n[0]
        return cos * east + sin * north, cos * north - sin * east

    x, y = turned(e, n)
    scale = (x.max() - x.min()) / (0.94 * width_mm)  # m a mm of paper
    widest = max(
        float(record.metres.tolerance_mm[:, 0].max()), float(np.abs(record.metres.lie.offset_mm[:, 0]).max())
    )
    # the tolerance is drawn some 12 mm either side at most
    times = next((t for t in reversed(_TIMES) if t * widest / 1000.0 <= 13.0 * scale), 1)

    def beside(at: np.ndarray, line_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        here = axis.at(at)
        bearing = np.asarray(here.bearing_rad)
        off = times * line_mm / 1000.0
        return turned(here.easting_m + off * np.cos(bearing), here.northing_m - off * np.sin(bearing))

    m = record.metres.lie
    line, sd = m.offset_mm[:, 0], m.sd_mm[:, 0]
    all_along, edge = tolerance_along(record.file)
    upper, lower = beside(m.chainage_m, line + 1.96 * sd), beside(m.chainage_m, line - 1.96 * sd)
    ax.fill(np.append(upper[0], lower[0][::-1]), np.append(upper[1], lower[1][::-1]), **BAND)
    ax.plot(x, y, label="design axis", **DESIGN)
    ax.plot(*beside(all_along, edge[:, 0]), label="tolerance", **TOLERANCE)
    ax.plot(*beside(all_along, -edge[:, 0]), **TOLERANCE)
    ax.plot(*beside(m.chainage_m, line), label="as built", **BUILT)
    ax.fill([], [], label="95 % band", **BAND)
    step = _step(axis.end_chainage_m - axis.start_chainage_m)
    marks = np.arange(math.ceil(axis.start_chainage_m / step) * step, axis.end_chainage_m + 1e-6, step)
    px, py = beside(marks, np.zeros(len(marks)))
    ax.plot(px, py, linestyle="none", marker="|", markersize=6, color=INK)
    down = 1000.0 * 17.0 * scale / times  # mm right of the axis
    for chainage, tx, ty in zip(marks, *beside(marks, np.full(len(marks), down)), strict=True):
        ax.text(tx, ty, f"{chainage:g}", ha="center", va="center", fontsize=7)
    half_x, half_y = 0.5 * width_mm * scale, 0.5 * height_mm * scale
    mx, my = 0.5 * (x.min() + x.max()), 0.5 * (y.min() + y.max())
    if y.max() - y.min() > 1.3 * half_y:  # a drive that turns far: make room, keep one scale both ways
        grow = (y.max() - y.min()) / (1.3 * half_y)
        half_x, half_y = grow * half_x, grow * half_y
    ax.set_xlim(mx - half_x, mx + half_x)
    ax.set_ylim(my - half_y, my + half_y)
    ax.set_aspect("equal")
    ax.set_xticks([])
    ax.set_yticks([])
    ax.set_title(f"Plan (chainage in m; deviation drawn {times} times its size)", pad=5)
    key(ax, 4)
    ax.annotate(
        "N", xy=(0.935, 0.7), xytext=(30.0 * math.sin(turn), 30.0 * math.cos(turn)),
        xycoords="axes fraction", textcoords="offset points", ha="center", va="center", fontsize=9,
        arrowprops={"arrowstyle": "<-", "color": INK, "linewidth": 0.8},
    )  # fmt: skip
    bar = next(b for b in (100.0, 50.0, 20.0, 10.0, 5.0, 2.0, 1.0) if b <= 0.2 * 2 * half_x or b == 1.0)
    x0, y0 = mx - 0.97 * half_x, my + 0.72 * half_y
    ax.plot([x0, x0 + bar], [y0, y0], color=INK, linewidth=2.0, solid_capstyle="butt")
    ax.text(x0 + bar / 2, y0 + 0.06 * half_y, f"{bar:g} m", ha="center", va="bottom", fontsize=7.5)


def _section(ax: Any, record: AsBuilt, width_mm: float, height_mm: float) -> None:
    axis, m = record.file.axis, record.metres
    along(ax, record, label=False)
    ax.set_xlim(*room(record))
    s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 601)
    design = np.asarray(axis.at(s).level_m, float)
    at = m.lie.chainage_m
    sd = 1.96 * m.lie.sd_mm[:, 1] / 1000.0
    all_along, limits = tolerance_along(record.file)
    middle, edge = np.asarray(axis.at(all_along).level_m, float), limits[:, 1] / 1000.0
    ax.fill_between(at, m.level_m - sd, m.level_m + sd, label="95 % band", **BAND)
    ax.plot(s, design, label="design axis", **DESIGN)
    ax.plot(all_along, middle + edge, label="tolerance", **TOLERANCE)
    ax.plot(all_along, middle - edge, **TOLERANCE)
    ax.plot(at, m.level_m, label="as built", **BUILT)
    joints = record.pipes
    ax.plot(
        joints.lie.chainage_m[1:], joints.level_m[1:], linestyle="none", marker="|", markersize=5, color=GREY,
        label="joints as they lie",
    )  # fmt: skip
    low = min(design.min(), (middle - edge).min(), m.level_m.min())
    high = max(design.max(), (middle + edge).max(), m.level_m.max())
    x0, x1 = room(record)
    span = (x1 - x0) / width_mm * height_mm  # heights that fit at one scale
    fitting = [t for t in _HEIGHTS if span / t >= 1.25 * (high - low)]
    times = fitting[-1] if fitting else 1
    tall = max(span / times, 1.25 * (high - low))
    ax.set_ylim(0.5 * (low + high) - 0.5 * tall, 0.5 * (low + high) + 0.5 * tall)
    ax.set_ylabel("level, m")
    ax.ticklabel_format(axis="y", useOffset=False)
    ax.set_title(f"Long section (heights {times} times the lengths)", pad=5)
    key(ax, 5)


def _band(sheet: Sheet, record: AsBuilt, x: float, y: float, width: float) -> None:
    """Figures below the long section."""
    axis, m = record.file.axis, record.metres.lie
    names = ("chainage, m", "design level, m", "as built, m", "line, mm", "level, mm")
    step = _step(axis.end_chainage_m - axis.start_chainage_m)
    row = 4.8
    ax = sheet.axes(x, y, width, row * len(names))
    ax.set_xlim(*room(record))
    ax.set_ylim(len(names), 0)
    ax.set_yticks([i + 0.5 for i in range(len(names))], names)
    ax.set_xticks([])
    ax.tick_params(length=0)
    ax.grid(False)
    for i in range(1, len(names)):
        ax.axhline(i, color=INK, linewidth=0.4)
    first = math.ceil(axis.start_chainage_m / step) * step
    for chainage in np.arange(first, axis.end_chainage_m + 1e-6, step):
        cells = [f"{chainage:g}", f"{float(axis.at(float(chainage)).level_m):.3f}", "", "", ""]
        if m.chainage_m[0] - 1e-6 <= chainage <= record.face_m + 1e-6:
            line, level = (float(np.interp(chainage, m.chainage_m, m.offset_mm[:, k])) for k in (0, 1))
            high = float(axis.position(float(chainage), line, level)[2])
            cells[2:] = [f"{high:.3f}", _short(line, "R", "L"), _short(level, "H", "B")]
        for i, text in enumerate(cells):
            ax.text(chainage, i + 0.5, text, ha="center", va="center", fontsize=7, clip_on=False)
    sheet.text(
        x, y + row * len(names) + 1.2, "line: R right, L left; level: H high, B below; of the design axis",
        size=6.5, colour=GREY,
    )  # fmt: skip


def room(record: AsBuilt) -> tuple[float, float]:
    """Chainages shown, with room for the first and last figures of the band."""
    axis = record.file.axis
    beyond = 0.03 * (axis.end_chainage_m - axis.start_chainage_m)
    return axis.start_chainage_m - beyond, axis.end_chainage_m + beyond


def _short(value: float, more: str, less: str) -> str:
    text = f"{abs(value):.0f}"
    return text if text == "0" else f"{text} {more if value > 0 else less}"


def _step(length_m: float) -> float:
    return next((s for s in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0) if length_m / s <= 16), 500.0)
