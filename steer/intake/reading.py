"""What the CSV and the JSON Lines reader share: which columns are wanted, and the check of one row."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from steer.intake.fields import Field, NotAllowed, Number
from steer.intake.problems import Problems, nearest
from steer.text import printable, shown

MOST_ROWS = 200_000
LONGEST_LINE = 1_000_000
_NO_VALUE = ("", "nan", "inf", "infinity", "n/a", "na", "null", "none")  # once + and - are taken off
_LINE = re.compile(r"[^\r\n]*(?:\r\n?|\n)|[^\r\n]+")


class Stop(Exception):
    """The rest of the file cannot be read; the reason is among the problems."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file (the first is 1) and its checked values; what was empty is absent."""

    line: int
    values: dict[str, Any]


@dataclass(frozen=True)
class Mapped:
    """A field under another name: value = factor · cell + offset."""

    column: str
    factor: float = 1.0
    offset: float = 0.0

    @property
    def as_it_is(self) -> bool:
        """Whether the value is the cell's."""
        return self.factor == 1.0 and self.offset == 0.0


@dataclass(frozen=True)
class Kind(Field):
    """The "kind" of a row, which may be left out but not be another one."""

    kind: str

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f'"{self.kind}", which is what is read here'

    def from_json(self, value: object) -> str:
        if value != self.kind:
            raise NotAllowed(self.allowed)
        return self.kind


@dataclass
class Wanted:
    """What is looked for in a file, and what was found wrong with it or worth a remark."""

    fields: Mapping[str, Field]
    required: Collection[str]
    kind: str | None
    mapped: Mapping[str, Mapped] | None
    hint: Mapping[str, str]
    problems: Problems
    remarks: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        as_named = {name: Mapped(name) for name in self.fields}
        # name in the file -> (field, how it is mapped)
        self.columns = {m.column: (name, m) for name, m in (self.mapped or as_named).items()}

    def place(self, name: str) -> tuple[str, Mapped, Field] | None:
        """The field that a name in the file stands for; None when it is not wanted or not known."""
        if name in self.columns:
            known, how = self.columns[name]
            return known, how, self.fields[known]
        if name == "kind" and self.kind is not None:
            return "kind", Mapped("kind"), Kind(self.kind)
        return None

    def not_known(self, name: str) -> str:
        """What to say of a name that is not known."""
        known = [*self.columns, *(["kind"] if self.kind else [])]
        return f"{shown(name)} {self.hint.get(name) or f'is not known{nearest(name, known)}'}"

    def left_out(self, names: Collection[str], what: str) -> None:
        """Remark on what a map left out."""
        if names:
            more = f" and {len(names) - 20} more" if len(names) > 20 else ""
            listed = ", ".join(printable(name, 40) for name in list(names)[:20])
            self.remarks.append(f"{what} left out: {listed}{more}")

    def check(
        self, place: tuple[str, Mapped, Field], value: Any, line: int, comma: bool | None
    ) -> dict[str, Any]:
        """The checked value under its field's name, or nothing and a problem. `comma` is None for JSON."""
        name, how, wanted = place
        try:
            if isinstance(wanted, Number) and not how.as_it_is:
                free = Number()
                cell = free.from_json(value) if comma is None else free.from_text(value, comma)
                return {name: wanted.inside(cell * how.factor + how.offset)}
            return {name: wanted.from_json(value) if comma is None else wanted.from_text(value, comma)}
        except NotAllowed as problem:
            column = name if how.column == name else f"{how.column} ({name})"
            scaled = "" if how.as_it_is else f", after {how.factor:g} · cell + {how.offset:g}"
            gap = comma is not None and wanted.number and value.lower().strip("+-") in _NO_VALUE
            hint = "; leave the cell empty when it was not measured" if gap else ""
            self.problems.value(column, value, f"{problem}{scaled}{hint}", line)
            return {}

    def complete(self, line: int, values: dict[str, Any], named: Collection[str], before: int) -> Row | None:
        """The row, if nothing is wrong with it since `before`; `named` are the fields that were not empty."""
        for name in self.required:
            if name not in named:
                self.problems.missing(name, self.fields[name].allowed, line)
        values.pop("kind", None)
        return Row(line, values) if self.problems.count == before else None


def lines_of(text: str, problems: Problems) -> Iterator[str]:
    """The lines of a text with their ends, none of them longer than can be handled."""
    for number, match in enumerate(_LINE.finditer(text), 1):
        length = match.end() - match.start()
        if length > LONGEST_LINE:
            problems.add(f"is {length} characters long: at most {LONGEST_LINE} are allowed", number)
            raise Stop
        yield match[0]
