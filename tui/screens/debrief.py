"""After practice: the own drive beside the proposals followed and about the best possible."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.binding import Binding, BindingType

from steer.errors import SteerError
from tui.screens.lines import LinesScreen


class DebriefScreen(LinesScreen):
    """Worked out once each time it is opened; b goes back to the drive, r shows it again."""

    HEAD = "HOW IT WENT"
    STRONG = (0, 2)
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("b,escape", "back", "back to the drive"),
        Binding("r", "replay", "replay"),
    ]

    def on_screen_resume(self) -> None:
        """Back in front: the drive may have gone on."""
        self.show(["The same ground is being driven twice more."])
        work: Any = self._work_out  # made a coroutine only when its turn comes
        self.run_worker(work, group="debrief", exclusive=True)

    async def _work_out(self) -> None:
        source: Any = self.steer.source

        def told(what: str, stroke: int, strokes: int) -> None:
            if stroke % 5 == 0 and self.app.is_running:
                self.app.call_from_thread(self.show, [f"Driving {what}: stroke {stroke} of {strokes}."])

        try:
            lines = await self.steer.desk.do(lambda: source.debrief(told))
        except SteerError as error:
            lines = str(error).splitlines()
        self.show(lines)

    async def action_back(self) -> None:
        """Back to the stroke screen."""
        await self.app.switch_mode("stroke")

    def action_replay(self) -> None:
        """Ends this program; the command then opens the replay."""
        setattr(self.app, "wants_replay", True)  # noqa: B010
        self.app.exit()
