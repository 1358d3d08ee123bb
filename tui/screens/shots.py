"""The surveyor's screen: check shots against the estimate."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from steer.errors import SteerError
from tui.draw import counters, shots_page
from tui.draw.glyphs import to_ascii
from tui.draw.scene import unread
from tui.draw.spans import Row
from tui.host import LATE_SAID_S
from tui.screens.base import SteerScreen
from tui.widgets.key_line import KeyLine
from tui.widgets.list_rows import ListRows
from tui.widgets.rows import Rows

if TYPE_CHECKING:
    from steer.advice import ShotView
    from tui.source import Reduced


DETAIL_ROWS = 11  # more where this shot has more to say
LIST_ROWS = 3  # that the list keeps, whatever the detail and the head want
LEAST_ROWS = 3  # of the detail


class ShotList(ListRows):
    """All shots, by chainage."""

    COUNTS_HIDDEN = True
    FOLLOWS = False  # a word is for the shot that one looks at, whatever comes in

    def head(self, width: int) -> list[Row]:
        scene = self.steer.scene
        room = self.screen.size.height - 1 - LEAST_ROWS - LIST_ROWS - 1  # the keys and the columns' own
        return [*shots_page.title_rows(scene, width, max(room, 1)), *shots_page.head(width)]

    def _shots(self) -> tuple[ShotView, ...]:
        snapshot = self.steer.scene.snapshot
        return snapshot.shots if snapshot else ()

    def count(self) -> int:
        return len(self._shots())

    def key(self, number: int) -> object:
        return self._shots()[number].number

    def item(self, number: int, width: int) -> Row:
        return shots_page.item(self._shots()[number], width)

    def nothing(self) -> str:
        if unread(self.steer.scene):
            return ""
        return "No check shot yet. Key f reads a file." if self.can_read() else "No check shot yet."

    def can_read(self) -> bool:
        """Whether the drive takes files."""
        return hasattr(self.steer.source, "read_shots")

    def cursor_moved(self) -> None:
        screen = self.screen
        assert isinstance(screen, ShotsScreen)
        screen.lay_out()
        screen.query_one("#detail", Rows).redraw()


class ShotDetail(Rows):
    """The shot under the cursor, and the answer to the last key."""

    DEFAULT_CSS = f"ShotDetail {{ height: {DETAIL_ROWS}; }}"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        screen = self.screen
        assert isinstance(screen, ShotsScreen)
        scene = self.steer.scene
        foot = counters.foot_rows(scene, width, 3)
        rows = shots_page.detail(scene, screen.shot(), screen.before_after, width, height - len(foot))
        rows += [()] * (height - len(foot) - len(rows)) + foot
        if scene.glyphs.ascii:
            rows = [tuple((to_ascii(text), role) for text, role in row) for row in rows]
        return rows


class ShotsScreen(SteerScreen):
    """List, detail; accept, reject, withdraw, read a file."""

    AUTO_FOCUS = "#list"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "app.mode('stroke')", "stroke", show=False),
        Binding("f", "read_file", "read file"),
        Binding("a", "word('accept_shot')", "accept"),
        Binding("r", "word('reject_shot')", "reject"),
        Binding("x", "word('withdraw_shot')", "withdraw"),
        Binding("u", "word('restore_shot')", "undo"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._answered: tuple[int, int, str] | None = None  # shot, end of the log, what its word changed

    def compose(self) -> ComposeResult:
        yield ShotList(id="list", at_end=True)
        yield ShotDetail(id="detail")
        yield KeyLine(id="keys")

    def on_resize(self) -> None:
        """The rows are shared anew."""
        self.lay_out()

    def scene_changed(self) -> None:
        self.lay_out()
        super().scene_changed()

    def lay_out(self) -> None:
        """Gives the shot under the cursor the rows that it wants, as far as the list can spare them."""
        width, height = self.size
        scene = self.steer.scene
        wanted = len(shots_page.detail(scene, self.shot(), self.before_after, width))
        wanted += len(counters.foot_rows(scene, width, 3))
        head = len(self.query_one("#list", ShotList).head(width))
        room = height - 1 - head - LIST_ROWS  # 1: the keys
        self.query_one("#detail").styles.height = min(max(DETAIL_ROWS, wanted), max(room, LEAST_ROWS))

    def shot(self) -> ShotView | None:
        """The shot under the cursor."""
        snapshot = self.steer.scene.snapshot
        if snapshot is None or not snapshot.shots:
            return None
        return snapshot.shots[self.query_one("#list", ListRows).cursor]

    @property
    def before_after(self) -> str:
        """What the last word changed, under the shot that it was for and until more comes in."""
        shot, snapshot = self.shot(), self.steer.scene.snapshot
        if self._answered is None or shot is None or snapshot is None:
            return ""
        number, sequence, text = self._answered
        return text if (number, sequence) == (shot.number, snapshot.log_sequence) else ""

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keys for what the drive cannot do are not offered."""
        source = self.steer.source
        if action == "read_file":
            return hasattr(source, "read_shots")
        if action == "word":
            return hasattr(source, str(parameters[0]))
        return True

    async def action_word(self, method: str) -> None:
        """Accepts, rejects or withdraws the shot under the cursor, or takes that word back, as an event."""
        shot = self.shot()
        if shot is None:
            self.steer.say("There is no shot under the cursor.")
            return
        if method == "accept_shot" and shot.verdict == "agrees":
            self.steer.say(f"Shot {shot.number} counts already: there is nothing to accept.")
            return
        done = {
            "accept_shot": "is accepted. Key u takes that back.",
            "reject_shot": "is rejected. Key u takes that back.",
            "withdraw_shot": "is withdrawn. Key u takes that back.",
        }.get(method)
        said = f"Shot {shot.number} {done}" if done else ""  # which word is taken back, the drive says
        await self.stored(lambda drive: getattr(drive, method)(shot.number), said)

    async def stored(self, work: Callable[[Any], object], said: str, at_work: str = "") -> bool:
        """Stores, and keeps the face's estimate before and after for the eye. `at_work`, of many shots, is said
        meanwhile."""
        before, newest = self._estimate(), self._newest()
        if not await self.steer.store(work, said, at_work):
            return False
        if self._newest() > newest:
            if self.app.screen is self:
                return True  # the box was left: the cursor stays on the shot that is looked at
            self._go_to(self._newest())
        elif at_work:
            return True  # nothing new came in: no shot to speak of
        after, shot, snapshot = self._estimate(), self.shot(), self.steer.scene.snapshot
        if before and after and shot is not None and snapshot is not None:
            text = f"Face before: {before}. Now: {after}." if before != after else f"The face stays: {after}."
            self._answered = shot.number, snapshot.log_sequence, text
        self.scene_changed()
        return True

    def _numbers(self) -> list[int]:
        snapshot = self.steer.scene.snapshot
        return [shot.number for shot in snapshot.shots] if snapshot is not None else []

    def _newest(self) -> int:
        return max(self._numbers(), default=-1)

    def _go_to(self, number: int) -> None:
        """Puts the cursor on a shot: one that came in late stands further up."""
        shots = self.query_one("#list", ListRows)
        shots.cursor = self._numbers().index(number)

    def action_read_file(self) -> None:
        """Asks for a file: one of points is stored, one of observations is adjusted and shown first."""
        from tui.dialogs.read_file import ReadFileDialog

        sights = False

        async def read(path: str) -> bool:
            nonlocal sights
            source: Any = self.steer.source
            if hasattr(source, "reduce_survey"):
                sights = await self.steer.desk.do(lambda: source.holds_sights(path))
            if box.left and not sights:
                said = f"{Path(path).name} was not read: the box was left before."
                self.steer.say(said, of_state=False, for_s=LATE_SAID_S)
            if box.left or sights:
                return True
            at_work = f"{Path(path).name} is being read and stored"
            return await self.stored(lambda drive: drive.read_shots(path), "File read.", at_work)

        def then(path: str | None) -> None:
            if path is not None and sights:
                self._ask_control(path)

        title = "Check shots from a file: points, or observations of a total station"
        box = ReadFileDialog(title, read)
        self.app.push_screen(box, then)

    def _ask_control(self, path: str) -> None:
        from tui.dialogs.paths import control_beside
        from tui.dialogs.read_file import ReadFileDialog

        found: list[Reduced] = []

        async def adjust(control: str) -> bool:
            source: Any = self.steer.source
            try:
                found[:] = [await self.steer.desk.do(lambda: source.reduce_survey(path, control, ()))]
            except (SteerError, OSError) as error:
                self.steer.refused = str(error) or type(error).__name__
                return False
            return True

        def then(control: str | None) -> None:
            from tui.screens.reduction import ReductionScreen

            if control is not None and found:
                self.app.push_screen(ReductionScreen(found[0], path, control, self._store_survey))

        self.app.push_screen(
            ReadFileDialog(
                "Its control: a file of the known points", adjust, control_beside(path), "adjusts"
            ),
            then,
        )

    async def _store_survey(self, work: Callable[[Any], object]) -> bool:
        return await self.stored(work, "Survey read.", "The survey is being stored")

    def _estimate(self) -> str:
        scene = self.steer.scene
        if scene.snapshot is None or scene.snapshot.advice is None:
            return ""
        return shots_page.estimate_text(scene.snapshot.advice.estimate, scene.glyphs.plus_minus)
