"""Lines of text on a page: how wide they are, where they break, and how they are set."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from matplotlib.artist import Artist
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

PT_MM = 25.4 / 72.0
_FONT = "DejaVu Sans"
_ASCENT = 0.76  # of the size, from the baseline to the top of a line: the font's own (sTypoAscender)


@dataclass(frozen=True)
class Line:
    """One line of text: its left edge and top in mm from the top left corner."""

    x: float
    y: float
    text: str
    size: float
    bold: bool
    colour: str


class Lettering(Artist):
    """All lines of a page as one artist. A page of tables has a thousand of them, and matplotlib's own Text
    takes longer to lay one out than to write it."""

    zorder = 3

    def __init__(self, width_mm: float, height_mm: float) -> None:
        super().__init__()
        self._page = width_mm, height_mm
        self.lines: list[Line] = []

    def draw(self, renderer: Any) -> None:
        """Called by the figure."""
        wide, high = renderer.get_canvas_width_height()
        width, height = self._page
        for line in self.lines:
            gc = renderer.new_gc()
            gc.set_foreground(line.colour)
            baseline = line.y + _ASCENT * line.size * PT_MM
            renderer.draw_text(
                gc, line.x / width * wide, (1.0 - baseline / height) * high, line.text,
                _font(line.size, line.bold), 0.0, False,
            )  # fmt: skip
            gc.restore()


@lru_cache
def _font(size: float, bold: bool) -> FontProperties:
    return FontProperties(family=_FONT, size=size, weight="bold" if bold else "normal")


def width_mm(text: str, size: float, bold: bool = False) -> float:
    """How wide a line of text is set, but for kerning."""
    return size * sum(_unit_width(letter, bold) for letter in text)


@lru_cache(maxsize=2000)
def _unit_width(letter: str, bold: bool) -> float:
    """Width of a letter at a size of 1 point, mm."""
    font = _font(100.0, bold)
    # between two letters that do not kern: of a blank alone there is nothing to measure
    both, rest = (
        text_to_path.get_text_width_height_descent(t, font, False)[0] for t in (f"H{letter}H", "HH")
    )
    return float(both - rest) * PT_MM / 100.0


def wrapped(text: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Lines of words that fit a width; a word longer than that is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if width_mm(longer, size, bold) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while width_mm(line, size, bold) > width and len(line) > 1:
            keep = len(fitted(line, width, size, bold)) - 1
            lines.append(line[: max(keep, 1)])
            line = line[max(keep, 1) :]
    return [*lines, line] if line else lines


def fitted(text: str, width: float, size: float, bold: bool = False) -> str:
    """The text, cut with "…" where it is too wide."""
    if len(text) * size * 0.9 * PT_MM <= width or width_mm(text, size, bold) <= width:
        return text
    while text and width_mm(text + "…", size, bold) > width:
        text = text[:-1]
    return text + "…"
