"""A short guide for the first shift with it."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui.draw.spans import Row, wrap
from tui.screens.lines import LinesScreen

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


class GuideScreen(LinesScreen):
    """Six steps and the caution; Esc goes back."""

    NOTICES = True
    HEAD = "GUIDE  the next stroke in six steps"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,g", "back", "back")]

    def rows(self, width: int) -> list[Row]:
        rows: list[Row] = []
        for number, (head, text) in enumerate(_STEPS, 1):
            for n, line in enumerate(wrap(f"{head} {text}", width - 5, 12)):
                lead: Row = (("    ", ""),) if n else ((" ", ""), (f"{number}.", "key"), (" ", ""))
                if n == 0 and line.startswith(head):
                    rows.append((*lead, (head, "strong"), (line[len(head) :], "")))
                else:
                    rows.append((*lead, (line, "")))
        rows.append(())
        return rows + [((f" {line}", "strong"),) for line in wrap(_CAUTION, width - 2, 12)]

    def action_back(self) -> None:
        """Back to the screen behind."""
        self.app.pop_screen()
