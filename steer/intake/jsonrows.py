"""Rows of a JSON Lines text: one object a line (RFC 8259)."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from steer.intake.fields import NotAllowed
from steer.intake.reading import MOST_ROWS, Row, Stop, Wanted, lines_of
from steer.text import shown

_DEEPEST = 20  # of nesting
_STRING = re.compile(r'"(?:[^"\\]|\\.)*"?', re.DOTALL)  # to the end of the line where it does not end before


class _Constant(float):
    """NaN, Infinity or -Infinity, which are no numbers in JSON, as it was written."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __repr__(self) -> str:
        return self._name


def json_rows(text: str, wanted: Wanted) -> list[Row]:
    """The good rows; what is wrong with the others is collected."""
    problems = wanted.problems
    if re.match(r"\s*\[", text):
        problems.add("is a JSON array: write one JSON object a line (JSON Lines)")
        return []
    rows: list[Row] = []
    unknown: dict[str, None] = {}
    count = 0
    try:
        for number, line in enumerate(lines_of(text, problems), 1):
            if not line.strip():
                continue
            count += 1
            if count > MOST_ROWS:
                problems.add(f"has more than {MOST_ROWS} lines: split it", number)
                break
            try:
                found = parse_object(line)
            except NotAllowed as problem:
                problems.add(str(problem), number)
                continue
            if row := _row(number, found, wanted, unknown):
                rows.append(row)
    except Stop:
        return []
    wanted.left_out(unknown, "members")
    return rows


def _row(line: int, found: Mapping[str, Any], wanted: Wanted, unknown: dict[str, None]) -> Row | None:
    before = wanted.problems.count
    values: dict[str, Any] = {}
    named = []
    for name, value in found.items():
        place = wanted.place(name)
        if place is None and wanted.mapped is None:
            wanted.problems.add(wanted.not_known(name), line)
        elif place is None:
            unknown[name] = None
        elif value is not None:
            named.append(place[0])
            values.update(wanted.check(place, value, line, None))
    return wanted.complete(line, values, named, before)


def parse_object(line: str) -> dict[str, Any]:
    """One line as one JSON object: no name twice, no deep nesting. NaN and Infinity are left to the field that they
    stand in, which can say what is allowed there. Raises NotAllowed."""
    if line.count("{") + line.count("[") > _DEEPEST:  # only then can it be nested too deeply
        depth = deepest = 0
        for character in _STRING.sub("", line):
            depth += (character in "[{") - (character in "]}")
            deepest = max(deepest, depth)
        if deepest > _DEEPEST:
            raise NotAllowed(f"is nested more than {_DEEPEST} deep")
    try:
        found = json.loads(line, object_pairs_hook=_no_name_twice, parse_constant=_Constant)
    except NotAllowed:
        raise
    except json.JSONDecodeError as error:
        what = error.msg.removesuffix(" at")
        raise NotAllowed(f"is not a JSON object: {what} at character {error.pos + 1}") from None
    except (ValueError, RecursionError):
        raise NotAllowed("is not a JSON object: a number or the nesting is too long") from None
    if not isinstance(found, dict):
        raise NotAllowed(f"is not a JSON object in braces but {shown(found)}")
    return found


def _no_name_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        twice = next(name for name, _ in pairs if name in seen or seen.add(name))  # type: ignore[func-returns-value]
        raise NotAllowed(f"has {shown(twice)} twice in one object")
    return found
