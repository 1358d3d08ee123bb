"""The surveyor's reduction: an adjusted survey with the residual of every sight, before anything is stored."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from steer.errors import SteerError
from tui.draw import counters, notices, reduction_page
from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, wrap
from tui.screens.base import SteerScreen
from tui.source import Reduced, ReducedSight
from tui.widgets.key_line import KeyLine
from tui.widgets.list_rows import ListRows
from tui.widgets.rows import Rows


class SightList(ListRows):
    """Every sight with its residual, under the verdict."""

    COUNTS_HIDDEN = True

    def head(self, width: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, ReductionScreen)
        title, *found = reduction_page.head_rows(screen.reduced, width)
        return [title, *notices.standing(self.steer.scene, width), *found, *reduction_page.table_head(width)]

    def _reduced(self) -> Reduced:
        screen = self.screen
        assert isinstance(screen, ReductionScreen)
        return screen.reduced

    def count(self) -> int:
        return len(self._reduced().sights) + len(self._reduced().points)

    def key(self, number: int) -> object:
        sights, points = self._reduced().sights, self._reduced().points
        if number >= len(sights):
            return points[number - len(sights)].split()[:1]
        sight = sights[number]
        return sight.row or (sight.station, sight.target, sight.kind)

    def item(self, number: int, width: int) -> Row:
        sights, points = self._reduced().sights, self._reduced().points
        if number < len(sights):
            return reduction_page.item(sights[number], width)
        return reduction_page.point_item(points[number - len(sights)])

    def cursor_moved(self) -> None:
        self.screen.query_one("#foot", Rows).redraw()


class FootRow(Rows):
    """What can be done, or why the last key did nothing."""

    DEFAULT_CSS = "FootRow { height: 2; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, ReductionScreen)
        told = counters.at_work(self.steer.scene) or screen.said
        text = told or reduction_page.foot_text(screen.reduced, screen.sight() is None)
        text = to_ascii(text) if self.steer.ascii_only else text
        return [((f" {line}", "strong" if told else "quiet"),) for line in wrap(text, width - 2, height)]


class ReductionScreen(SteerScreen):
    """Rows out and in again, then stored or left; `stored` is told what the drive answered."""

    AUTO_FOCUS = "#list"
    MEANINGS = reduction_page.MEANINGS
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("x", "leave_out", "row out or in"),
        Binding("s", "keep(False)", "store"),
        Binding("S,upper_s", "keep(True)", "store all the same", key_display="S"),
        Binding("escape", "back", "back"),
    ]

    def __init__(
        self, reduced: Reduced, path: str, control: str, stored: Callable[[Callable[[Any], object]], Any]
    ) -> None:
        super().__init__()
        self.reduced = reduced
        self.said = ""
        self._path, self._control, self._stored = path, control, stored

    def compose(self) -> ComposeResult:
        yield SightList(id="list")
        yield FootRow(id="foot")
        yield KeyLine(id="keys")

    def on_mount(self) -> None:
        """The cursor begins where a look is needed first."""
        self.query_one("#list", ListRows).cursor = reduction_page.suspects_first(self.reduced.sights)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """One of the two keys that store is offered."""
        return action != "keep" or parameters == (self.reduced.state == "in doubt",)

    def key_not_offered(self, key: str) -> None:
        """Answers the key that is not offered while the survey is in doubt."""
        if key == "s" and self.reduced.state == "in doubt":
            self._say("In doubt: leave the slip's row out (key x), or key S stores it with a larger sd.")

    def sight(self) -> ReducedSight | None:
        """The sight under the cursor."""
        cursor = self.query_one("#list", ListRows).cursor
        return self.reduced.sights[cursor] if cursor < len(self.reduced.sights) else None

    async def action_leave_out(self) -> None:
        """Adjusts again without the row under the cursor, or with it again."""
        sight, source = self.sight(), self.steer.source
        if sight is None:
            self._say("There is no sight under the cursor.")
            return
        if sight.row == 0:
            self._say("Control is not left out here: mend its file.")
            return
        out = set(self.reduced.left_out) ^ {sight.row}
        ask: Any = source
        try:
            self.reduced = await self.steer.desk.do(
                lambda: ask.reduce_survey(self._path, self._control, tuple(sorted(out)))
            )
        except (SteerError, OSError) as error:
            self._say(f"Not without that row: {str(error).splitlines()[0]}")
            return
        self._say("")

    def action_keep(self, despite: bool) -> None:
        """Asks which points are check shots, then stores them."""
        from tui.dialogs.ask_line import AskLineDialog

        async def keep(shots: str) -> bool:
            out = self.reduced.left_out
            stored: bool = await self._stored(
                lambda drive: drive.store_survey(self._path, self._control, out, shots, despite)
            )
            if self.app.screen is self:  # the box was left meanwhile
                if stored:
                    self.app.pop_screen()
                else:
                    self._say(self.steer.scene.said)
            return stored

        def done(shots: str | None) -> None:
            if shots is not None:
                self.app.pop_screen()

        title = reduction_page.shots_question(self.reduced.names)
        self.app.push_screen(AskLineDialog(title, keep, self.reduced.shots, "stores"), done)

    def action_back(self) -> None:
        """Back to the check shots; nothing is stored."""
        self.app.pop_screen()

    def _say(self, text: str) -> None:
        self.said = text
        self.refresh_bindings()
        self.scene_changed()
