"""Rows of a CSV text: separator, header, decimal commas, widths."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from typing import Any

from steer.intake.fields import Field
from steer.intake.problems import nearest
from steer.intake.reading import MOST_ROWS, Mapped, Row, Stop, Wanted, lines_of
from steer.text import printable, shown

_MOST_COLUMNS = 500
_MOST_SEEN = 5000
_DOUBTFUL = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")  # 1,234: decimal comma, or thousands?

Place = tuple[str, Mapped, Field]


def csv_rows(text: str, wanted: Wanted) -> list[Row]:
    """The good rows; what is wrong with the others is collected."""
    problems = wanted.problems
    try:
        separator = _separator(text, wanted)
        numbered = _cells(text, separator, wanted)
        line, header = next(numbered, (1, []))
        places = _header(header, line, wanted)
        raw = list(_as_wide_as(len(header), numbered, separator, wanted))
    except Stop:
        return []
    if not raw:
        if not problems:
            problems.add("has a header but no rows")
        return []
    comma = separator != "," and _decimal_comma(raw, places)
    if comma:
        wanted.remarks.append("numbers understood with a decimal comma")
    rows = []
    seen: list[dict[str, Any]] = [{} for _ in places]  # checked cells of a column: most come again
    for line, cells in raw:
        before = problems.count
        values, named = {}, []
        for cell, place, known in zip(cells, places, seen, strict=True):
            if not (cell and place):
                continue
            name = place[0]
            named.append(name)
            if cell in known:
                values[name] = known[cell]
            elif found := wanted.check(place, cell, line, comma):
                values.update(found)
                if len(known) < _MOST_SEEN:
                    known[cell] = found[name]
        if row := wanted.complete(line, values, named, before):
            rows.append(row)
    return rows


def _separator(text: str, wanted: Wanted) -> str:
    """The one that makes most known names of the header; the comma in doubt."""
    header = next(line for line in lines_of(text, wanted.problems) if line.strip())

    def known(separator: str) -> int:
        return sum(cell.strip().strip('"') in wanted.columns for cell in header.split(separator))

    best = max(",;\t", key=known)  # the first of equals
    return best if known(best) else max(",;\t", key=header.count)


def _cells(text: str, separator: str, wanted: Wanted) -> Iterator[tuple[int, list[str]]]:
    """Line number and stripped cells of every line that is not blank, the header first."""
    reader = csv.reader(lines_of(text, wanted.problems), delimiter=separator, strict=True)
    start = 1
    try:
        for raw in reader:
            cells = [cell.strip() for cell in raw]
            if any(cells):
                yield start, cells
            start = reader.line_num + 1
    except csv.Error as error:
        wanted.problems.add(f"is not CSV from here on: {error}", start)
        raise Stop from None


def _header(header: list[str], line: int, wanted: Wanted) -> list[Place | None]:
    """For every column its field, None for one that a map leaves out. Stop when the header is wrong."""
    problems, before = wanted.problems, wanted.problems.count
    while header and not header[-1]:
        header.pop()
    if not header:
        problems.add("is empty: needs a header and rows")
        raise Stop
    if len(header) > _MOST_COLUMNS:
        problems.add(f"has {len(header)} columns: at most {_MOST_COLUMNS} are allowed", line)
        raise Stop
    places = [wanted.place(name) for name in header]
    unknown = []
    for number, (name, place) in enumerate(zip(header, places, strict=True), 1):
        if name in header[: number - 1]:
            problems.add(f"column {number}: {shown(name)} is there twice", line)
        elif place is None and wanted.mapped is None:
            problems.add(f"column {number}: {wanted.not_known(name)}", line)
        elif place is None:
            unknown.append(name)
    expected = wanted.columns if wanted.mapped is not None else {n: (n, Mapped(n)) for n in wanted.required}
    for column in expected:
        if column not in header:
            problems.add(f"column {shown(column)} is missing in the header{nearest(column, header)}", line)
    if wanted.mapped is not None:
        for name in wanted.required:
            if name not in wanted.mapped:
                problems.add(f"{printable(name)} is missing in the map: every row needs it")
        wanted.left_out(unknown, "columns")
    if problems.count > before:
        raise Stop
    return places


def _as_wide_as(
    width: int, numbered: Iterator[tuple[int, list[str]]], separator: str, wanted: Wanted
) -> Iterator[tuple[int, list[str]]]:
    """The rows as wide as the header. A shorter one may be cut off inside a number, so it is no row."""
    for count, (line, cells) in enumerate(numbered, 1):
        if count > MOST_ROWS:
            wanted.problems.add(f"has more than {MOST_ROWS} rows: split it", line)
            raise Stop
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if len(cells) == width:
            yield line, cells
            continue
        hint = "; a decimal number is written with a point" if len(cells) > width and separator == "," else ""
        wanted.problems.add(f"has {len(cells)} cells where the header has {width}{hint}", line)


def _decimal_comma(raw: list[tuple[int, list[str]]], places: list[Place | None]) -> bool:
    """Whether numbers have a decimal comma: when some number can be read no other way, and none has a point.
    Where 1,234 alone leaves it open, it stays refused."""
    columns = [k for k, place in enumerate(places) if place and place[2].number]
    cells = [cells[k] for _, cells in raw for k in columns]
    with_comma = [cell for cell in cells if "," in cell]
    doubtful = any("." in cell for cell in cells) or all(_DOUBTFUL.fullmatch(cell) for cell in with_comma)
    return bool(with_comma) and not doubtful
