"""The per-metre and per-joint table as CSV: UTF-8, comma, point, empty where not known."""

from __future__ import annotations

import csv
from pathlib import Path

from steer.asbuilt import tables
from steer.asbuilt.record import AsBuilt


def write_csv(record: AsBuilt, path: Path) -> None:
    """`row` is "metre" or "joint"; joints count from the machine. No cell starts a formula: every text is
    one of this program's own words."""
    with open(path, "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(("row", "joint", *tables.PLACE_COLUMNS))
        for row in tables.metres(record).rows:
            table.writerow(("metre", "", *("" if v is None else v for v in row)))
        for row in tables.joints(record).rows:
            table.writerow(("joint", *("" if v is None else v for v in row)))
