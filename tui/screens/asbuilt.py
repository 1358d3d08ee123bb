"""The engineer's screen: what was built against what was allowed."""

from __future__ import annotations

import asyncio
import math
import sqlite3
from collections.abc import Sequence
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container

from steer.errors import SteerError
from tui.draw import asbuilt_page, counters, notices
from tui.draw.glyphs import to_ascii
from tui.draw.scene import stopped, unread
from tui.draw.spans import Row
from tui.draw.stretch import Reach, reach
from tui.screens.base import SteerScreen
from tui.source import AsBuilt, AsBuiltPipe
from tui.widgets.key_line import KeyLine
from tui.widgets.list_rows import ListRows
from tui.widgets.rows import Rows

_FAILS = (SteerError, OSError, sqlite3.Error)
FOOT_ROWS = 3  # at most: a path and what is wrong with it may be long
STRETCHES_M = (10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0, 1280.0)


class BuiltSummary(Rows):
    """What the whole of it comes to."""

    DEFAULT_CSS = "BuiltSummary { height: auto; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, AsBuiltScreen)
        rows = asbuilt_page.summary_rows(
            screen.built,
            screen.nothing_because(),
            width,
            screen.age(),
            height,
            stopped(self.steer.scene),
            notices.line(self.steer.scene, width),
        )
        return [_ascii(row) for row in rows] if self.steer.ascii_only else rows


class BuiltStrips(Rows):
    """Both strips, and the verdicts under each."""

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, AsBuiltScreen)
        scene = self.steer.scene
        if screen.built is None or height < asbuilt_page.LEAST_STRIPS:
            return []
        rows = asbuilt_page.strips(scene, screen.built, screen.where(width), width, height)
        return [_ascii(row) for row in rows] if scene.glyphs.ascii else rows


class PipeList(ListRows):
    """One row a pipe."""

    COUNTS_HIDDEN = True

    def head(self, width: int) -> list[Row]:
        return asbuilt_page.pipe_head(width)

    def _pipes(self) -> Sequence[AsBuiltPipe]:
        screen = self.screen
        assert isinstance(screen, AsBuiltScreen)
        return screen.built.pipes if screen.built else ()

    def count(self) -> int:
        return len(self._pipes())

    def key(self, number: int) -> object:
        return self._pipes()[number].number

    def item(self, number: int, width: int) -> Row:
        return asbuilt_page.pipe_row(self._pipes()[number], width)

    def nothing(self) -> str:
        screen = self.screen
        assert isinstance(screen, AsBuiltScreen)
        return "No pipe yet." if screen.built is not None else ""

    def cursor_moved(self) -> None:
        screen = self.screen
        assert isinstance(screen, AsBuiltScreen)
        screen.show_pipe(self.cursor)


def _ascii(row: Row) -> Row:
    return tuple((to_ascii(text), role) for text, role in row)


class FootRow(Rows):
    """The caution, or the answer to the last key."""

    DEFAULT_CSS = "FootRow { height: 1; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        return counters.foot_rows(self.steer.scene, width, FOOT_ROWS)


class AsBuiltScreen(SteerScreen):
    """Zoom and scroll along the chainage; the pipe under the cursor is always in view."""

    AUTO_FOCUS = "#list"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "app.mode('stroke')", "stroke", show=False),
        Binding("r", "again", "with the newest"),
        Binding("plus,equals_sign", "zoom(-1)", "nearer", key_display="+"),
        Binding("minus", "zoom(1)", "wider"),
        Binding("left,comma", "scroll(-1)", "back", key_display="Left"),
        Binding("right,full_stop", "scroll(1)", "on", key_display="Right"),
        Binding("e", "export", "export"),
        Binding("p", "write('.pdf')", "PDF"),
        Binding("v", "write('.csv')", "CSV"),
        Binding("z", "scale", "scale", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.built: AsBuilt | None = None
        self.why_not = "Working it out ..."
        self._placed = ("", 1, False, "")  # what the rows were shared out for
        self._writing = False
        self._sequence = -1  # of the log, as far as the account goes or will go
        self._reaches_m: float | None = None
        self._at_work = False
        self._drawn = False  # whether there is room for the strips
        self._zoom: int | None = None  # None: the whole drive
        self._from_m = 0.0

    def compose(self) -> ComposeResult:
        yield BuiltSummary(id="summary")
        with Container(id="body"):
            yield BuiltStrips(id="page")
            yield PipeList(id="list")
        yield FootRow(id="foot")
        yield KeyLine(id="keys")

    def on_resize(self) -> None:
        """The pipes stand beside the strips where there is room, else below."""
        self._lay_out()

    def _lay_out(self) -> None:
        width, height = self.size
        self._placed = self._around()
        old, foot, standing, why_not = self._placed
        noticed = notices.line(self.steer.scene, width)
        wanted = len(asbuilt_page.summary_rows(self.built, why_not, width, stopped=old, noticed=noticed))
        least = 2 + len(self.built.warnings) + bool(old) + standing if self.built is not None else 1
        plan = asbuilt_page.plan(width, height - 1 - foot, wanted, least)
        self._drawn = plan.strips >= asbuilt_page.LEAST_STRIPS
        self.query_one("#foot").styles.height = foot
        body, strips, pipes = (self.query_one(f"#{name}") for name in ("body", "page", "list"))
        self.query_one("#summary").styles.height = plan.summary
        body.styles.height = max(1, plan.strips if plan.beside else plan.strips + plan.pipes)
        body.styles.layout = "horizontal" if plan.beside else "vertical"
        strips.styles.height = "1fr" if plan.beside else plan.strips
        pipes.styles.height = "1fr" if plan.beside else max(1, plan.pipes)
        strips.styles.width = "1fr"
        pipes.styles.width = plan.beside or "1fr"
        pipes.styles.margin = (0, 0, 0, 1 if plan.beside else 0)
        self.query_one("#keys", Rows).redraw()

    def nothing_because(self) -> str:
        """Why there is no account to show."""
        return unread(self.steer.scene) or self.why_not

    def _around(self) -> tuple[str, int, bool, str]:
        """What takes rows besides the account, or in its place: that it is old, the answer to the last key, the notices,
        why there is none."""
        scene = self.steer.scene
        foot = len(counters.foot_rows(scene, self.size.width, FOOT_ROWS))
        return stopped(scene), foot, bool(notices.ordered(scene)), self.nothing_because()

    def scene_changed(self) -> None:
        if self._around() != self._placed:
            self._lay_out()
        snapshot = self.steer.scene.snapshot
        if snapshot is not None and self._sequence < 0:
            self._sequence = snapshot.log_sequence
            self._at_work = True
            reaches_m = snapshot.advice.chainage_m if snapshot.advice is not None else None
            self.run_worker(self._work_out(reaches_m), exclusive=True, group="asbuilt")
        super().scene_changed()

    def on_screen_resume(self) -> None:
        """Whoever comes back sees what is written to a file now, not what was so at the first look."""
        if self.older() or (self.built is None and not self._at_work):
            self._sequence = -1
        super().on_screen_resume()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Export is offered when the drive can; to work it out anew when that would change something; the strips'
        stretch where they are drawn."""
        if action in ("zoom", "scroll", "scale"):
            return self.built is not None and self._drawn
        if action == "again":
            return not self._at_work and (self.older() or self.built is None)
        return hasattr(self.steer.source, "asbuilt_writer") if action in ("export", "write") else True

    async def _work_out(self, reaches_m: float | None) -> None:
        source = self.steer.source
        ask = getattr(source, "asbuilt", None)
        if ask is None:
            self.why_not = "This drive has no as-built account."
        else:
            try:
                self.built = await self.steer.desk.do(ask)
                self._reaches_m = reaches_m
            except _FAILS as error:
                self.built, self.why_not = None, f"Not to be had: {error}"
        self._at_work = False
        self._lay_out()
        super().scene_changed()

    def older(self) -> bool:
        """Whether the log has grown since the account was worked out."""
        snapshot = self.steer.scene.snapshot
        return self.built is not None and snapshot is not None and snapshot.log_sequence != self._sequence

    def age(self) -> str:
        """How far the account goes while the log goes on; empty while it is of the newest."""
        if self.built is None or not (self._at_work or self.older()):
            return ""
        snapshot, reaches_m = self.steer.scene.snapshot, self._reaches_m
        face_m = (
            snapshot.advice.chainage_m if snapshot is not None and snapshot.advice is not None else math.inf
        )
        # what came in since may be a shot far behind the face
        short = reaches_m is not None and face_m > reaches_m + 5e-3
        how_far = f"only to {reaches_m:.2f} m" if short else "before more came in"
        return f"{how_far}, worked out anew now" if self._at_work else f"{how_far}; key r: with the newest"

    def where(self, width: int) -> Reach:
        """The stretch shown."""
        whole = reach(self.steer.scene, width)
        columns = max(1, width - whole.margin)
        start, end = self._ends()
        stretch = end - start if self._zoom is None else STRETCHES_M[self._zoom]
        from_m = min(max(start, self._from_m), max(start, end - stretch))
        return Reach(from_m, from_m + max(stretch, 1.0), columns, whole.margin, 0)

    def _ends(self) -> tuple[float, float]:
        snapshot = self.steer.scene.snapshot
        return (snapshot.start_chainage_m, snapshot.end_chainage_m) if snapshot else (0.0, 1.0)

    def action_zoom(self, by: int) -> None:
        """A shorter or longer stretch, about its middle."""
        start, end = self._ends()
        now = self.where(100)
        fitting = [n for n, s in enumerate(STRETCHES_M) if s < end - start]
        if not fitting:
            return
        level = len(fitting) if self._zoom is None else self._zoom
        level = max(0, min(len(fitting), level + by))
        self._zoom = None if level == len(fitting) else level
        stretch = end - start if self._zoom is None else STRETCHES_M[self._zoom]
        self._from_m = 0.5 * (now.from_m + now.to_m) - 0.5 * stretch
        self.query_one("#page", Rows).redraw()

    def action_scroll(self, by: int) -> None:
        """A quarter of the stretch back or on."""
        now = self.where(100)
        self._from_m = now.from_m + 0.25 * by * (now.to_m - now.from_m)
        self.query_one("#page", Rows).redraw()

    def action_scale(self) -> None:
        """Strips scaled to the tolerance, or close to the path."""
        from dataclasses import replace

        self.steer.set_scene(replace(self.steer.scene, close=not self.steer.scene.close))

    def action_again(self) -> None:
        """Works the account out anew from the log as it is now."""
        self._sequence = -1
        self.scene_changed()

    def show_pipe(self, number: int) -> None:
        """Brings a pipe into the stretch shown."""
        if self.built is None or not 0 <= number < len(self.built.pipes):
            return
        middle = self.built.pipes[number].chainage_m
        now = self.where(100)
        if not now.from_m <= middle <= now.to_m:
            self._from_m = middle - 0.5 * (now.to_m - now.from_m)
            self.query_one("#page", Rows).redraw()

    async def action_export(self) -> None:
        """Asks for a file name; its ending says the form."""
        from tui.dialogs.read_file import ReadFileDialog

        source: Any = self.steer.source
        try:
            start = await self.steer.desk.do(lambda: source.asbuilt_file(".xlsx"))
        except _FAILS:
            start = ""
        self.app.push_screen(
            ReadFileDialog("Export to .pdf, .csv, .xlsx, .dxf or .xml", self._write, start, "writes")
        )

    def action_write(self, ending: str) -> None:
        """Writes into the drive's folder, under a name that no file has yet."""
        self.run_worker(self._write("", ending), group="write")

    async def _write(self, path: str, ending: str = "") -> bool:
        """Takes the record in the drive's thread and writes it in another: a report takes seconds, and readings
        come in meanwhile."""
        if self._writing:
            self.steer.refused = "Another file is still being written."
            self.steer.say(self.steer.refused)
            return False
        self._writing = True
        source: Any = self.steer.source
        try:
            path = path or await self.steer.desk.do(lambda: source.asbuilt_file(ending))
            self.steer.say(f"Writing {path}")
            write = await self.steer.desk.do(lambda: source.asbuilt_writer(path))
            said = await asyncio.to_thread(write)
        except _FAILS as error:
            self.steer.refused = str(error) or type(error).__name__
        except Exception as fault:  # of a library that writes: no reason to lose the screens
            what = f"{type(fault).__name__}: {str(fault)[:200]}"
            self.steer.refused = f"Fault in the program, please report: {what}"
        else:
            self.steer.refused = ""
            self.steer.say(f"Written: {said}")
            return True
        finally:
            self._writing = False
        self.steer.say(f"Not written: {self.steer.refused.splitlines()[0]}")
        return False
