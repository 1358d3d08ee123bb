"""All notices of one moment in full, where there is no log to read them in: in a replay."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tui.draw import notices
from tui.draw.spans import Row
from tui.screens.lines import LinesScreen


class NoticesScreen(LinesScreen):
    """Esc goes back to the replay."""

    HEAD = "NOTICES of this moment, as they stood then"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("b,escape,l", "back", "back to the replay")]

    def rows(self, width: int) -> list[Row]:
        scene = self.steer.scene
        standing = notices.draw(scene, width, notices.rows_wanted(scene, width))
        return [*standing, (), *notices.refused(scene, width)]

    def action_back(self) -> None:
        """Back to the replay."""
        self.app.pop_screen()
