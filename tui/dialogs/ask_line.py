"""Asks for one line of text and hands it on; what is refused of it is said in full below."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Label

from steer.text import printable
from tui.dialogs.base import SteerDialog
from tui.dialogs.line_input import LineInput
from tui.draw.spans import wrap


class AskedLine(LineInput):
    """The line; as long as wanted, so that nothing is ever left out."""

    def __init__(self, value: str) -> None:
        super().__init__(lambda text: None, value, id="line")


class AskLineDialog(SteerDialog):
    """`work(line)` says whether it was taken; then the dialog ends with the line."""

    DEFAULT_CSS = "AskLineDialog #said { height: auto; max-height: 10; min-height: 2; }"
    EMPTY = "Type at least one."
    KEYS = ""  # said before the keys of every such dialog

    def __init__(
        self, title: str, work: Callable[[str], Awaitable[bool]], start: str = "", does: str = "reads"
    ) -> None:
        super().__init__()
        self._title = title
        self._work = work
        self._start = start
        self._does = does
        self._done = False

    def compose(self) -> ComposeResult:
        with Vertical(id="box", classes=self.box_class):
            yield Label(self._title, classes="strong", markup=False)
            yield self.line_input(self._start)
            yield Label("", id="said", markup=False)
            yield Label(f"{self.KEYS}Enter {self._does} it. Esc leaves.")

    def line_input(self, start: str) -> AskedLine:
        """The line; a dialog with keys of its own gives another kind."""
        return AskedLine(start)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Hands the line on, aside: a box that waited for it itself would not be painted meanwhile."""
        line = event.value.strip()
        if self._done:
            return  # Enter again, while it was at work
        if not line:
            self.say(self.EMPTY)
            return
        self._done = True
        self.say("One moment.")
        self.app.run_worker(self._hand_on(line), group="line")  # the box may be left while it is at work

    async def _hand_on(self, line: str) -> None:
        """Stays open with the reason when the line was refused."""
        taken = await self._work(line)
        if self.left:
            return
        if taken:
            self.dismiss(line)
        else:
            self._done = False
            self.say(self.steer.refused or self.steer.scene.said)

    def say(self, text: str) -> None:
        """Puts lines under the input; at most ten, and how many more there are."""
        lines = [part for line in text.splitlines() for part in wrap(printable(line), 70, 3)]
        more = f"\n... {len(lines) - 9} more lines" if len(lines) > 10 else ""
        self.query_one("#said", Label).update("\n".join(lines[: 9 if more else 10]) + more)
