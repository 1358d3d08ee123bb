"""A row is a tuple of spans; a span is a text and the role it plays. The palette gives roles a look."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from unicodedata import east_asian_width

Span = tuple[str, str]
Row = tuple[Span, ...]

MORE = "..."  # ends a text that was cut: every terminal has it
_DIRECTIONS = frozenset({"right", "left", "high", "low", "up", "down"})
_UNITS = frozenset({"mm", "m", "mm/m", "kN", "%", "sd", "min", "h", "sec"})


def cells(text: str) -> int:
    """Width of a text in terminal cells; wide East Asian characters take two."""
    return len(text) if text.isascii() else _cells(text)


@lru_cache(
    maxsize=256
)  # the same words stand in every picture; figures do not, and would fill more with what is past
def _cells(text: str) -> int:
    return sum(2 if east_asian_width(c) in "WF" else 1 for c in text)


def width(row: Row) -> int:
    """Width of a row in cells."""
    return sum(cells(text) for text, _ in row)


def plain(row: Row) -> str:
    """The row without roles."""
    return "".join(text for text, _ in row)


def cut_text(text: str, size: int, more: str = "") -> str:
    """At most `size` cells of a text, ending in `more` when something was cut."""
    if cells(text) <= size:
        return text
    room = max(0, size - cells(more))
    out = ""
    used = 0
    for character in text:
        used += cells(character)
        if used > room:
            break
        out += character
    return (out + more)[:size] if size > 0 else ""


def cut_words(text: str, size: int) -> str:
    """At most `size` cells of a text in whole words, so that no figure loses its end; marked when cut."""
    if cells(text) <= size:
        return text
    words = _words(text)
    while len(words) > 1 and cells(" ".join(words)) > size - len(MORE) - 1:
        words.pop()
    kept = " ".join(words)
    return f"{kept} {MORE}" if cells(kept) < size - len(MORE) else cut_text(kept, size, MORE)


def first_whole(texts: Iterable[str], size: int) -> str:
    """The first of these texts that has room in `size` cells; empty when none has: a part of one may say something
    else."""
    return next((text for text in texts if cells(text) <= size), "")


def fit(row: Row, size: int) -> Row:
    """The row cut or padded with blanks to exactly `size` cells."""
    out: list[Span] = []
    used = 0
    for text, role in row:
        room = size - used
        if room <= 0:
            break
        kept = cut_text(text, room)
        out.append((kept, role))
        used += cells(kept)
    if used < size:
        out.append((" " * (size - used), ""))
    return tuple(out)


def beside(left: Sequence[Row], left_size: int, right: Sequence[Row], right_size: int) -> list[Row]:
    """Two blocks side by side; the shorter one is continued with blank rows."""
    height = max(len(left), len(right))
    lefts = [*left, *[()] * (height - len(left))]
    rights = [*right, *[()] * (height - len(right))]
    return [fit(a, left_size) + fit(b, right_size) for a, b in zip(lefts, rights, strict=True)]


def at_ends(left: Row, right: Row, size: int) -> Row:
    """One row with `right` at its right end; the left one is cut when both do not fit."""
    room = size - width(right)
    if room < 0:
        return fit(right, size)
    return fit(left, room) + right


def wrap(text: str, size: int, rows: int) -> list[str]:
    """Text broken at blanks into at most `rows` lines of `size` cells; what is left out is marked.

    A number stays with its unit and direction.
    """
    lines: list[str] = []
    line = ""
    for word in _words(text):
        while cells(word) > size:
            if line:
                lines.append(line)
                line = ""
            head = cut_text(word, size)
            if not head:
                return lines
            lines.append(head)
            word = word[len(head) :]
        candidate = f"{line} {word}" if line else word
        if cells(candidate) <= size:
            line = candidate
        else:
            lines.append(line)
            line = word
    if line:
        lines.append(line)
    if len(lines) > rows:
        kept = lines[: max(rows, 0)]
        if kept:
            kept[-1] = cut_words(f"{kept[-1]} {lines[len(kept)]}", size)
        return kept
    return lines


def _words(text: str) -> list[str]:
    words: list[str] = []
    for word in text.split():
        before = words[-1] if words else ""
        bare = word.strip("().,;:")
        belongs = (
            before in ("±", "+-")
            or (bare in _UNITS and before[-1:].isdigit())
            or (bare in _DIRECTIONS and before.rpartition(" ")[2] in _UNITS)
        )
        if belongs:
            words[-1] += f" {word}"
        else:
            words.append(word)
    return words


def shortened(rows: Sequence[int], room: int) -> list[int]:
    """Rows for each text when those they want are more than `room`: the longest gives way first, of equal ones
    the last; each keeps one as long as there are enough."""
    given = list(rows)
    while sum(given) > max(room, 0):
        longest = max(range(len(given)), key=lambda n: (given[n], n))
        if given[longest] > 1:
            given[longest] -= 1
        else:
            given.pop()
    return given


def join(rows: Iterable[Row]) -> str:
    """Rows as plain text, without blanks at the line ends."""
    return "\n".join(plain(row).rstrip() for row in rows)
