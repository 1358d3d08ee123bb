"""Check surveys with innovations, laid pipes against the machine's path, notices and events."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from steer.asbuilt import tables, words
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.marks import along, key
from steer.asbuilt.report.sheet import BLUE, INK, PALE_BLUE, Sheet
from steer.text import PLANES, figure, printable

_ROWS = 46


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """As many pages as the check surveys need, notices and events on the last."""
    found: list[tuple[str, bool, Callable[[Sheet], None]]] = []
    rows = _shot_rows(record)
    for first in range(0, max(len(rows), 1), _ROWS):
        part, last = rows[first : first + _ROWS], first + _ROWS >= len(rows)
        found.append(
            ("Check surveys and findings", False, partial(_shots, record=record, rows=part, last=last))
        )
    return found


def _shot_rows(record: AsBuilt) -> list[list[str]]:
    rows = []
    for s in record.surveys:
        cells = [
            str(s.number),
            "  " + (s.time or record.survey_times.get(s.number, ""))[:16].replace("T", " "),
        ]
        cells += [f"{s.chainage_m:.2f}", " " + s.point]
        for k, (value, own, nu, nu_sd) in enumerate(
            (
                (s.line_mm, s.sd_line_mm, s.innovation_line_mm, s.innovation_sd_line_mm),
                (s.level_mm, s.sd_level_mm, s.innovation_level_mm, s.innovation_sd_level_mm),
            )
        ):
            cells.append("  not shot" if not np.isfinite(value) else f"  {words.side(value, k, own)}")
            cells.append("" if nu is None or nu_sd is None else f"{_signed(nu, nu_sd)} ({nu_sd:.1f})")
            cells.append("" if nu is None or not nu_sd else _signed(nu / nu_sd, 0.1))
        rows.append([*cells, "  " + s.verdict])
    return rows


def _signed(value: float, sd: float) -> str:
    text = figure(value, sd)
    return text if float(text) == 0.0 else f"{'+' if value > 0 else '-'}{text}"


def _shots(sheet: Sheet, record: AsBuilt, rows: list[list[str]], last: bool) -> None:
    y = sheet.paragraph(
        sheet.left, sheet.top,
        "Innovation: survey minus the estimate before it, mm, with the sd expected of it; beside it their "
        "ratio, which lies within ±2 in 95 of 100 cases.",
        sheet.inner, 7.5,
    ) + 2.0  # fmt: skip
    head = [
        "event",
        "  time, UTC",
        "chainage",
        " point",
        "  line",
        "innovation",
        "ratio",
        "  level",
        "innovation",
        "ratio",
        "  taken",
    ]
    widths = [9.8, 26.0, 14.6, 10.5, 22.8, 18.0, 9.5, 22.6, 18.0, 9.5, 16.5]
    widths = [w * sheet.inner / sum(widths) for w in widths]
    if rows:
        y = sheet.table(
            sheet.left, y, widths, [head, *rows], 7.0, right=frozenset({0, 2, 5, 6, 8, 9}), bands=5
        )
    else:
        y = sheet.paragraph(
            sheet.left,
            y,
            "No check survey is in the log: the line rests on the reference alone.",
            sheet.inner,
        )
    if not last:
        return
    y += 6.0
    if rows and sheet.bottom - y > 100.0:
        _innovations(sheet.axes(sheet.left + 14.0, y + 8.0, sheet.inner - 18.0, 46.0), record)
        y += 68.0
    moved = record.string_difference
    if moved:
        sheet.text(sheet.left, y, "Laid pipes against the machine's path", size=9.0, bold=True)
        y += 5.5
        for line in words.survey_lines(record)[1:13]:
            y = sheet.paragraph(sheet.left, y, line, sheet.inner)
        if len(moved) > 12:
            y = sheet.paragraph(sheet.left, y, f"and {len(moved) - 12} more, in the workbook.", sheet.inner)
        y += 4.0
    _findings(sheet, record, y)


def _innovations(ax: Any, record: AsBuilt) -> None:
    """Innovations over their expected sd, along the drive."""
    ax.axhspan(-1.96, 1.96, facecolor=PALE_BLUE, edgecolor="none", alpha=0.6, label="95 % of them")
    ax.axhline(0.0, color=INK, linewidth=0.5)
    most = 3.0
    for plane, (marker, fill) in enumerate((("o", "white"), ("s", BLUE))):
        at, ratio = [], []
        for s in record.surveys:
            nu, sd = (
                (s.innovation_line_mm, s.innovation_sd_line_mm),
                (s.innovation_level_mm, s.innovation_sd_level_mm),
            )[plane]
            if nu is not None and sd:
                at.append(s.chainage_m)
                ratio.append(nu / sd)
        most = max([most, *(1.15 * abs(r) for r in ratio)])
        ax.plot(
            at, ratio, linestyle="none", marker=marker, markersize=4.5, markerfacecolor=fill,
            markeredgecolor=INK, label=PLANES[plane],
        )  # fmt: skip
    ax.set_ylim(-most, most)
    along(ax, record)
    ax.set_ylabel("ratio")
    ax.set_title("Innovation over the sd expected of it", pad=4)
    key(ax, 3)


def _findings(sheet: Sheet, record: AsBuilt, y: float) -> None:
    sheet.text(sheet.left, y, "Notices, and what was entered", size=9.0, bold=True)
    y += 5.5
    table = tables.said(record)
    if not table.rows:
        sheet.paragraph(sheet.left, y, "None.", sheet.inner)
        return
    for number, (at, arrived, kind, text) in enumerate(table.rows):
        if y > sheet.bottom - 8.0:
            sheet.paragraph(
                sheet.left, y, f"and {len(table.rows) - number} more, in the workbook.", sheet.inner
            )
            return
        where = "" if at is None else f"{float(at):.1f} m"
        none = "earlier" if str(kind).startswith("earlier") else "now"
        sheet.text(sheet.left, y, where, 7.5)
        sheet.text(
            sheet.left + 16.0,
            y,
            str(arrived or none)[:16].replace("T", " "),
            7.5,
        )
        sheet.text(sheet.left + 44.0, y, str(kind).removeprefix("earlier ").replace("_", " "), 7.5)
        y = sheet.paragraph(sheet.left + 82.0, y, printable(text, 400), sheet.inner - 82.0, 7.5)
