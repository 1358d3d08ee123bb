"""The steering record: strips along the drive, then stroke by stroke what was proposed, decided, set, answered."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.marks import along, key
from steer.asbuilt.report.sheet import BLUE, GREY, INK, PALE, PALE_BLUE, RED, Sheet, evenly
from steer.asbuilt.strokes import Pair, StrokeRow
from steer.text import PLANES, TURNS

_SIZE = 6.8
_LONGEST = 600  # strokes listed; the workbook has them all
_LETTERS = ("RL", "UD")
_GROUPS = {3: "proposed", 6: "decided", 9: "set, as read", 11: "nose turned", 13: "gain"}  # column: head
_HEAD = ["no.", "from", "to", "line", "level", "", "", "line", "level", "line", "level", "line", "level",
         "line", "level"]  # fmt: skip
_WIDTHS = [9.0, 11.5, 11.5, 14.0, 12.5, 9.0, 18.0, 10.5, 12.5, 14.0, 12.5, 14.0, 12.5, 12.0, 10.0]
_RIGHT = frozenset({0, 1, 2, 3, 4, 7, 8, 9, 10, 11, 12, 13, 14})
_DECIDED = {"none recorded": "", "overridden": "own setting"}


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """The strips, then the list, as many pages as it needs."""
    found: list[tuple[str, bool, Callable[[Sheet], None]]] = [
        ("Steering record", True, lambda sheet: _strips(sheet, record))
    ]
    rows = [_row(stroke) for stroke in record.strokes[:_LONGEST]]
    first, most = 0, evenly(len(rows), Sheet.lines(record.file.report.paper, _SIZE, 18.0))
    while first < len(rows):
        part = rows[first : first + most]
        first += most
        cut = first >= len(rows) and len(record.strokes) > _LONGEST
        found.append(("Steering, stroke by stroke", False, partial(_list, rows=part, cut=cut)))
    return found


def _row(stroke: StrokeRow) -> list[str]:
    return [
        str(stroke.number), f"{stroke.from_m:.2f}", f"{stroke.to_m:.2f}",
        *_pair(stroke.proposed), "  hold" if stroke.hold else "",
        _DECIDED.get(stroke.decision, stroke.decision), *_pair(stroke.decided),
        *_pair(stroke.set_to), *_pair(stroke.answered),
        *(f"{gain:.1f}" for gain in stroke.gain),  # its sd is some 0.1
    ]  # fmt: skip


def _pair(values: Pair | None) -> list[str]:
    if values is None:
        return ["", ""]
    return [_way(value, letters) for value, letters in zip(values, _LETTERS, strict=True)]


def _way(value: float, letters: str) -> str:
    """`3.5 R`, columns of which stay in line."""
    text = f"{abs(value):.1f}"
    return f"{text}   " if float(text) == 0.0 else f"{text} {letters[0] if value > 0 else letters[1]}"


def _list(sheet: Sheet, rows: list[list[str]], cut: bool) -> None:
    scale = sheet.inner / sum(_WIDTHS)
    widths = [scale * w for w in _WIDTHS]
    for column, name in _GROUPS.items():
        ahead = 4.5 if column in _RIGHT else 0.0  # over figures that are set flush right
        sheet.text(sheet.left + sum(widths[:column]) + ahead, sheet.top, name, _SIZE, True)
    y = sheet.table(sheet.left, sheet.top + 3.6, widths, [_HEAD, *rows], _SIZE, 1, _RIGHT, bands=5)
    note = (
        "From, to: chainage of the face, m. Articulation and turn in mm/m: R right, L left; U up, D down. "
        "Nose turned: over the stroke, the design curve included. Gain: share of rigid guidance, as known now. "
        "Empty: not in the log."
    )
    if cut:
        note += " The rest is in the workbook."
    sheet.paragraph(sheet.left, y + 1.0, note, sheet.inner, 6.8)


def _strips(sheet: Sheet, record: AsBuilt) -> None:
    left, width = sheet.left + 16.0, sheet.inner - 20.0
    each = (sheet.bottom - sheet.top - 8.0) / 3.0
    for plane in (0, 1):
        ax = sheet.axes(left, sheet.top + 9.0 + plane * each, width, each - 14.0)
        _strokes(ax, record, plane)
    _gain(sheet.axes(left, sheet.top + 9.0 + 2 * each, width, each - 18.0), record)
    told = sum(s.proposed is not None for s in record.strokes)
    kinds = [s.decision for s in record.strokes]
    holds = sum(s.hold for s in record.strokes)
    sheet.text(
        left, sheet.bottom - 4.5,
        f"{len(record.strokes)} strokes; proposed in {told} (hold in {holds}); accepted in "
        f"{kinds.count('accepted')}, own setting in {kinds.count('overridden')}, no decision recorded in "
        f"{kinds.count('none recorded')}." + ("" if told else " The log holds no proposals."),
        size=7.5,
    )  # fmt: skip


def _strokes(ax: Any, record: AsBuilt, plane: int) -> None:
    rows = record.strokes
    edges = np.array([*(s.from_m for s in rows), *(s.to_m for s in rows[-1:])])
    middle = 0.5 * (edges[1:] + edges[:-1])

    def column(name: str) -> np.ndarray:
        return np.array([np.nan if getattr(s, name) is None else getattr(s, name)[plane] for s in rows])

    ax.axhline(0.0, color=INK, linewidth=0.5)
    ax.bar(
        middle, column("answered"), width=np.diff(edges), facecolor=PALE, edgecolor=GREY, linewidth=0.3,
        label="nose turned over the stroke",
    )  # fmt: skip
    ax.stairs(
        column("set_to"), edges, baseline=None, color=BLUE, linewidth=1.3, label="articulation set (as read)"
    )
    proposed = column("proposed")
    if np.isfinite(proposed).any():
        ax.hlines(proposed, edges[:-1], edges[1:], color=INK, linewidth=0.9, label="proposed")
    for kind, marker, name in (("accepted", "o", "accepted"), ("overridden", "x", "own setting")):
        mine = np.array([s.decision == kind for s in rows])
        if mine.any():
            ax.plot(
                middle[mine], column("decided")[mine], linestyle="none", marker=marker, label=name,
                markersize=2.6 if kind == "accepted" else 4.5, markeredgecolor=INK if kind == "accepted" else RED,
                markerfacecolor="white", markeredgewidth=0.6 if kind == "accepted" else 1.2,
            )  # fmt: skip
    along(ax, record, label=False)
    ax.set_ylabel("mm/m")
    more, less = TURNS[plane]
    ax.set_title(f"Steering in {PLANES[plane]} (+ {more}, - {less})", pad=4)
    key(ax, 5)


def _gain(ax: Any, record: AsBuilt) -> None:
    at = np.array([s.to_m for s in record.strokes])
    for plane, colour, dash in ((0, BLUE, "solid"), (1, INK, (0, (5, 2)))):
        gain = np.array([s.gain[plane] for s in record.strokes])
        sd = np.array([s.gain_sd[plane] for s in record.strokes])
        ground = (PALE_BLUE, PALE)[plane]
        ax.fill_between(at, gain - sd, gain + sd, facecolor=ground, edgecolor="none", alpha=0.6)
        ax.plot(at, gain, label=PLANES[plane], color=colour, linewidth=1.2, linestyle=dash)
    ax.set_ylim(0.0, max(1.0, 1.1 * ax.get_ylim()[1]))
    along(ax, record)
    ax.set_ylabel("share")
    ax.set_title(
        "Learned gain: answer of the bore to articulation, share of rigid guidance (band: ± 1 sd)", pad=4
    )
    key(ax, 2)
