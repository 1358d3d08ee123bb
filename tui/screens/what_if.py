"""In a replay: the drive steered again from a stroke on, beside what was driven."""

from __future__ import annotations

import textwrap
from typing import Any, ClassVar

from textual.binding import Binding, BindingType

from steer.errors import SteerError
from tui.screens.lines import LinesScreen


class WhatIfScreen(LinesScreen):
    """Worked out when it opens; Esc goes back to the replay."""

    HEAD = "STEERED AGAIN  on the ground as the drive taught it"
    STRONG = (0, 3)
    BINDINGS: ClassVar[list[BindingType]] = [Binding("b,escape", "back", "back to the replay")]

    def __init__(self, settings: str) -> None:
        super().__init__()
        self._settings = settings

    def on_mount(self) -> None:
        """Sets to work."""
        self.show(["The drive is being steered again."])
        work: Any = self._work_out  # made a coroutine only when its turn comes
        self.run_worker(work, group="what if", exclusive=True)

    async def _work_out(self) -> None:
        source: Any = self.steer.source

        def told(stroke: int, strokes: int) -> None:
            if stroke % 5 == 0 and self.app.is_running and self.is_attached:
                self.app.call_from_thread(self.show, [f"Steering again: stroke {stroke} of {strokes}."])

        try:
            lines = await self.steer.desk.do(lambda: source.what_if(self._settings, told))
        except SteerError as error:
            said = [
                str(error).removeprefix("--set "),
                "Nothing was steered again. Key b goes back; f asks anew.",
            ]
            lines = [line for text in said for line in textwrap.wrap(text, max(self.size.width - 2, 20))]
        self.show(lines)

    def columns(self) -> int | None:
        return next((n for n, line in enumerate(self.lines) if line.lstrip().startswith("at m ")), None)

    def action_back(self) -> None:
        """Back to the replay."""
        self.app.pop_screen()
