"""The tables: per metre and per joint, as many pages as they need."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from steer.asbuilt import string_words, tables
from steer.asbuilt.lie import PATH
from steer.asbuilt.record import AsBuilt, Judged
from steer.asbuilt.report.sheet import Sheet, evenly
from steer.text import figure, within

_LONGEST = 1200  # rows; beyond that the report says where the rest is
_SIZE = 6.4
_HEAD = [
    ["chainage", "line", "±", "verdict", "level", "±", "verdict", "easting", "northing", "level",
     "grade", "joint", "below", "gap", "force"],
    ["m", "mm", "mm", "", "mm", "mm", "", "m", "m", "m", "mm/m", "mm/m", "mm/m", "mm", "kN"],
]  # fmt: skip
# wide enough for coordinates of seven digits beside one another on the narrower paper
_WIDTHS = [13.2, 11.5, 7.5, 14.4, 11.5, 7.5, 14.4, 16.8, 16.8, 12.4, 9.5, 9.5, 9.5, 7.4, 8.2]
_RIGHT = frozenset({0, 1, 2, 4, 5, 7, 8, 9, 10, 11, 12, 13, 14})


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """Per metre, then per joint."""
    return [
        *_table(record, "Per metre", record.metres, False),
        *_table(record, "Per joint of the string as it lies now", record.pipes, True),
    ]


def _table(
    record: AsBuilt, title: str, judged: Judged, numbered: bool
) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    rows = _rows(record, judged, numbered)
    found: list[tuple[str, bool, Callable[[Sheet], None]]] = []
    count = evenly(min(len(rows), _LONGEST), Sheet.lines(record.file.report.paper, _SIZE, 16.0))
    for first in range(0, min(len(rows), _LONGEST), count):
        part = rows[first : min(first + count, _LONGEST)]
        cut = len(rows) > _LONGEST and first + count >= _LONGEST
        found.append((title, False, partial(_draw, rows=part, numbered=numbered, cut=cut)))
    return found


def _draw(sheet: Sheet, rows: list[list[str]], numbered: bool, cut: bool) -> None:
    head, widths, right = [list(row) for row in _HEAD], list(_WIDTHS), _RIGHT
    if numbered:
        head[0].insert(0, "no.")
        head[1].insert(0, "")
        widths.insert(0, 6.6)
        right = frozenset({0, *(c + 1 for c in _RIGHT)})
    scale = sheet.inner / sum(widths)
    y = sheet.table(
        sheet.left, sheet.top, [scale * w for w in widths], [*head, *rows], _SIZE, 2, right, bands=5
    )
    note = (
        "line R right, L left; level H high, B below; ± holds 95 %; grade over one pipe, + rising; joint, gap, "
        "force: angle, opening and permissible force of a joint there; below: the angle lies under it with "
        "97.5 % probability. * pipe survey, ' near one."
    )
    if numbered:
        note += " Joint 0 is between the machine and the first pipe."
    if cut:
        note += " The rest is in the CSV file and the workbook."
    sheet.paragraph(sheet.left, y + 1.0, note, sheet.inner, 6.4)


def _rows(record: AsBuilt, judged: Judged, numbered: bool) -> list[list[str]]:
    names = tables.PLACE_COLUMNS
    found = []
    for i, row in enumerate(tables.places(record, judged)):
        cell = dict(zip(names, row, strict=True))
        cells = [f"{cell['chainage_m']:.2f}"]
        for k, (plane, letters) in enumerate((("line", "RL"), ("level", "HB"))):
            value = judged.lie.offset_mm[i, k]
            sd = judged.lie.sd_mm[i, k]
            text = figure(value, sd)
            letter = "  " if float(text) == 0 else letters[0] if value > 0 else letters[1]
            mark = "" if judged.lie.source[i, k] == PATH else ("'", "*")[int(judged.lie.source[i, k] == 2)]
            cells += [
                f"{text} {letter}{mark}",
                within(sd),
                " " + str(cell[f"{plane}_verdict"]),
            ]
        cells += [f"{judged.easting_m[i]:.3f}", f"{judged.northing_m[i]:.3f}", f"{judged.level_m[i]:.3f}"]
        for name, digits in (
            ("grade_mm_per_m", 1),
            ("joint_angle_mm_per_m", 1),
            ("joint_angle_upper_mm_per_m", 1),
            ("joint_gap_mm", 1),
        ):
            value = cell[name]
            cells.append(
                "" if value is None or not np.isfinite(float(value)) else f"{float(value):.{digits}f}"
            )
        force = cell["joint_permissible_kn"]
        cells.append("" if force is None else string_words.permissible(float(force)))
        found.append([str(i), *cells] if numbered else cells)
    return found
