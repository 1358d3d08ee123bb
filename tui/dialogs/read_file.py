"""Asks for a file and hands its path on; Tab completes."""

from __future__ import annotations

from textual import events

from tui.dialogs.ask_line import AskedLine, AskLineDialog
from tui.dialogs.paths import complete


class PathInput(AskedLine):
    """Tab completes what was typed before it."""

    async def on_key(self, event: events.Key) -> None:
        """Tab; all other keys are the base's, which Textual asks next."""
        if event.key != "tab":
            return
        event.stop()
        event.prevent_default()
        text, names = complete(self.value)
        self.value = text
        self.cursor_position = len(text)
        screen = self.screen
        assert isinstance(screen, ReadFileDialog)
        screen.say("  ".join(names[:40]) if len(names) > 1 else "" if names else "Nothing of that name.")


class ReadFileDialog(AskLineDialog):
    """One line for a path."""

    EMPTY = "Type a path."
    KEYS = "Tab completes. "

    def line_input(self, start: str) -> AskedLine:
        return PathInput(start)
