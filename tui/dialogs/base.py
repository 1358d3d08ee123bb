"""What all dialogs share: a framed box over the screen, Esc leaves, keys at the foot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, cast

from textual.binding import Binding, BindingType
from textual.screen import ModalScreen

from tui.draw import notices
from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row
from tui.widgets.rows import Rows

if TYPE_CHECKING:
    from tui.host import Host

LEAST_ROWS = 16  # of the terminal: in fewer the box has them all, and only its frame says that there are some


class Standing(Rows):
    """What the box may cover: that what is shown is old, and the notices."""

    DEFAULT_CSS = "Standing { height: auto; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        rows = notices.standing(self.steer.scene, width)
        if self.steer.ascii_only:
            rows = [tuple((to_ascii(text), role) for text, role in row) for row in rows]
        return rows

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return len(notices.standing(self.steer.scene, width)) if self.app.size.height >= LEAST_ROWS else 0


class SteerDialog(ModalScreen[Any]):
    """A dialog; what is behind it stays visible and goes on."""

    DEFAULT_CSS = """
    SteerDialog { align: center bottom; background: $background 0%; }
    SteerDialog #box { width: 100%; max-width: 100; height: auto; border: solid $foreground; padding: 0 1;
        background: $background; border-title-style: bold; border-title-color: $foreground;
        border-title-background: $background; }
    SteerDialog #box.plain { border: ascii $foreground; }
    SteerDialog Label { width: 1fr; }
    SteerDialog .strong { text-style: bold; }
    SteerDialog Input { height: 1; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "cancel", "leave", priority=True)]

    @property
    def steer(self) -> Host:
        """The app, with its scene and its drive."""
        return cast("Host", self.app)

    @property
    def left(self) -> bool:
        """Left with Esc, maybe while what it asked for was at work: nothing is shown in it or closed any more."""
        return self not in self.app.screen_stack

    @property
    def box_class(self) -> str:
        """Frame in box-drawing characters, or in ASCII."""
        return "plain" if self.steer.ascii_only else ""

    async def on_mount(self) -> None:
        """Above all else in the box."""
        await self.query_one("#box").mount(Standing(id="standing"), before=0)
        self._say_in_frame()

    def on_resize(self) -> None:
        """There may be rows for them now, or none any more."""
        self._say_in_frame()
        for rows in self.query(Standing):
            rows.refresh(layout=True)

    def _say_in_frame(self) -> None:
        width, height = self.app.size
        room = min(width, 100) - 8  # corners, blanks, and the bar of a box that is longer than the terminal
        said = notices.in_frame(self.steer.scene, room) if height < LEAST_ROWS else ""
        self.query_one("#box").border_title = said

    def scene_changed(self) -> None:
        """What came in while it is open."""
        if self.is_running:
            self._say_in_frame()
        for rows in self.query(Standing):
            rows.redraw()
            rows.refresh(layout=len(notices.standing(self.steer.scene, rows.size.width)) != rows.size.height)

    def action_cancel(self) -> None:
        """Leaves without storing."""
        self.dismiss(None)
