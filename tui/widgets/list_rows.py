"""A list with a cursor, for check shots, pipes and the log: one row a thing, a head row that stays."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, at_ends, fit, plain, wrap
from tui.widgets.rows import Rows


class ListRows(Rows, can_focus=True):
    """Shows the rows of `count()` items under `head()`; the row under the cursor is marked by reverse and by a sign."""

    COUNTS_HIDDEN = False  # says in the head how many rows are out of sight
    FOLLOWS = True  # on with the newest row; else there to begin with only
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up,k", "move(-1)", "up", show=False),
        Binding("down,j", "move(1)", "down", show=False),
        Binding("pageup", "page(-1)", "page up", show=False),
        Binding("pagedown", "page(1)", "page down", show=False),
        Binding("home", "end(-1)", "first", show=False),
        Binding("end", "end(1)", "last", show=False),
    ]

    def __init__(self, *, id: str | None = None, at_end: bool = False) -> None:
        super().__init__(id=id)
        self._cursor = 0
        self._at: object = None  # the item under the cursor, which it keeps to
        self.follow_end = at_end  # stays on the newest row until the cursor is moved off it
        self._top = 0
        self._moved = False
        self._height = 1
        self._count = 0

    def head(self, width: int) -> list[Row]:
        """Rows above the list that do not scroll."""
        return []

    def count(self) -> int:
        """How many items the list has."""
        raise NotImplementedError

    def key(self, number: int) -> object:
        """What an item is, wherever it stands: the cursor stays on it while others come in around it."""
        return number

    def item(self, number: int, width: int) -> Row:
        """The row of one item, from 0. Asked for those in sight only: a list may have thousands."""
        raise NotImplementedError

    def nothing(self) -> str:
        """What an empty list says."""
        return "Nothing here yet."

    def cursor_moved(self) -> None:
        """For a screen that shows more of the row under the cursor."""

    @property
    def cursor(self) -> int:
        """Where the cursor's item stands now, from 0."""
        count = self.count()
        if self.follow_end and count:
            self._cursor = count - 1
            self.follow_end = self.FOLLOWS
        elif self._at is not None and not (self._cursor < count and self.key(self._cursor) == self._at):
            self._cursor = next((n for n in range(count) if self.key(n) == self._at), self._cursor)
        self._cursor = max(0, min(self._cursor, count - 1))
        self._at = self.key(self._cursor) if count else None
        return self._cursor

    @cursor.setter
    def cursor(self, place: int) -> None:
        self._cursor, self._at = place, None

    def draw_rows(self, width: int, height: int) -> list[Row]:
        head = self.head(width)
        count = self._count = self.count()
        self._height = max(1, height - len(head))
        cursor = self.cursor
        top = max(min(self._top, cursor), cursor - self._height + 1)
        top = max(0, min(top, count - self._height))
        if self._moved:  # only a key scrolls: a terminal made small and large again shows the same rows
            self._top, self._moved = top, False
        rows = list(head)
        if self.COUNTS_HIDDEN:
            _say_hidden(rows, width, top, count - top - self._height)
        if not count:
            rows += [((f" {line}", "quiet"),) for line in wrap(self.nothing(), width - 2, 3)]
        for number in range(top, min(count, top + self._height)):
            row = self.item(number, width - 2)
            if number == cursor:
                rows.append(((">" + plain(fit(row, width - 2)) + " ", "cursor"),))
            else:
                rows.append(((" ", ""), *row))
        if self.steer.ascii_only:
            rows = [tuple((to_ascii(text), role) for text, role in row) for row in rows]
        return rows

    def _go(self, cursor: int) -> None:
        self.cursor = max(0, min(cursor, self._count - 1))
        self.follow_end = self.follow_end and self.cursor == self._count - 1
        self._moved = True
        self.redraw()
        self.cursor_moved()

    def action_move(self, by: int) -> None:
        """One row up or down."""
        if by < 0:
            self.follow_end = False
        self._go(self.cursor + by)

    def action_page(self, by: int) -> None:
        """One screenful up or down."""
        if by < 0:
            self.follow_end = False
        self._go(self.cursor + by * max(1, self._height - 1))

    def action_end(self, which: int) -> None:
        """To the first or the last row."""
        self.follow_end = False
        self._go(0 if which < 0 else self._count - 1)


def _say_hidden(head: list[Row], width: int, above: int, below: int) -> None:
    """Puts how many rows are out of sight at the end of the first row of the head that has room for it."""
    parts = [f"{n} more {where}" for n, where in ((above, "above"), (below, "below")) if n > 0]
    said = f"  {', '.join(parts)} "
    for y, row in enumerate(head if parts else ()):
        text = plain(row).rstrip()
        if row[0][1] == "title" and len(text) + len(said) <= width:
            head[y] = at_ends(fit(row, width), ((said, "title"),), width)
            return
