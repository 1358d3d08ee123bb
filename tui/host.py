"""The program as its screens, dialogs and widgets use it: they know this, not the program itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from tui.desk import Desk
from tui.draw.scene import Decision, Scene
from tui.source import Source

SAID_S = 8.0  # that an answer stands
LATE_SAID_S = 60.0  # one that comes late: who asked looks elsewhere by then


class Host(Protocol):
    """What `tui.app.SteerApp` offers to whatever is shown in it."""

    source: Source | None
    desk: Desk
    scene: Scene
    ascii_only: bool
    palette_name: str
    refused: str  # all lines of the last refusal
    steady: Callable[[], float]  # seconds on the clock that nobody can set

    def set_scene(self, scene: Scene) -> None:
        """Puts a scene in place; the screen in front draws what differs."""

    def say(self, text: str, of_state: bool = True, for_s: float = SAID_S) -> None:
        """An answer to a key, shown at the foot for some seconds; until another stroke, decision or word on a shot
        comes where it is `of_state`."""

    def decide(self, decision: Decision | None) -> None:
        """Remembers the operator's decision for the coming stroke."""

    async def look(self, always: bool = False) -> None:
        """Asks the drive once; draws only when something changed."""

    async def store(self, work: Callable[[Any], object], said: str, at_work: str = "") -> bool:
        """Has the drive store something; says so, or why not. `at_work` stands at the foot meanwhile."""
        ...
