"""Which file kinds there are, and what writes each; libraries are loaded only by the kind asked for."""

from __future__ import annotations

import importlib
import importlib.util
from pathlib import Path

from steer.asbuilt.record import AsBuilt
from steer.asbuilt.writing import write_whole
from steer.errors import InputRefused

# option -> (module, function, name of the extra's package)
KINDS: dict[str, tuple[str, str, str]] = {
    "report": ("steer.asbuilt.report", "write_report", "matplotlib"),
    "csv": ("steer.asbuilt.csv_out", "write_csv", ""),
    "xlsx": ("steer.asbuilt.xlsx_out", "write_xlsx", "openpyxl"),
    "dxf": ("steer.asbuilt.dxf_out", "write_dxf", "ezdxf"),
    "landxml": ("steer.asbuilt.landxml_out", "write_points", ""),
}


def write(record: AsBuilt, kind: str, path: Path, new: bool = False) -> None:
    """Write one file, whole or not at all; with `new` never over one that is there. Raises what `write_whole`
    raises, and InputRefused when the library for it is not installed."""
    module, name, package = KINDS[kind]
    if package and importlib.util.find_spec(package) is None:
        raise InputRefused(
            f"--{kind} needs the package {package}, which is not installed: install this program with its "
            "extra `report`"
        )
    make = getattr(importlib.import_module(module), name)
    write_whole(path, lambda place: make(record, place), new)
