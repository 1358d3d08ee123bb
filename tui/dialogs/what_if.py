"""What is to be different when a drive is steered again."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Label

from tui.dialogs.base import SteerDialog


class WhatIfDialog(SteerDialog):
    """One line of settings; Enter steers again, Esc leaves."""

    def __init__(self, chainage_m: float) -> None:
        super().__init__()
        self._chainage_m = chainage_m

    def compose(self) -> ComposeResult:
        with Vertical(id="box", classes=self.box_class):
            yield Label(f"What if, from {self._chainage_m:.2f} m on", classes="strong")
            yield Label("Limits or weights to change, such as: steering.firmness=gentle")
            yield Label("machine.max_change_mm_per_m=5 tolerance.line_mm=30")
            yield Label("Left empty: every proposal set, within the drive's own limits.")
            line = Input(id="text", max_length=300)
            line.cursor_blink = False
            yield line
            yield Label("Enter steers again. Esc leaves.")

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        """Goes to work."""
        self.dismiss(event.value.strip())
