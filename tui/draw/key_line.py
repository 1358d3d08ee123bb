"""The keys at the foot, from the bindings themselves."""

from __future__ import annotations

from collections.abc import Sequence

from tui.draw.spans import Row, cells


def draw(keys: Sequence[tuple[str, str]], size: int) -> Row:
    """Keys and what they do in one row; the middle ones go first, help and quit stay."""
    kept = list(keys)
    while kept and _width(kept) > size:
        if len(kept) <= 2:
            kept.pop(0)
        else:
            kept.pop(-3)
    row: Row = ()
    for number, (key, does) in enumerate(kept):
        row = (*row, ("  " if number else "", ""), (key, "key"), (f" {does}", ""))
    return row


def _width(keys: Sequence[tuple[str, str]]) -> int:
    return sum(cells(key) + cells(does) + 3 for key, does in keys) - 2
