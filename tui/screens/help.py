"""The keys of the screen in front, from its bindings."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, wrap
from tui.screens.base import SteerScreen
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows

_MEANINGS = (
    "Right, left, up, down, high, low: looking ahead, as the drive goes.",
    "LEFT 3.5 mm/m: hold the front body 3.5 mm/m left of the rear body.",
    "Cylinders: out is more extension, in is less, in mm as on the machine.",
    "12 mm left ± 5: the face is 12 mm left of the design axis, to within 5 mm (95 %).",
    "Strips: solid, path as driven; shaded, its uncertainty; dashes, with the proposal; "
    "dots, without; o, a check shot; straight rules, the limits.",
    "Under the as-built strips: - inside the tolerance, X outside, ? cannot tell.",
    "No proposal: readings stopped, the log is out of reach, the estimate is too unsure, or the machine "
    "answers opposite.",
)


class HelpPage(Rows):
    """Keys, then meanings."""

    def __init__(self, keys: list[tuple[str, str]], **options: Any) -> None:
        super().__init__(**options)
        self._keys = keys

    def draw_rows(self, width: int, height: int) -> list[Row]:
        title = " KEYS of this screen".ljust(width)
        rows: list[Row] = [((title, "title"),)]
        column = max([len(key) for key, _ in self._keys] + [3]) + 2
        two = width >= 72
        half = (len(self._keys) + 1) // 2 if two else len(self._keys)
        for n in range(half):
            row: Row = ()
            for key, does in self._keys[n :: half if two else len(self._keys) + 1][:2]:
                row = (*row, (f" {key:<{column}}", "key"), (f"{does:<{width // 2 - column - 2}}", ""))
            rows.append(row)
        rows += [(), ((" WHAT IT SHOWS".ljust(width), "title"),)]
        for text in _MEANINGS:
            for n, line in enumerate(wrap(text, width - 4, 4)):
                rows.append(((" - " if n == 0 else "   ", "quiet"), (line, "")))
        if self.steer.ascii_only:
            rows = [tuple((to_ascii(text), role) for text, role in row) for row in rows]
        return rows


class HelpScreen(SteerScreen):
    """Esc goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark", "back", "back"),
    ]

    def __init__(self, keys: list[tuple[str, str]]) -> None:
        super().__init__()
        self._keys = keys

    def compose(self) -> ComposeResult:
        yield HelpPage(self._keys, id="page")
        yield KeyLine(id="keys")

    def action_back(self) -> None:
        """Back to the screen behind."""
        self.app.pop_screen()
