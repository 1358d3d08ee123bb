"""What all screens share: they are told when the scene changed."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from textual.screen import Screen

from tui.widgets.key_line import KeyLine
from tui.widgets.narrow import NarrowCompositor
from tui.widgets.rows import Rows

if TYPE_CHECKING:
    from tui.host import Host


class SteerScreen(Screen[None]):
    """A screen made of drawn rows."""

    AUTO_FOCUS = ""

    def __init__(self) -> None:
        super().__init__()
        self._compositor = NarrowCompositor()

    @property
    def steer(self) -> Host:
        """The app, with its scene and its drive."""
        return cast("Host", self.app)

    def scene_changed(self) -> None:
        """Draws what changed; called for the screen in front only."""
        for rows in self.query(Rows):
            rows.redraw()

    def key_rank(self, action: str) -> int:
        """Which keys stay at the foot where there is not room for all: those with the lowest."""
        return 0

    def key_not_offered(self, key: str) -> None:
        """A key that nothing stands for at present; a screen may say why."""

    def on_resize(self) -> None:
        """Whether the terminal is too small is said beside the keys, whose own row may not have changed."""
        for keys in self.query(KeyLine):
            keys.redraw()

    def on_screen_resume(self) -> None:
        """Back in front: catch up."""
        self.scene_changed()
