"""Asks for a file and hands its path on; Tab completes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widgets import Input, Label

from tui.dialogs.base import SteerDialog
from tui.dialogs.paths import complete
from tui.draw.spans import wrap


class ReadFileDialog(SteerDialog):
    """One line for a path; what `work(path)` refuses is shown in full below it."""

    DEFAULT_CSS = "ReadFileDialog #said { height: auto; max-height: 10; min-height: 2; }"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("tab", "complete", "complete", priority=True)]

    def __init__(
        self, title: str, work: Callable[[str], Awaitable[bool]], start: str = "", does: str = "reads"
    ) -> None:
        super().__init__()
        self._title = title
        self._work = work
        self._start = start
        self._does = does

    def compose(self) -> ComposeResult:
        with Vertical(id="box", classes=self.box_class):
            yield Label(self._title, classes="strong")
            line = Input(self._start, id="path", select_on_focus=False)
            line.cursor_blink = False
            yield line
            yield Label("", id="said", markup=False)
            yield Label(f"Tab completes. Enter {self._does} it. Esc leaves.")

    def action_complete(self) -> None:
        """Completes the path; shows the choices when there are several."""
        line = self.query_one("#path", Input)
        text, names = complete(line.value)
        line.value = text
        line.cursor_position = len(text)
        shown = "  ".join(names[:40]) if len(names) > 1 else "" if names else "Nothing of that name."
        self._show(shown)

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        """Hands the path on; stays open with the reason when it was refused."""
        path = event.value.strip()
        if not path:
            self._show("Type a path.")
            return
        if await self._work(path):
            self.dismiss(path)
        else:
            self._show(self.steer.refused or self.steer.scene.said)

    def _show(self, text: str) -> None:
        lines = [part for line in text.splitlines() for part in wrap(line, 70, 3)]
        more = f"\n... {len(lines) - 9} more lines" if len(lines) > 10 else ""
        self.query_one("#said", Label).update("\n".join(lines[: 9 if more else 10]) + more)
