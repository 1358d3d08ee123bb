"""The standard deviations over the chainage, with and without check surveys, as two diagrams."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import numpy as np

from steer.survey_plan.page import mm, percent
from steer.survey_plan.planning import SurveyPlan

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PLOT_SUFFIXES = (".png", ".pdf", ".svg")
_INK = "black"
_TWO_SIDED_95 = 1.959964  # of the normal distribution


def draw_plan(plan: SurveyPlan, path: str | os.PathLike[str], title: str = "") -> None:
    """Write the drawing to a .png, .pdf or .svg file. Raises OSError when it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.7, 8.3))  # A4, inches
    FigureCanvasAgg(figure)
    line, level = figure.subplots(2, 1, sharex=True, gridspec_kw={"hspace": 0.22})
    _draw(line, plan, 0, "Line (right or left)")
    _draw(level, plan, 1, "Level (high or low)")
    level.set_xlabel("chainage of the face, m")
    start, end = plan.without.chainage_m[[0, -1]]
    line.set_xlim(start, end + 0.09 * (end - start))
    heading = "expected standard deviations"
    figure.suptitle(f"{title}: {heading}" if title else heading, y=0.965)
    handles, labels = line.get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="upper center", ncols=len(handles), frameon=False, fontsize=9,
        bbox_to_anchor=(0.5, 0.945),
    )  # fmt: skip
    figure.text(0.5, 0.03, _caption(plan), ha="center", va="center", fontsize=9)
    figure.subplots_adjust(left=0.07, right=0.97, top=0.87, bottom=0.135)
    figure.savefig(path, dpi=150)


def _caption(plan: SurveyPlan) -> str:
    text = f"Inside the eye: {percent(plan.arrival_without.probability)} without check surveys"
    if plan.surveys:
        number = f"{len(plan.surveys)} check survey{'s' if len(plan.surveys) > 1 else ''}"
        text += f", {percent(plan.arrival_with.probability)} with {number}"
    return (
        text + ". Steered to the axis as far as it is known; normal errors, no blunder.\n"
        "Where the face comes out: with what the ground may do over the last machine's length, "
        "too late to be steered for."
    )


def _draw(ax: Axes, plan: SurveyPlan, plane: int, title: str) -> None:
    name = ("line_sd_mm", "level_sd_mm")[plane]
    without, planned = getattr(plan.without, name), getattr(plan.with_surveys, name)
    end = float(plan.without.chainage_m[-1])
    arrivals = [(without, plan.arrival_without, "--", "without check surveys", "D", "white")]
    if plan.surveys:
        arrivals.append((planned, plan.arrival_with, "-", "with the check surveys", "D", _INK))
    # What the eye asks of the sd, if this plane alone had to be inside with 95 %.
    limit = plan.eye_mm[plane] / _TWO_SIDED_95
    top = 1.25 * max(float(without.max()), *(getattr(a, name) for _, a, *_ in arrivals), float(planned.max()))
    if limit < 1.6 * top:
        top = max(top, 1.2 * limit)
        ax.axhline(limit, color=_INK, linewidth=0.8, linestyle=(0, (6, 2, 1, 2)))
        words = f"{mm(limit)}: eye of ±{plan.eye_mm[plane]:g} mm met with 95 %"
        if limit < 0.05 * top:  # too low for words beside it
            title = f"{title}; dash-dotted near 0: {words}"
        else:
            ax.annotate(
                words, (0.008, limit), (0, 3), xycoords=("axes fraction", "data"), textcoords="offset points",
                fontsize=8, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
            )  # fmt: skip
    ends: list[float] = []
    for values, arrival, style, label, marker, fill in arrivals:
        chainage = (plan.with_surveys if values is planned else plan.without).chainage_m
        ax.plot(chainage, values, style, color=_INK, linewidth=1.5, label=label)
        sd = getattr(arrival, name)
        ends.append(sd)
        ax.plot(
            [end], [sd], marker, color=_INK, markerfacecolor=fill, markersize=6, clip_on=False, zorder=5,
            linestyle="none", label="where the face comes out" if fill == "white" else None,
        )  # fmt: skip
    _label_ends(ax, end, ends, top)
    if plan.surveys:
        at = np.array([s.chainage_m for s in plan.surveys])
        own = np.array([getattr(s, name) for s in plan.surveys])
        ax.plot(at, own, "x", color=_INK, markersize=8, markeredgewidth=1.6, linestyle="none",
                label="a check survey by itself")  # fmt: skip
        for chainage in at.tolist():
            ax.axvline(chainage, color=_INK, linewidth=0.5, linestyle=":")
            _flag(ax, chainage)
    ax.set_ylim(0.0, top)
    ax.set_ylabel("1 sd, mm")
    ax.set_title(title, loc="left", fontsize=10)
    ax.grid(True, axis="y", linewidth=0.3, color="0.7")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def _label_ends(ax: Axes, end: float, sds: list[float], top: float) -> None:
    """Figures beside the diamonds, pushed apart where they would run into each other."""
    apart, middle = 0.075 * top, sum(sds) / len(sds)
    close = len(sds) == 2 and abs(sds[0] - sds[1]) < apart
    for sd, up in zip(sds, (0.5, -0.5), strict=False):
        ax.annotate(
            mm(sd), (end, middle + up * apart if close else sd), (9, 0), textcoords="offset points",
            va="center", fontsize=9, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )  # fmt: skip


def _flag(ax: Any, chainage: float) -> None:
    ax.annotate(
        f"{chainage:.0f} m", (chainage, 1.0), (0, 1), xycoords=("data", "axes fraction"),
        textcoords="offset points", ha="center", va="bottom", fontsize=8,
    )  # fmt: skip
