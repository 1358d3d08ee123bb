"""Grade achieved, and joint angles."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from steer.asbuilt import string_words, words
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.marks import BAND, BUILT, DESIGN, TOLERANCE, along, key
from steer.asbuilt.report.sheet import GREY, INK, Sheet


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """One page on its side, once a pipe's length is driven."""
    if len(record.grade_pipe.chainage_m) == 0:
        return []
    return [("Grade and joints", True, lambda sheet: _draw(sheet, record))]


def _draw(sheet: Sheet, record: AsBuilt) -> None:
    left, width = sheet.left + 16.0, sheet.inner - 32.0
    tall = (sheet.bottom - sheet.top) / 2.0
    _grade(sheet.axes(left, sheet.top + 9.0, width, tall - 32.0), record)
    _lines(sheet, left, sheet.top + tall - 13.5, words.falls_lines(record))
    top = sheet.top + tall + 9.0
    _joints(sheet.axes(left, top, width, tall - 32.0), record)
    _lines(sheet, left, top + tall - 22.5, string_words.joint_lines(record))


def _lines(sheet: Sheet, x: float, y: float, lines: list[str]) -> None:
    sheet.paragraph(x, y, " ".join(lines), sheet.right - x, 7.5)


def _grade(ax: Any, record: AsBuilt) -> None:
    pipe, base = record.grade_pipe, record.grade_base
    axis = record.file.axis
    s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 601)
    ax.plot(s, axis.at(s).grade_mm_per_m, label="design", **DESIGN)
    ax.plot(
        pipe.chainage_m,
        pipe.achieved_mm_per_m,
        color=GREY,
        linewidth=0.8,
        label=f"over a pipe ({pipe.base_m:g} m)",
    )
    if len(base.chainage_m):
        ax.plot(base.chainage_m, base.achieved_mm_per_m, label=f"over {base.base_m:g} m", **BUILT)
    found = record.falls
    low, high = ax.get_ylim()
    ax.set_ylim(min(low, 0.0) - 0.04 * (high - low), max(high, 0.0) + 0.04 * (high - low))
    ax.axhline(0.0, color=INK, linewidth=0.5)
    if found is not None:
        for name, runs, hatch in (("backfall", found.backfalls, "xxxx"), ("flat", found.flats, "....")):
            for i, run in enumerate(runs):
                ax.axvspan(
                    run.from_m,
                    run.to_m,
                    facecolor="none",
                    edgecolor=GREY,
                    hatch=hatch,
                    linewidth=0.0,
                    label=name if i == 0 else None,
                )
    along(ax, record)
    ax.set_ylabel("grade, mm/m (+ rising)")
    ax.set_title("Grade achieved", pad=4)
    key(ax, 5)


def _joints(ax: Any, record: AsBuilt) -> None:
    joints = record.joints
    limit = joints.limit_mm_per_m
    ax.fill_between(
        joints.along.chainage_m, joints.along.angle_mm_per_m, joints.high_mm_per_m,
        label="up to its upper limit (97.5 %)", **BAND,
    )  # fmt: skip
    ax.plot(joints.along.chainage_m, joints.along.angle_mm_per_m, label="as a joint passes", **BUILT)
    ax.plot(
        joints.standing.chainage_m,
        joints.standing.angle_mm_per_m,
        linestyle="none",
        marker="o",
        markersize=3.2,
        markerfacecolor="white",
        markeredgecolor=INK,
        label="joints as they lie now",
    )
    design = (
        np.hypot(
            *(
                np.asarray(getattr(record.file.axis.at(joints.along.chainage_m), name), float)
                for name in ("curvature_right_mm_per_m2", "curvature_up_mm_per_m2")
            )
        )
        * record.file.pipe.length_m
    )
    if design.size and design.max() > 1e-6:
        ax.plot(joints.along.chainage_m, design, label="the design curve alone", **DESIGN)
    ax.axhline(limit, label=f"allowed, {limit:g} mm/m", **TOLERANCE)
    if joints.worst is not None:
        at = joints.worst
        x, y = float(joints.along.chainage_m[at]), float(joints.along.angle_mm_per_m[at])
        ax.annotate(
            f"largest so far {y:.1f} mm/m",
            (x, max(y, joints.worst_high_mm_per_m)),
            (0, 5),
            textcoords="offset points",
            ha="center",
            fontsize=7.5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8},
        )
    turned = [jump.chainage_m for jump in joints.jumps]
    if turned:
        ax.plot(
            turned, np.zeros(len(turned)), linestyle="none", marker="^", markersize=6, color=INK, clip_on=False,
            label="sudden turn of the bore",
        )  # fmt: skip
    along(ax, record)
    ax.set_ylim(0.0, 1.12 * max(limit, float(np.nanmax(joints.high_mm_per_m, initial=0.0))))
    ax.set_ylabel("joint angle, mm/m")
    wide = record.file.pipe.outer_diameter_mm / 1000.0
    gap = ax.secondary_yaxis("right", functions=(lambda a: a * wide, lambda g: g / wide))
    gap.set_ylabel("gap, mm")
    ax.set_title("Joint angle (both planes together) and gap", pad=4)
    key(ax, 6)
