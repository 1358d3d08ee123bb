"""A note for the log."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Label

from tui.dialogs.base import SteerDialog
from tui.dialogs.line_input import LineInput

LONGEST = 500  # characters


class NoteDialog(SteerDialog):
    """One line of text; Enter stores it, Esc leaves."""

    def __init__(self) -> None:
        super().__init__()
        self._at_work = False

    def compose(self) -> ComposeResult:
        with Vertical(id="box", classes=self.box_class):
            yield Label(f"Note for the log, {LONGEST} characters at most", classes="strong")
            yield LineInput(self.say, id="text", longest=LONGEST)
            yield Label("", id="said")
            yield Label("Enter stores it. Esc leaves.")

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        """Stores the note."""
        text = event.value.strip()
        if self._at_work:
            return  # Enter again
        if not text:
            self.say("An empty note is not stored.")
            return
        # the log's own screen has no key u
        undo = "Keys 1 and u take it back." if self.app.current_mode == "log" else "Key u takes it back."
        self._at_work = True
        hides = getattr(self.app.screen_stack[-2], "hides_note", lambda text: "")(text)
        stored = await self.steer.store(
            lambda drive: drive.note(text), f"Note stored. {undo} {hides}".rstrip()
        )
        if self.left:
            return
        if stored:
            self.dismiss(None)
        else:
            self._at_work = False
            self.say(self.steer.scene.said)

    def say(self, text: str) -> None:
        """Under the line."""
        self.query_one("#said", Label).update(text)
