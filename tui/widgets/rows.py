"""A widget that shows drawn rows and repaints only the cells that changed."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, cast

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from steer.text import printable
from tui.draw.glyphs import CONSOLE, to_console
from tui.draw.palette import Palette, named
from tui.draw.spans import Row, cells, fit, plain

if TYPE_CHECKING:
    from tui.host import Host

APART = 16  # cells alike between two spans: fewer cost less than moving on and setting colours anew


@lru_cache(maxsize=512)
def rich_style(palette: str, role: str) -> Style:
    """Look of a role in a palette, base colours included."""
    chosen: Palette = named(palette)
    base = Style(color=chosen.foreground or None, bgcolor=chosen.background or None)
    return base + Style.parse(chosen.style(role))


class Rows(Widget):
    """Shows what `draw_rows(width, height)` returns. `redraw()` after the scene changed.

    Over a slow link every byte counts: rows are compared with those on the terminal, and only
    the spans of a row that differ are sent again.
    """

    DEFAULT_CSS = "Rows { width: 1fr; height: 1fr; }"

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._rows: list[Row] | None = None
        self._drawn_for: tuple[int, int] = (0, 0)
        self._look = ""

    @property
    def steer(self) -> Host:
        """The app, with its scene."""
        return cast("Host", self.app)

    def draw_rows(self, width: int, height: int) -> list[Row]:
        """The rows to show; given by the widget that inherits."""
        raise NotImplementedError

    @property
    def text(self) -> str:
        """What is shown, as plain text."""
        return "\n".join(plain(row).rstrip() for row in self._drawn())

    def settle(self) -> None:
        """Draws now what would be drawn at the next paint."""
        self._drawn()

    def _drawn(self) -> list[Row]:
        if self._rows is None or self._drawn_for != self.size:
            self._rows = self._draw()
        return self._rows

    def _draw(self) -> list[Row]:
        width, height = self._drawn_for = self.size
        if width <= 0 or height <= 0:
            return []
        # No text from outside steers the terminal, whatever a screen forgot.
        shown = to_console if self.steer.scene.glyphs is CONSOLE else str
        drawn = [
            tuple((shown(printable(text)), role) for text, role in row)
            for row in self.draw_rows(width, height)
        ]
        rows = [fit(row, width) for row in drawn[:height]]
        return rows + [fit((), width)] * (height - len(rows))

    def redraw(self) -> None:
        """Draws again and sends what changed."""
        if self._rows is None or self._drawn_for != self.size:
            return  # Textual paints the whole after a change of size, and asks for the rows then
        old, self._rows = self._rows, self._draw()
        look, self._look = self._look, self.steer.palette_name
        if (look and look != self._look) or len(old) != len(self._rows):
            self.refresh()
            return
        for y, (before, after) in enumerate(zip(old, self._rows, strict=True)):
            if before == after:
                continue
            for first, last in changed(before, after):
                self.refresh(Region(first, y, last - first, 1))

    def render_line(self, y: int) -> Strip:
        """One row for the terminal."""
        palette = self.steer.palette_name
        rows = self._drawn()
        row: Row = rows[y] if y < len(rows) else ((" " * self.size.width, ""),)
        segments: list[tuple[str, Style]] = []
        for text, role in row:
            style = rich_style(palette, role)
            if segments and (
                style == segments[-1][1] or (text.isspace() and _same_paper(segments[-1][1], style))
            ):
                # Blanks cost no change of style when the paper stays the same.
                segments[-1] = (segments[-1][0] + text, segments[-1][1])
            else:
                segments.append((text, style))
        return Strip([Segment(text, style) for text, style in segments], self.size.width)


def _same_paper(before: Style, blank: Style) -> bool:
    return before.bgcolor == blank.bgcolor and not (
        before.reverse or before.underline or blank.reverse or blank.underline
    )


def changed(before: Row, after: Row) -> list[tuple[int, int]]:
    """Spans of cells, end not included, outside of which two rows look the same."""
    a = [(c, role) for text, role in before for c in text]
    b = [(c, role) for text, role in after for c in text]
    if len(a) != len(b) or cells(plain(before)) != len(a) or cells(plain(after)) != len(b):
        # Wide characters: a character is not a cell.
        return [(0, max(len(a), len(b)) * 2)]
    spans: list[tuple[int, int]] = []
    for place in (i for i in range(len(a)) if a[i] != b[i]):
        if spans and place - spans[-1][1] < APART:
            spans[-1] = (spans[-1][0], place + 1)
        else:
            spans.append((place, place + 1))
    return spans
