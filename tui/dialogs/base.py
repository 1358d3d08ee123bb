"""What all dialogs share: a framed box over the screen, Esc leaves, keys at the foot."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, cast

from textual.binding import Binding, BindingType
from textual.screen import ModalScreen

if TYPE_CHECKING:
    from tui.host import Host


class SteerDialog(ModalScreen[Any]):
    """A dialog; what is behind it stays visible."""

    DEFAULT_CSS = """
    SteerDialog { align: center bottom; background: $background 0%; }
    SteerDialog #box { width: 100%; max-width: 100; height: auto; border: solid $foreground; padding: 0 1;
        background: $background; }
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
    def box_class(self) -> str:
        """Frame in box-drawing characters, or in ASCII."""
        return "plain" if self.steer.ascii_only else ""

    def action_cancel(self) -> None:
        """Leaves without storing."""
        self.dismiss(None)
