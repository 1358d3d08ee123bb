"""The record's tables as a workbook, a sheet a table, with a summary first."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from steer.asbuilt import string_words, tables, words
from steer.asbuilt.record import AsBuilt
from steer.text import PLANES, printable

_DIGITS = {  # shown; the cells hold what the CSV holds
    "_m": "0.000",
    "_mm": "0.0",
    "_mm_per_m": "0.0",
    "design_grade_mm_per_m": "0.00",
    "gain_line": "0.0",
    "gain_level": "0.0",
    "gain_line_sd": "0.00",
    "gain_level_sd": "0.00",
    "_kn": "0",
    "_kpa": "0.0",
    "_probability": "0.0000",
}


def write_xlsx(record: AsBuilt, path: Path) -> None:
    """Write the workbook. Text is stored as text, whatever it begins with, so no cell starts a formula."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.title = "summary"
    for head, text in summary(record):
        sheet.append(("", ""))
        _text(sheet.cell(sheet.max_row, 1), head, bold=True)
        _text(sheet.cell(sheet.max_row, 2), text, wrap=True)
    sheet.column_dimensions["A"].width = 26
    sheet.column_dimensions["B"].width = 100
    for table in tables.all_tables(record):
        _sheet(book.create_sheet(table.title), table)
    book.properties.title = f"As-built record: {printable(record.file.drive.name)}"
    book.properties.creator = f"steer {record.version}"
    content = (
        io.BytesIO()
    )  # on a full disk the library's own file would complain once more when it is dropped
    book.save(content)
    path.write_bytes(content.getvalue())


def summary(record: AsBuilt) -> list[tuple[str, str]]:
    """Head and text of what the first sheet says."""
    file = record.file
    rows = [
        ("drive", file.drive.name),
        ("covers", words.covered(record)),
        ("verdict", words.overall(record)),
        ("tolerance", words.tolerance(record)),
        ("decision rule", words.rule(record)),
        ("stands on", words.basis(record)),
    ]
    for k, plane in enumerate((record.line, record.level)):
        c, f = plane.counted, plane.figures
        mean, rms, most = words.spread(f, k)
        rows += [
            (f"{PLANES[k]}: inside", words.metres_of(c, c.inside_m)),
            (f"{PLANES[k]}: outside", words.metres_of(c, c.outside_m)),
            (f"{PLANES[k]}: cannot tell", words.metres_of(c, c.cannot_tell_m)),
            (f"{PLANES[k]}: outside, sd ignored", words.metres_of(c, c.naive_outside_m)),
            (f"{PLANES[k]}: longest run outside", words.run(c)),
            (f"{PLANES[k]}: mean", mean),
            (f"{PLANES[k]}: RMS", rms),
            (f"{PLANES[k]}: 95th percentile", most),
            (f"{PLANES[k]}: largest", words.largest(f, k)),
        ]
    if record.eye is not None:
        rows.append(("reception eye", words.eye(record.eye)))
    for head, texts in (
        ("grade", words.falls_lines(record)),
        ("joints", string_words.joint_lines(record)),
        ("force", string_words.force_lines(record)),
    ):
        rows += [(head if i == 0 else "", text) for i, text in enumerate(texts)]
    seal = record.seal
    rows += [
        ("log", f"{seal.events} events, last hash {seal.head}" + ("" if seal.whole else " (NOT WHOLE)")),
        ("program", f"steer {record.version}"),
        ("caution", words.CAUTION),
        ("", string_words.FORCE_CAUTION),
    ]
    return rows


def _sheet(sheet: Any, table: tables.Table) -> None:
    from openpyxl.styles import Alignment
    from openpyxl.utils import get_column_letter

    for column, name in enumerate(table.columns, 1):
        cell = sheet.cell(1, column)
        _text(cell, _header(name), bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        width = 60 if name == "text" else 22 if name in ("time", "arrived") or "source" in name else 11
        sheet.column_dimensions[get_column_letter(column)].width = width
    formats = [_format(name) for name in table.columns]
    for number, row in enumerate(table.rows, 2):
        for column, value in enumerate(row, 1):
            if value is None:
                continue
            cell = sheet.cell(number, column)
            if isinstance(value, str):
                _text(cell, value)
            else:
                cell.value = value
                cell.number_format = formats[column - 1]
    sheet.freeze_panes = "B2" if table.columns[0] != "joint" else "C2"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"


def _header(name: str) -> str:
    """`line_sd_mm` as `line sd [mm]`."""
    for end, unit in (
        ("_mm_per_m", "mm/m"), ("_mm", "mm"), ("_m", "m"), ("_kn", "kN"), ("_kpa", "kPa"), ("_l", "l"),
    ):  # fmt: skip
        if name.endswith(end):
            return f"{name.removesuffix(end).replace('_', ' ')} [{unit}]"
    return name.replace("_", " ")


def _format(name: str) -> str:
    if name in ("joint", "stroke", "event"):
        return "0"
    for end in sorted(_DIGITS, key=len, reverse=True):
        if name.endswith(end):
            return _DIGITS[end]
    return "General"


def _text(cell: Any, text: str, bold: bool = False, wrap: bool = False) -> None:
    from openpyxl.styles import Alignment, Font

    cell.value = printable(text)
    cell.data_type = "s"  # else "=1+1" in a note would be stored as a formula
    if text[:1] in ("=", "+", "-", "@"):
        cell.quotePrefix = True  # and stays text when somebody edits the cell
    if bold:
        cell.font = Font(bold=True)
    if wrap:
        cell.alignment = Alignment(wrap_text=True, vertical="top")
