"""What is to be different when a drive is steered again."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Label

from steer.errors import SteerError
from tui.dialogs.base import SteerDialog
from tui.dialogs.line_input import LineInput


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
            yield LineInput(self._say, id="text", longest=300)
            yield Label("", id="said", markup=False)
            yield Label("Enter steers again. Esc leaves.")

    async def on_input_changed(self, event: Input.Changed) -> None:
        """Says at once what may not be: the replay is not left for a slip of the pen."""
        problem = await self._problem(event.value)
        if not self.left:
            self._say(problem)

    async def _problem(self, text: str) -> str:
        """What is wrong with the settings; empty where nothing is, or where the source tells only when it steers."""
        check = getattr(self.steer.source, "check_what_if", None)
        if check is None:
            return ""
        try:
            await self.steer.desk.do(lambda: check(text.strip()))
        except SteerError as error:
            return f"! {str(error).removeprefix('--set ')}"
        return ""

    def _say(self, text: str) -> None:
        self.query_one("#said", Label).update(text)

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        """Goes to work."""
        problem = await self._problem(event.value)
        if self.left:
            return
        if problem:
            self._say(problem)
            return
        self.dismiss(event.value.strip())
