"""`--map MAP.toml`: where the fields stand in files that have other headers.

chainage_m = "Station [m]"                              # the column, as it is
spot_right_mm = { column = "X [m]", factor = -1000.0 }  # value = factor · cell + offset
"""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Mapping

from steer.intake.fields import Field, Number
from steer.intake.problems import Problems, nearest
from steer.intake.reading import Mapped
from steer.intake.tables import read_bytes
from steer.text import printable, shown

_KEYS = ("column", "factor", "offset")


def load_map(path: str | os.PathLike[str], fields: Mapping[str, Field]) -> dict[str, Mapped]:
    """The map in a TOML file; InputRefused lists everything that is wrong with it."""
    problems = Problems(path)
    content = read_bytes(path, largest=1_000_000)
    raw: dict[str, object] = {}
    try:
        raw = tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError:
        problems.add("is not UTF-8 text")
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        problems.add(f"is not TOML: {printable(error, 200)}")
    found: dict[str, Mapped] = {}
    for name, given in raw.items():
        if name not in fields:
            problems.add(f"{shown(name)} is not known{nearest(name, fields)}")
        elif mapped := _mapped(name, given, fields[name], problems):
            twice = next((other for other, m in found.items() if m.column == mapped.column), None)
            if twice:
                problems.add(f"{name}: column {shown(mapped.column)} is already given to {twice}")
            found[name] = mapped
    if not raw and not problems:
        problems.add('is empty: needs lines such as chainage_m = { column = "Station [m]" }')
    problems.refuse_if_any()
    return found


def _mapped(name: str, given: object, field: Field, problems: Problems) -> Mapped | None:
    table = {"column": given} if isinstance(given, str) else given
    if not isinstance(table, dict):
        problems.value(name, given, 'a column\'s name, or { column = "…", factor = …, offset = … }')
        return None
    before = problems.count
    for key in table:
        if key not in _KEYS:
            problems.add(f"{name}.{printable(key, 60)} is not known{nearest(key, _KEYS)}")
    column = table.get("column")
    if column is None:
        problems.missing(f"{name}.column", "the name of a column in the header")
    elif not isinstance(column, str) or not column.strip():
        problems.value(f"{name}.column", column, "the name of a column in the header")
    numbers = {"factor": 1.0, "offset": 0.0}
    for key in numbers:
        if key not in table:
            continue
        value = table[key]
        good = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12
        if not good or not math.isfinite(value) or (key == "factor" and value == 0):
            problems.value(f"{name}.{key}", value, "a number" + (", not 0" if key == "factor" else ""))
        elif not isinstance(field, Number):
            problems.add(f"{name}.{key}: {name} is no number, so it can have no {key}")
        else:
            numbers[key] = float(value)
    return Mapped(str(column).strip(), **numbers) if problems.count == before else None
