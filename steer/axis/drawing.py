"""Plan and long section of the axis as engineers draw them: to scale in plan, heights exaggerated below."""

from __future__ import annotations

import math
import os
from typing import TYPE_CHECKING, Any

import numpy as np

from steer.axis.axis import Axis, AxisPoint
from steer.axis.profile import ProfileElement
from steer.errors import InputRefused

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)
_EXAGGERATIONS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)
_INK = "black"
_MARGIN = 0.04  # of the length, free at either end of the long section


def draw_axis(axis: Axis, path: str | os.PathLike[str], title: str = "") -> None:
    """Write the drawing to a .png, .pdf or .svg file. Raises InputRefused when it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(16.5, 11.7))  # A3, inches
    FigureCanvasAgg(figure)
    plan, section, band = figure.subplots(
        3, 1, gridspec_kw={"height_ratios": (5.0, 3.2, 1.0), "hspace": 0.12}, sharex=False
    )
    length = axis.end_chainage_m - axis.start_chainage_m
    step = next((s for s in _STEPS if length / s <= 16), _STEPS[-1])
    _draw_plan(plan, axis, step)
    _draw_section(section, axis, figure)
    _draw_band(band, axis, step)
    section.sharex(band)
    section.set_xlim(axis.start_chainage_m - _MARGIN * length, axis.end_chainage_m + _MARGIN * length)
    heading = "design axis, plan and long section"
    figure.suptitle(f"{title}: {heading}" if title else heading, y=0.93)
    try:
        figure.savefig(path, dpi=150, bbox_inches="tight")
    except OSError as error:
        raise InputRefused(f"{path}: cannot be written: {error.strerror or error}") from None


def _round_chainages(axis: Axis, step: int) -> np.ndarray:
    first = math.ceil(axis.start_chainage_m / step - 1e-9) * step
    return np.arange(first, axis.end_chainage_m + 1e-6, step, dtype=float)


def _many(axis: Axis, chainages: np.ndarray) -> AxisPoint:
    return axis.at(np.clip(chainages, axis.start_chainage_m, axis.end_chainage_m))


def _draw_plan(ax: Axes, axis: Axis, step: int) -> None:
    """Easting and northing to one scale, turned so that the drive runs left to right, with a north arrow."""
    line = _many(axis, np.linspace(axis.start_chainage_m, axis.end_chainage_m, 2000))
    east, north = np.asarray(line.easting_m), np.asarray(line.northing_m)
    turn = math.atan2(north[-1] - north[0], east[-1] - east[0])

    def page(e: Any, n: Any) -> tuple[Any, Any]:
        x, y = e - east[0], n - north[0]
        return x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)

    ax.plot(*page(east, north), color=_INK, linewidth=1.6)
    tick = 0.012 * (axis.end_chainage_m - axis.start_chainage_m)

    def across(p: Any, left: float, right: float) -> tuple[Any, Any]:
        cos, sin = math.cos(p.bearing_rad), math.sin(p.bearing_rad)
        return page(
            np.array([p.easting_m - left * cos, p.easting_m + right * cos]),
            np.array([p.northing_m + left * sin, p.northing_m - right * sin]),
        )

    for chainage in _round_chainages(axis, step).tolist():
        p = axis.at(chainage)
        x, y = across(p, 0.5 * tick, 0.5 * tick)
        ax.plot(x, y, color=_INK, linewidth=0.8)
        x, y = across(p, 1.2 * tick, 0.0)
        ax.text(x[0], y[0], f"{chainage:g}", ha="center", va="bottom", fontsize=8)
    at = axis.start_chainage_m
    for i, element in enumerate(axis.plan.elements):
        x, y = across(axis.at(at), tick, tick)
        ax.plot(x, y, color=_INK, linewidth=1.2, linestyle=(0, (3, 1.5)))
        x, y = across(axis.at(at + 0.5 * element.length_m), 0.0, (1.6 + 1.5 * (i % 2)) * tick)
        text = _plan_words(element.kind, element.length_m, element.curvature_start, element.curvature_end)
        ax.text(x[1], y[1], text, ha="center", va="top", fontsize=8)
        at += element.length_m
    for name, chainage, where in (
        ("start", axis.start_chainage_m, "right"),
        ("end", axis.end_chainage_m, "left"),
    ):
        p = axis.at(chainage)
        x, y = page(p.easting_m, p.northing_m)
        words = f"{name} {chainage:.3f} m\nE {p.easting_m:.3f}\nN {p.northing_m:.3f}"
        offset = (-14 if where == "right" else 14, 0)
        ax.annotate(words, (x, y), offset, textcoords="offset points", ha=where, va="center", fontsize=8)
        ax.plot(x, y, "o", color=_INK, markersize=4)
    # north on the page: grid north turned by the same angle
    ax.annotate(
        "N",
        xy=(0.95, 0.8),
        xytext=(45.0 * math.sin(turn), 45.0 * math.cos(turn)),
        xycoords="axes fraction",
        textcoords="offset points",
        arrowprops={"arrowstyle": "<-", "color": _INK},
        ha="center",
        va="center",
    )
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.13, 0.35)
    ax.set_xticks([])
    ax.set_yticks([])
    ax.set_title("Plan (one scale both ways; chainage in m; R: radius)", fontsize=10, loc="left")


def _plan_words(kind: str, length_m: float, k0: float, k1: float) -> str:
    side = "right" if k0 + k1 > 0.0 else "left"
    if k0 == k1 == 0.0:
        return f"line {length_m:.3f} m"
    if kind != "spiral":
        return f"arc {side} R {abs(1.0 / k0):.2f} m\n{length_m:.3f} m"
    ends = " to ".join("straight" if k == 0.0 else f"R {abs(1.0 / k):.2f} m" for k in (k0, k1))
    return f"clothoid {side}, {ends}\n{length_m:.3f} m"


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
    at = axis.start_chainage_m
    for i, element in enumerate(axis.profile.elements):
        if i:
            ax.plot(at, axis.at(at).level_m, "|", color=_INK, markersize=12)
        half = axis.at(at + 0.5 * element.length_m)
        ax.annotate(
            _profile_words(element),
            (float(half.chainage_m), float(half.level_m)),
            (0, 12 if i % 2 == 0 else -12),
            textcoords="offset points",
            ha="center",
            va="bottom" if i % 2 == 0 else "top",
            fontsize=8,
        )
        at += element.length_m
    ax.set_ylabel("level, m")
    ax.ticklabel_format(axis="y", useOffset=False)
    ax.grid(True, linewidth=0.3)
    ax.tick_params(labelbottom=False)
    times = f"heights {scale:g} times the lengths" if fitting else "heights reduced against the lengths"
    ax.set_title(f"Long section ({times})", fontsize=10, loc="left")


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
    for chainage in _round_chainages(axis, step).tolist():
        p = axis.at(chainage)
        values = (
            f"{chainage:.1f}",
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
