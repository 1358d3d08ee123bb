"""Deviation of each plane over the chainage, with band, tolerance, check shots and verdict."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from steer.asbuilt import words
from steer.asbuilt.record import COUNTED, AsBuilt
from steer.asbuilt.report.marks import (
    BAND,
    BUILT,
    SHOTS,
    TOLERANCE,
    along,
    key,
    sides,
    verdict_bar,
    verdict_key,
)
from steer.asbuilt.report.sheet import INK, Sheet
from steer.asbuilt.tolerances import tolerance_along
from steer.text import PLANES, SIDES


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """One page on its side."""
    return [("Deviation in line and level", True, lambda sheet: _draw(sheet, record))]


def _draw(sheet: Sheet, record: AsBuilt) -> None:
    left, width = sheet.left + 16.0, sheet.inner - 20.0
    each = (sheet.bottom - sheet.top - 8.0) / 2.0
    for plane in (0, 1):
        top = sheet.top + 8.5 + plane * each
        ax = sheet.axes(left, top, width, each - 22.5)
        _plane(ax, record, plane)
        bar = sheet.axes(left, top + each - 21.0, width, 4.0)
        verdict_bar(bar, record.metres, record.metres.verdict[:, plane], record)
        bar.set_xlabel("chainage, m" if plane else "")
        bar.text(-0.004, 0.5, "verdict", transform=bar.transAxes, ha="right", va="center", fontsize=7.5)
        bar.tick_params(labelsize=7.5)
    verdict_key(sheet, left, sheet.bottom - 4.5)
    sheet.text(
        left + 95.0,
        sheet.bottom - 4.5,
        f"Rule: {100 * record.rule:g} % conformance probability. Band: 95 %. Bars at check shots: ± 2 "
        "of their own sd.",
        size=7.5,
    )


def _plane(ax: Any, record: AsBuilt, plane: int) -> None:
    m = record.metres
    at, value, sd = m.lie.chainage_m, m.lie.offset_mm[:, plane], m.lie.sd_mm[:, plane]
    ax.fill_between(at, value - 1.96 * sd, value + 1.96 * sd, label="95 % band", **BAND)
    ax.axhline(0.0, color=INK, linewidth=0.5)
    x, y = tolerance_along(record.file)
    ax.plot(x, y[:, plane], label="tolerance", **TOLERANCE)
    ax.plot(x, -y[:, plane], **TOLERANCE)
    ax.plot(at, value, label="as built", **BUILT)
    seen: set[str] = set()
    furthest = 0.0
    for shot in record.surveys:
        offset = (shot.line_mm, shot.level_mm)[plane]
        own = (shot.sd_line_mm, shot.sd_level_mm)[plane]
        where = shot.chainage_m - _behind(record, shot.point)
        waits = shot.verdict == "waiting"
        if offset is None or not np.isfinite(offset) or not (waits or shot.verdict in COUNTED):
            continue
        name = "check shot that waits for a word" if waits else f"check shot, {shot.point}"
        ax.errorbar(
            where,
            offset,
            yerr=2.0 * own,
            color=INK,
            linewidth=0.8,
            capsize=2.0,
            marker="x" if waits else SHOTS.get(shot.point, "o"),
            markersize=4.5,
            markerfacecolor=INK if shot.verdict == "disagrees" else "white",
            label=None if name in seen else name,
        )
        seen.add(name)
        furthest = max(furthest, abs(offset) + 2.0 * own)
    eye = record.eye
    if eye is not None:
        end = record.file.axis.end_chainage_m
        limit = eye.tolerance_mm[plane]
        ax.plot(
            [end, end],
            [-limit, limit],
            color=INK,
            linewidth=3.0,
            solid_capstyle="butt",
            label="reception eye",
        )
    reach = max(float(y[:, plane].max()), float((np.abs(value) + 1.96 * sd).max()), furthest) * 1.1
    ax.set_ylim(-reach, reach)
    along(ax, record, label=False)
    sides(ax, PLANES[plane], *SIDES[plane])
    figures = (record.line, record.level)[plane].figures
    ax.set_title(
        f"{PLANES[plane].capitalize()} deviation: largest {words.largest(figures, plane)}, "
        f"RMS {words.spread(figures, plane)[1]}",
        pad=4,
    )
    key(ax, 8)


def _behind(record: AsBuilt, point: str) -> float:
    """How far behind the face the surveyed point lay."""
    return {"target": record.file.target.behind_face_m, "tail": record.file.machine.length_m}.get(point, 0.0)
