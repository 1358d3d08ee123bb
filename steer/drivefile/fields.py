"""What a single value of drive.toml may be: each kind says in words what it allows.

The words stand in every refusal, so a person who reads one knows how to put it right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import PydanticCustomError, core_schema


def refusal(allowed: str, value: object = None, key: str = "") -> PydanticCustomError:
    """The error a check raises: `allowed` says what would be right, `key` names a key further down."""
    return PydanticCustomError("not_allowed", "{allowed}", {"allowed": allowed, "key": key, "value": value})


class Kind:
    """A kind of value, used as `Annotated[type, kind]`; subclasses say `allowed` and `check`."""

    allowed: str

    def check(self, value: object) -> Any:
        """The value as stored, or raises `refusal`."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)


@dataclass(frozen=True)
class Number(Kind):
    """A finite number inside bounds. A whole number will do, true, false and text will not."""

    over: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    below: float | None = None
    or_inf: bool = False  # a radius may be "inf", which is a straight

    @property
    def bounds(self) -> str:
        """The bounds in words."""
        if self.at_least is not None and self.at_most is not None:
            return f"from {self.at_least:.15g} to {self.at_most:.15g}"
        return " and ".join(
            f"{words} {bound:.15g}"
            for words, bound in (
                ("over", self.over),
                ("at least", self.at_least),
                ("below", self.below),
                ("at most", self.at_most),
            )
            if bound is not None
        )

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"must be a number {self.bounds}" + (', or "inf" for a straight' if self.or_inf else "")

    def check(self, value: object) -> float:
        if self.or_inf and (value == "inf" or value == math.inf):
            return math.inf
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise refusal(self.allowed)
        try:
            number = float(value)
        except OverflowError:
            raise refusal(self.allowed) from None
        inside = (
            math.isfinite(number)
            and (self.over is None or number > self.over)
            and (self.at_least is None or number >= self.at_least)
            and (self.at_most is None or number <= self.at_most)
            and (self.below is None or number < self.below)
        )
        if not inside:
            raise refusal(self.allowed)
        return number


@dataclass(frozen=True)
class Word(Kind):
    """One of a few words."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:  # type: ignore[override]
        quoted = [f'"{word}"' for word in self.words]
        return "must be " + (", ".join(quoted[:-1]) + " or " if quoted[:-1] else "") + quoted[-1]

    def check(self, value: object) -> str:
        if not isinstance(value, str) or value not in self.words:
            raise refusal(self.allowed)
        return value


@dataclass(frozen=True)
class Text(Kind):
    """One line of text."""

    longest: int = 200

    @property
    def allowed(self) -> str:  # type: ignore[override]
        return f"must be a line of text in quotes, 1 to {self.longest} characters"

    def check(self, value: object) -> str:
        if not isinstance(value, str) or not value.strip() or len(value) > self.longest:
            raise refusal(self.allowed)
        if not value.isprintable():
            raise refusal(self.allowed + ", none of them a control character")
        return value


@dataclass(frozen=True)
class Numbers(Kind):
    """A list of numbers, stored as a tuple."""

    each: Number
    fewest: int
    most: int

    @property
    def allowed(self) -> str:  # type: ignore[override]
        count = f"{self.fewest}" if self.fewest == self.most else f"{self.fewest} to {self.most}"
        return f"must be a list of {count} numbers, each {self.each.bounds}"

    def check(self, value: object) -> tuple[float, ...]:
        if not isinstance(value, list | tuple) or not self.fewest <= len(value) <= self.most:
            raise refusal(self.allowed)
        try:
            return tuple(self.each.check(item) for item in value)
        except PydanticCustomError:
            raise refusal(self.allowed) from None
