"""All notices of one moment in full: in a replay, which has no log to read them in, and in a terminal so low that the
log has no room for them."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui.draw import notices
from tui.draw.spans import Row
from tui.screens.lines import LinesScreen


class NoticesScreen(LinesScreen):
    """Those of a replay's moment; Esc goes back."""

    HEAD = "NOTICES of this moment, as they stood then"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("b,escape,l", "back", "back to the replay")]

    def rows(self, width: int) -> list[Row]:
        scene = self.steer.scene
        standing = notices.draw(scene, width, notices.rows_wanted(scene, width))
        return [*standing, (), *notices.refused(scene, width)]

    def action_back(self) -> None:
        """Back to what lies below."""
        self.app.pop_screen()


class NoticesNow(NoticesScreen):
    """Those that hold now; Esc goes back to the log."""

    HEAD = "NOTICES in full"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("b,escape,l", "back", "back to the log")]
