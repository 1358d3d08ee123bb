"""The keys at the foot, from the bindings themselves."""

from __future__ import annotations

from collections.abc import Sequence

from tui.draw.spans import Row, cells

LEAST = (46, 12)  # columns and rows below which pages give up what is more than a nicety
WANTED = "80x24"


def too_small(width: int, height: int) -> str:
    """Said before the keys where the terminal is too small to show a page whole; empty where it is not."""
    if width >= LEAST[0] and height >= LEAST[1]:
        return ""
    texts = (f"Terminal too small: {width}x{height}, {WANTED} is whole.", f"Too small, {WANTED}", "Too small")
    return next((text for text in texts if len(text) <= width), texts[-1])


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
