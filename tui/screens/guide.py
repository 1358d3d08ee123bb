"""A short guide for the first shift with it."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, wrap
from tui.screens.base import SteerScreen
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows

_STEPS = (
    (
        "Read the large words.",
        "They give the articulation for the coming stroke: LEFT or RIGHT, UP or DOWN, in mm/m. "
        "HOLD means: leave the cylinders as they are.",
    ),
    ("Set the cylinders.", "The table gives what each shows now, what to set, and the change: out or in."),
    (
        "Say what you did.",
        "Key a: the proposal is set. Key o: you set something else, and type it. Key n: a note. "
        "Key u takes the last of these back. All of it is kept in the log.",
    ),
    (
        "Look at the strips.",
        "Where the drive went, where it will go with the proposal, and without. "
        "Key w changes the stretch, key z the scale.",
    ),
    (
        "Mind the notices.",
        "A moved beam, a stuck sensor, a machine that answers the wrong way: each is named, with what to do.",
    ),
    (
        "No number, no steering by it.",
        "When readings stop, the estimate is too unsure or the machine answers opposite, "
        "the proposal disappears and the reason stands in its place.",
    ),
)
_CAUTION = (
    "It advises; it moves nothing and writes to no machine. The machine's manual, the project "
    "specification, local codes and licensed practice come first."
)


class GuidePage(Rows):
    """Six steps and the caution."""

    def draw_rows(self, width: int, height: int) -> list[Row]:
        rows: list[Row] = [((" GUIDE  the next stroke in six steps".ljust(width), "title"),)]
        for number, (head, text) in enumerate(_STEPS, 1):
            lines = wrap(f"{head} {text}", width - 5, 4)
            for n, line in enumerate(lines):
                lead = f" {number}. " if n == 0 else "    "
                if n == 0 and line.startswith(head):
                    rows.append(((lead, "key"), (head, "strong"), (line[len(head) :], "")))
                else:
                    rows.append(((lead, "key"), (line, "")))
        rows.append(())
        rows += [((f" {line}", "strong"),) for line in wrap(_CAUTION, width - 2, 4)]
        if self.steer.ascii_only:
            rows = [tuple((to_ascii(text), role) for text, role in row) for row in rows]
        return rows


class GuideScreen(SteerScreen):
    """Esc goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,g", "back", "back")]

    def compose(self) -> ComposeResult:
        yield GuidePage(id="page")
        yield KeyLine(id="keys")

    def action_back(self) -> None:
        """Back to the screen behind."""
        self.app.pop_screen()
