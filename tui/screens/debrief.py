"""After practice: the own drive beside the proposals followed and about the best possible."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from steer.errors import SteerError
from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, cut_text
from tui.screens.base import SteerScreen
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows


class DebriefPage(Rows):
    """The lines of the debrief, from the one at the top on."""

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, DebriefScreen)
        rows: list[Row] = [((" HOW IT WENT ".ljust(width), "title"),)]
        for number, line in enumerate(screen.lines[screen.top :]):
            text = to_ascii(line) if self.steer.ascii_only else line
            head = number + screen.top in (0, 2)
            rows.append(((" " + cut_text(text, width - 1), "strong" if head else ""),))
        return rows


class DebriefScreen(SteerScreen):
    """Worked out once each time it is opened; b goes back to the drive, r shows it again."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("b,escape", "back", "back to the drive"),
        Binding("r", "replay", "replay"),
        Binding("up", "scroll(-1)", "up", show=False),
        Binding("down", "scroll(1)", "down", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self.top = 0

    def compose(self) -> ComposeResult:
        yield DebriefPage(id="page")
        yield KeyLine(id="keys")

    def on_screen_resume(self) -> None:
        """Back in front: the drive may have gone on."""
        self.lines, self.top = ["The same ground is being driven twice more."], 0
        self.scene_changed()
        work: Any = self._work_out  # made a coroutine only when its turn comes
        self.run_worker(work, group="debrief", exclusive=True)

    async def _work_out(self) -> None:
        source: Any = self.steer.source

        def told(what: str, stroke: int, strokes: int) -> None:
            if stroke % 5 == 0 and self.app.is_running:
                self.app.call_from_thread(self._show, [f"Driving {what}: stroke {stroke} of {strokes}."])

        try:
            lines = await self.steer.desk.do(lambda: source.debrief(told))
        except SteerError as error:
            lines = str(error).splitlines()
        self._show(lines)

    def _show(self, lines: list[str]) -> None:
        self.lines = lines
        self.scene_changed()

    def action_scroll(self, by: int) -> None:
        """Further down or up where the page is longer than the screen."""
        most = max(0, len(self.lines) - (self.query_one("#page", DebriefPage).size.height - 1))
        self.top = min(max(self.top + by, 0), most)
        self.scene_changed()

    async def action_back(self) -> None:
        """Back to the stroke screen."""
        await self.app.switch_mode("stroke")

    def action_replay(self) -> None:
        """Ends this program; the command then opens the replay."""
        setattr(self.app, "wants_replay", True)  # noqa: B010
        self.app.exit()
