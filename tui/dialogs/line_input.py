"""A line of text that takes of a paste what fits, and says what does not; keys in the order of typing."""

from __future__ import annotations

from collections.abc import Callable

from textual import events
from textual.widgets import Input


class EditInOrder(Input):
    """Takes keys in the order of typing.

    A bound key goes up to the screen first: letters typed after Backspace overtook it, and Backspace took one of them;
    those after Enter were stored with the line.
    """

    async def on_key(self, event: events.Key) -> None:
        """Edits, or hands the line on, at once."""
        for binding in self._bindings.key_to_bindings.get(event.key, ()):
            event.stop()
            event.prevent_default()
            await self.run_action(binding.action)


class LineInput(EditInOrder):
    """`tell` says what was left out. Lines of a paste become one."""

    def __init__(self, tell: Callable[[str], object], value: str = "", *, id: str, longest: int = 0) -> None:
        super().__init__(value, id=id, max_length=longest, select_on_focus=False)
        self.cursor_blink = False
        self._tell = tell

    async def on_key(self, event: events.Key) -> None:
        """A letter that no longer fits is told of."""
        if (
            event.is_printable
            and self.max_length
            and len(self.value) >= self.max_length
            and not self.selected_text
        ):
            self._tell(f"{self.max_length} characters at most: no more is taken.")

    def _on_paste(self, event: events.Paste) -> None:
        event.stop()
        event.prevent_default()
        lines = [line.strip() for line in event.text.splitlines()]
        text = "".join(c if c.isprintable() else " " for c in " ".join(line for line in lines if line))
        start, end = sorted(self.selection)
        kept = text
        if self.max_length:
            kept = text[: max(0, self.max_length - len(self.value) + end - start)]
        self.replace(kept, start, end)
        if len(kept) < len(text):
            left = len(text) - len(kept)
            self._tell(f"{self.max_length} characters at most: the last {left:,} of the paste are left out.")
