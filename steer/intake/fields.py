"""What one value may be. A field says in words what it allows.

Text cells and JSON values pass the same check.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any


class NotAllowed(ValueError):
    """The message says what would be right."""


# Only ASCII digits, one point, no spaces, no underscores: narrower than float(), on purpose.
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,40}(?:\.[0-9]{0,40})?|\.[0-9]{1,40})(?:[eE][+-]?[0-9]{1,4})?")
_COMMA = re.compile(r"[+-]?[0-9]{1,40},[0-9]{1,40}(?:[eE][+-]?[0-9]{1,4})?")
_TIME = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:[.,]\d{1,9})?)?(?:Z|[+-]\d\d(?::?\d\d)?)?", re.ASCII
)


class Field:
    """A kind of value. `allowed` completes the sentence "… is not allowed: must be …"."""

    number = False
    allowed: str

    def from_text(self, text: str, comma: bool = False) -> Any:
        """The value of a text cell (stripped, not empty); `comma`: numbers have a decimal comma."""
        return self.from_json(text)

    def from_json(self, value: object) -> Any:
        """The value of a JSON member that is not null. Raises NotAllowed."""
        raise NotImplementedError


@dataclass(frozen=True)
class Number(Field):
    """A finite number inside bounds; `unit` is for the message only."""

    at_least: float = -math.inf
    at_most: float = math.inf
    over: float = -math.inf
    unit: str = ""
    number = True

    @property
    def allowed(self) -> str:  # type: ignore[override]
        bounds = []
        if self.over > -math.inf:
            bounds.append(f"over {self.over:g}")
        if self.at_least > -math.inf:
            bounds.append(f"at least {self.at_least:.12g}")
        if self.at_most < math.inf:
            bounds.append(f"at most {self.at_most:.12g}")
        words = f"a number {' and '.join(bounds)}".rstrip()
        return f"{words} {self.unit}".rstrip()

    def from_text(self, text: str, comma: bool = False) -> float:
        if "," in text and _COMMA.fullmatch(text):
            if not comma:
                raise NotAllowed(f"{self.allowed}, written with a decimal point")
            text = text.replace(",", ".")
        if not _NUMBER.fullmatch(text):
            raise NotAllowed(self.allowed)
        return self.inside(float(text))

    def from_json(self, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise NotAllowed(self.allowed)
        if isinstance(value, float) and not math.isfinite(value):
            raise NotAllowed(f"{self.allowed}; write null, or leave it out, when it was not measured")
        try:
            return self.inside(float(value))
        except OverflowError:
            raise NotAllowed(self.allowed) from None

    def inside(self, value: float) -> float:
        """The value, if it is finite and within the bounds."""
        if not (math.isfinite(value) and self.at_least <= value <= self.at_most and value > self.over):
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class Time(Field):
    """ISO 8601 date and time; without a zone it is UTC. The value is text in UTC, ending in Z."""

    allowed = "a date and time as ISO 8601, such as 2026-03-01T14:05:00Z"

    def from_json(self, value: object) -> str:
        if not isinstance(value, str) or not _TIME.fullmatch(value):
            raise NotAllowed(self.allowed)
        try:
            moment = datetime.fromisoformat(value)
            if not 1970 <= moment.year <= 2200:
                raise NotAllowed(f"{self.allowed}, in the years 1970 to 2200")
            moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
        except NotAllowed:
            raise
        except ValueError:
            raise NotAllowed(self.allowed) from None
        return moment.isoformat().replace("+00:00", "Z")


@dataclass(frozen=True)
class Text(Field):
    """Free text of one or more lines."""

    longest: int = 2000

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"text of at most {self.longest} characters"

    def from_json(self, value: object) -> str:
        if not isinstance(value, str) or len(value) > self.longest:
            raise NotAllowed(self.allowed)
        if any(0xD800 <= ord(c) < 0xE000 for c in value):
            raise NotAllowed(f"{self.allowed}, without halves of surrogate pairs")
        return value


@dataclass(frozen=True)
class Word(Field):
    """One of a few words."""

    words: Sequence[str]

    @property
    def allowed(self) -> str:  # type: ignore[override]
        quoted = [f'"{word}"' for word in self.words]
        return " or ".join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)

    def from_json(self, value: object) -> str:
        if not isinstance(value, str) or value not in self.words:
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class Codes(Field):
    """A JSON array of short codes, such as those of notices."""

    allowed = "an array of at most 100 codes: lower-case letters, digits and _"

    def from_json(self, value: object) -> list[str]:
        if not isinstance(value, list) or len(value) > 100:
            raise NotAllowed(self.allowed)
        if not all(isinstance(code, str) and re.fullmatch(r"[a-z0-9_]{1,40}", code) for code in value):
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class Numbers(Field):
    """A JSON array of exactly `count` numbers or nulls; `why` says where the count comes from."""

    each: Number
    count: int
    why: str = ""
    gaps: bool = True  # null for one that was not measured

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return (
            f"an array of {self.count} numbers{self.why}{', null for one not measured' if self.gaps else ''}"
        )

    def from_json(self, value: object) -> list[float | None]:
        if not isinstance(value, list):
            raise NotAllowed(self.allowed)
        if len(value) != self.count:
            raise NotAllowed(f"{self.allowed}: it holds {len(value)}")
        try:
            return [None if item is None and self.gaps else self.each.from_json(item) for item in value]
        except NotAllowed as problem:
            raise NotAllowed(f"{self.allowed}; each {problem}") from None


@dataclass(frozen=True)
class Whole(Field):
    """A whole number."""

    at_least: int = 0

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"a whole number of at least {self.at_least}"

    def from_text(self, text: str, comma: bool = False) -> int:
        if not re.fullmatch(r"[0-9]{1,16}", text):
            raise NotAllowed(self.allowed)
        return self.from_json(int(text))

    def from_json(self, value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not self.at_least <= value < 1 << 53:
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class Hash(Field):
    """A SHA-256 in hexadecimal, in JSON only."""

    allowed = "64 hexadecimal digits"

    def from_json(self, value: object) -> str:
        if not isinstance(value, str) or not re.fullmatch(r"[0-9a-f]{64}", value):
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class Flag(Field):
    """True or false, in JSON only."""

    allowed = "true or false"

    def from_json(self, value: object) -> bool:
        if not isinstance(value, bool):
            raise NotAllowed(self.allowed)
        return value


@dataclass(frozen=True)
class Covariance(Field):
    """Of two values: [[a, c], [c, b]], positive definite, in JSON only."""

    unit: str = ""

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"a covariance [[a, c], [c, b]] with a, b over 0 and c² below a·b {self.unit}".rstrip()

    def from_json(self, value: object) -> list[list[float]]:
        number = Number()
        if not isinstance(value, list) or [isinstance(r, list) and len(r) for r in value] != [2, 2]:
            raise NotAllowed(self.allowed)
        try:
            (a, c), (d, b) = [[number.from_json(v) for v in row] for row in value]
        except NotAllowed:
            raise NotAllowed(self.allowed) from None
        if not (a > 0 and b > 0 and c == d and c * c < a * b):
            raise NotAllowed(self.allowed)
        return [[a, c], [c, b]]
