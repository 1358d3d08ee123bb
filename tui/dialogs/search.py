"""Asks for a text to search the log for."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Label

from tui.dialogs.base import SteerDialog
from tui.dialogs.line_input import EditInOrder


class SearchDialog(SteerDialog):
    """Enter searches, an empty line shows all again."""

    def __init__(self, search: str) -> None:
        super().__init__()
        self._search = search

    def compose(self) -> ComposeResult:
        with Vertical(id="box", classes=self.box_class):
            yield Label("Show lines with this text", classes="strong")
            line = EditInOrder(self._search, id="text", max_length=60)
            line.cursor_blink = False
            yield line
            yield Label("Enter searches, an empty line shows all. Esc leaves.")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Hands the text back, once."""
        if not self.left:
            self.dismiss(event.value.strip())
