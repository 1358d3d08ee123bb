"""The log and the notices, for all: filterable, newest last."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from functools import partial
from itertools import islice
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from steer.errors import SteerError
from tui.draw import counters, log_page, notices
from tui.draw.glyphs import to_ascii
from tui.draw.log_page import FILTERS, LogLine, line_of, passes, taken_back
from tui.draw.scene import unread
from tui.draw.spans import Row, at_ends, wrap
from tui.screens.base import SteerScreen
from tui.source import LoggedEvent
from tui.widgets.key_line import KeyLine
from tui.widgets.list_rows import ListRows
from tui.widgets.rows import Rows

_BEFORE_TEXT = 35  # cells of a row: mark, number, time, kind

KEPT = 5000  # lines held for readings, and as many for the rest
AT_ONCE = 2000  # events read in one go
LEAST_LINES = 4  # of the list, its title among them, before anything else gets more than it must have
DETAIL_ROWS, LEAST_DETAIL = 5, 3  # of the event under the cursor and the caution
NOTICE_ROWS, LEAST_NOTICES = 8, 2  # at most, at least
AGAIN_S = 1.0  # after which a log out of reach is tried again


def _lines(ask: Callable[[int], Iterable[LoggedEvent]], after: int) -> tuple[list[LogLine], dict[int, int]]:
    """The next lines, and which events they take back: by which."""
    lines, undone = [], {}
    for event in islice(ask(after), AT_ONCE):
        lines.append(line_of(event))
        if (earlier := taken_back(event)) is not None:
            undone[earlier] = event.sequence
    return lines, undone


class NoticeRows(Rows):
    """All notices that hold now, in full as far as there is room."""

    DEFAULT_CSS = "NoticeRows { height: auto; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        title: Row = ((f" {notices.title(self.steer.scene)}".ljust(width), "title"),)
        # no mark before it: the title counts those below
        old = notices.old(self.steer.scene, width, ((" ", ""),))
        return [*old, title, *notices.draw(self.steer.scene, width, height - 1 - len(old))]

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return 1 + len(notices.old(self.steer.scene, width)) + notices.rows_wanted(self.steer.scene, width)


class LogList(ListRows):
    """Events, one row each."""

    def head(self, width: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, LogScreen)
        search = f", with {screen.search!r}" if screen.search else ""
        shown = screen.shown()
        text = f" LOG  {screen.filter_name}{search}: {len(shown):,} lines"
        trouble = unread(self.steer.scene) or screen.trouble
        if trouble:
            why: list[Row] = [((f" {line}", "strong"),) for line in wrap(trouble, width - 2, 4)]
            return [((" LOG".ljust(width), "title"),), *why]
        # a row has room for day and hour only
        years = list(dict.fromkeys(line.arrived[:4] for line in (*shown[:1], *shown[-1:])))
        when = f"stored {' to '.join(years)}, UTC " if years else ""
        row: Row = ((text.ljust(width), "title"),)
        if len(text) + len(when) < width:
            row = at_ends(row, ((when, "title"),), width)
        refused = notices.refused(self.steer.scene, width)
        return [row, *refused] if self.size.height >= len(refused) + LEAST_LINES else [row]

    def nothing(self) -> str:
        screen = self.screen
        assert isinstance(screen, LogScreen)
        if unread(self.steer.scene):
            return ""
        if screen.search:
            notice = " A notice above does." if notices.holds(self.steer.scene, screen.search) else ""
            keys = "Key f: the next kind; key /: another text."
            return f"No line of {screen.filter_name} holds {screen.search!r}.{notice} {keys}"
        return "Nothing here yet."

    def count(self) -> int:
        screen = self.screen
        assert isinstance(screen, LogScreen)
        return len(screen.shown())

    def key(self, number: int) -> object:
        screen = self.screen
        assert isinstance(screen, LogScreen)
        return screen.shown()[number].sequence

    def item(self, number: int, width: int) -> Row:
        screen = self.screen
        assert isinstance(screen, LogScreen)
        line = screen.shown()[number]
        return (
            (f"{line.sequence:>6} {line.arrived[5:16].replace('T', ' ')} ", "quiet"),
            (f"{log_page.kind_words(line):<14} ", "strong"),
            (log_page.short(log_page.with_fate(line, screen.undone), width - _BEFORE_TEXT), ""),
        )

    def cursor_moved(self) -> None:
        self.screen.query_one("#detail", Rows).redraw()


class LogDetail(Rows):
    """The event under the cursor in full, and the answer to the last key."""

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, LogScreen)
        scene = self.steer.scene
        foot = counters.foot_rows(scene, width, min(3, height - 1))
        rows = log_page.detail(screen.line(), width, height - len(foot), screen.undone)[: height - len(foot)]
        rows += [()] * (height - len(foot) - len(rows)) + foot
        return (
            [tuple((to_ascii(text), role) for text, role in row) for row in rows]
            if scene.glyphs.ascii
            else rows
        )


class LogScreen(SteerScreen):
    """Filter by kind, search by text."""

    AUTO_FOCUS = "#list"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "app.mode('stroke')", "stroke", show=False),
        Binding("f", "filter", "next kind"),
        Binding("slash", "search", "search"),
        Binding("n", "note", "note"),
        Binding("l", "notices", "all notices"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.filter_name = next(iter(FILTERS))
        self.search = ""
        self.trouble = ""
        self._readings: deque[LogLine] = deque(maxlen=KEPT)
        self._rest: deque[LogLine] = deque(maxlen=KEPT)
        self.undone: dict[int, int] = {}  # event -> the later one that took it back
        self._seen = 0
        self._busy = False
        self._shown: list[LogLine] | None = None

    def compose(self) -> ComposeResult:
        yield NoticeRows(id="notices")
        yield LogList(id="list", at_end=True)
        yield LogDetail(id="detail")
        yield KeyLine(id="keys")

    def on_resize(self) -> None:
        """In a low terminal the list keeps its rows: a cursor that nobody sees scrolls blind."""
        super().on_resize()
        room = self.size.height - 1 - LEAST_LINES
        detail = DETAIL_ROWS if room >= DETAIL_ROWS + NOTICE_ROWS else LEAST_DETAIL
        self.query_one("#detail").styles.height = detail
        self.query_one("#notices").styles.max_height = max(LEAST_NOTICES, min(NOTICE_ROWS, room - detail))

    def scene_changed(self) -> None:
        super().scene_changed()
        self.query_one("#notices").refresh(layout=True)
        snapshot = self.steer.scene.snapshot
        if not self._busy and (snapshot is None or snapshot.log_sequence != self._seen):
            self._busy = True
            self.run_worker(self._catch_up(), group="log")

    async def _catch_up(self) -> None:
        """Reads on in the log, a few thousand events at a time."""
        source = self.steer.source
        ask = getattr(source, "events", None)
        try:
            if source is None:
                return  # what stands in its place is in the scene
            if ask is None:
                self.trouble = "this drive shows no events"
                return
            while True:
                lines, undone = await self.steer.desk.do(partial(_lines, ask, self._seen))
                self.undone |= undone
                for line in lines:
                    (self._readings if line.kind == "reading" else self._rest).append(line)
                    self._seen = line.sequence
                self._shown = None
                if len(lines) < AT_ONCE:
                    break
            self.trouble = ""
        except (SteerError, OSError) as error:
            self.trouble = f"out of reach: {error}"
            self.set_timer(AGAIN_S, self.scene_changed)
        finally:
            self._busy = False
            super().scene_changed()

    def shown(self) -> list[LogLine]:
        """The lines that pass the filter, oldest first."""
        if self._shown is None:
            lines = sorted([*self._rest, *self._readings], key=lambda line: line.sequence)
            self._shown = [line for line in lines if passes(line, self.filter_name, self.search)]
        return self._shown

    def line(self) -> LogLine | None:
        """The line under the cursor."""
        rows = self.query_one("#list", ListRows)
        shown = self.shown()
        return shown[rows.cursor] if shown else None

    def _again(self) -> None:
        self._shown = None
        self.query_one("#list", ListRows).follow_end = True
        super().scene_changed()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A page of their own for the notices is offered where there is no room for them here."""
        if action != "notices":
            return True
        return any(
            rows.get_content_height(None, None, rows.size.width) > rows.size.height
            for rows in self.query(NoticeRows)
        )

    def action_notices(self) -> None:
        """All notices in full."""
        from tui.screens.notices import NoticesNow

        self.app.push_screen(NoticesNow())

    def action_filter(self) -> None:
        """The next filter; it asks for no text, and says so."""
        names = list(FILTERS)
        place = names.index(self.filter_name) + 1
        self.filter_name, after = names[place % len(names)], names[(place + 1) % len(names)]
        self._again()
        self.steer.say(
            f"Kind shown: {self.filter_name}. Key f again: {after}. Key / asks for a text.", of_state=False
        )

    def action_search(self) -> None:
        """Asks for a text that lines must hold."""
        from tui.dialogs.search import SearchDialog

        def found(text: str | None) -> None:
            if text is not None:
                self.search = text
                self._again()

        self.app.push_screen(SearchDialog(self.search), found)

    def hides_note(self, text: str) -> str:
        """Why a note just stored would not be seen here, and the key that shows it; empty where it is."""
        if not passes(LogLine(0, "", "note", text), self.filter_name, ""):
            return f"Not seen here, where {self.filter_name} are shown: key f."
        hidden = not passes(LogLine(0, "", "note", text), self.filter_name, self.search)
        return f"Not seen here, where {self.search!r} is searched for: key /." if hidden else ""

    def action_note(self) -> None:
        """Opens the dialog for a note."""
        from tui.dialogs.note import NoteDialog

        self.app.push_screen(NoteDialog())
