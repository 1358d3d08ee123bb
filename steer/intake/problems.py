"""Everything wrong with an input, collected before anything is refused."""

from __future__ import annotations

import difflib
import os
from collections.abc import Collection

from steer.errors import InputRefused
from steer.text import printable, shown

LISTED = 20  # problems printed a file; the rest is counted


class Problems:
    """The problems of one file (or, without a name, of one object)."""

    def __init__(self, name: str | os.PathLike[str] = "") -> None:
        self.name = printable(os.fspath(name)) if name else ""
        self.lines: list[str] = []
        self.count = 0
        self._bad_rows: set[int] = set()

    def add(self, what: str, line: int | None = None) -> None:
        """One problem; `line` counts from 1, the header is line 1."""
        self.count += 1
        if line is not None:
            self._bad_rows.add(line)
        if len(self.lines) < LISTED:
            places = (self.name, f"line {line}" if line else "", what)
            self.lines.append(": ".join(part for part in places if part))

    def value(self, column: str, value: object, allowed: str, line: int | None = None) -> None:
        """A value that is not allowed, and what is."""
        self.add(f"{printable(column, 60)}: {shown(value)} is not allowed: must be {allowed}", line)

    def missing(self, column: str, allowed: str, line: int | None = None) -> None:
        """A value that has to be there."""
        self.add(f"{column}: missing: must be {allowed}", line)

    def summary(self, what: str) -> None:
        """A line to stand before all others."""
        self.lines.insert(0, f"{self.name}: {what}" if self.name else what)
        self.count += 1

    def __bool__(self) -> bool:
        return self.count > 0

    @property
    def bad_rows(self) -> int:
        """Rows with a problem."""
        return len(self._bad_rows)

    def messages(self) -> list[str]:
        """The problems as listed, and how many more there are."""
        more = self.count - len(self.lines)
        tail = [f"{self.name}: and {more} more problem{'s' if more > 1 else ''}"] if more else []
        return self.lines + [line.removeprefix(": ") for line in tail]

    def refuse_if_any(self) -> None:
        """Raise InputRefused with all of them."""
        if self:
            raise InputRefused(self.messages())


def nearest(name: str, known: Collection[str]) -> str:
    """A hint for a name that is not known: the nearest one that is."""
    lower = {other[:60].lower(): other for other in known}
    close = difflib.get_close_matches(name[:60].lower(), lower, n=1, cutoff=0.6)
    return f" (did you mean {printable(lower[close[0]], 60)}?)" if close else ""
