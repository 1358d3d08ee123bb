"""A page of text longer than some screens: shown from the row at the top on, scrolled by keys."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tui.draw import notices
from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, cut_text
from tui.screens.base import SteerScreen
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows


class LinesPage(Rows):
    """The rows from the one at the top on, under the screen's head."""

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, LinesScreen)
        body = screen.rows(width)
        noticed = notices.standing(self.steer.scene, width) if screen.NOTICES and height > 3 else []
        height -= len(noticed)
        top = min(screen.top, max(0, len(body) - (height - 1)))  # the screen may have grown
        more = len(body) - top - (height - 1)
        below = f"{more} more below " if more > 0 else ""
        head = f" {screen.HEAD}"
        rows: list[Row] = [((head + below.rjust(max(0, width - len(head))), "title"),), *body[top:]]
        columns = screen.columns()
        if columns is not None and top > columns:
            rows[1] = body[columns]  # a table keeps its head
        rows[1:1] = noticed
        if self.steer.ascii_only:
            rows = [tuple((to_ascii(text), role) for text, role in row) for row in rows]
        return rows


class LinesScreen(SteerScreen):
    """Give HEAD, and in STRONG the numbers of the lines that stand out; or rows of your own."""

    HEAD = ""
    NOTICES = False  # says that some stand, where the page lies over one of the drive's
    STRONG: ClassVar[tuple[int, ...]] = ()
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "scroll(-1)", "up", show=False),
        Binding("down", "scroll(1)", "down", show=False),
        Binding("pageup", "scroll(-20)", "20 lines up", show=False),
        Binding("pagedown,space", "scroll(20)", "20 lines down", show=False),
        Binding("home", "scroll(-100_000)", "start", show=False),
        Binding("end", "scroll(100_000)", "end", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self.top = 0

    def compose(self) -> ComposeResult:
        yield LinesPage(id="page")
        yield KeyLine(id="keys")

    def rows(self, width: int) -> list[Row]:
        """All of the page, for a screen of so many columns."""
        return [
            ((" " + cut_text(line, width - 1), "strong" if number in self.STRONG else ""),)
            for number, line in enumerate(self.lines)
        ]

    def columns(self) -> int | None:
        """Which row names a table's columns, and so stays in sight below it."""
        return None

    def show(self, lines: list[str]) -> None:
        """Puts lines in place, from the first one on."""
        self.lines, self.top = lines, 0
        self.scene_changed()

    def action_scroll(self, by: int) -> None:
        """Further down or up where the page is longer than the screen."""
        size = self.query_one("#page", LinesPage).size
        taken = len(notices.standing(self.steer.scene, size.width)) if self.NOTICES else 0
        most = max(0, len(self.rows(size.width)) - (size.height - 1 - taken))
        self.top = min(max(self.top + by, 0), most)
        self.scene_changed()
