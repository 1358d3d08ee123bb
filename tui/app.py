"""The program of the terminal screens: follows the drive and holds the scene that screens draw."""

from __future__ import annotations

import asyncio
import os
import sqlite3
import time
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.widgets import Input

from steer.errors import SteerError
from tui import pasted
from tui.desk import Desk
from tui.dialogs.base import SteerDialog
from tui.draw.glyphs import ASCII, CONSOLE, UNICODE, to_ascii
from tui.draw.palette import PALETTES
from tui.draw.scene import DEFAULT_STALE_MINUTES, Decision, Scene
from tui.freshness import Freshness
from tui.host import LATE_SAID_S, SAID_S
from tui.long_run import Tidied, tidy
from tui.screens.base import SteerScreen
from tui.screens.stroke import StrokeScreen
from tui.source import Source
from tui.terminal_gone import hung_up, on_signal
from tui.themes import all_themes

if TYPE_CHECKING:
    from rich.console import RenderableType
    from textual.app import AwaitMount
    from textual.driver import Driver

    from steer.advice import Snapshot


POLL_S = 0.5
_READING_FAILS = (SteerError, OSError, sqlite3.Error)


def _shots() -> Screen[Any]:
    from tui.screens.shots import ShotsScreen

    return ShotsScreen()


def _asbuilt() -> Screen[Any]:
    from tui.screens.asbuilt import AsBuiltScreen

    return AsBuiltScreen()


def _log() -> Screen[Any]:
    from tui.screens.log import LogScreen

    return LogScreen()


class SteerApp(App[None]):
    """Three screens, a log and help over one drive.

    `source` is asked from the desk's thread only; a function is called there, after the first
    paint, and gives the source; `name` stands for it until then. What it refuses is in `refusal`
    when the app has ended. `wall` and `steady` are the two clocks.
    """

    TITLE = "steer"
    ENABLE_COMMAND_PALETTE = False
    CSS = """
    SteerScreen { background: $background; overflow: hidden; }
    Input { border: none; height: 1; padding: 0 1; background: $background; text-style: bold; }
    Input:focus { border: none; text-style: bold underline; }
    Input:ansi { text-style: none; }
    Input:ansi:focus { text-style: underline; }
    Input:ansi > .input--cursor, Input:ansi > .input--selection { background: ansi_default; color: ansi_default;
        text-style: reverse; }
    """
    MODES: ClassVar[dict[str, str | Callable[..., Screen[Any]]]] = {
        "stroke": StrokeScreen,
        "shots": _shots,
        "asbuilt": _asbuilt,
        "log": _log,
    }
    DEFAULT_MODE = "stroke"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("1", "mode('stroke')", "stroke"),
        Binding("2", "mode('shots')", "shots"),
        Binding("3", "mode('asbuilt')", "as-built"),
        Binding("l", "mode('log')", "log"),
        Binding("c", "palette", "colours", show=False),
        Binding("g", "guide", "guide", show=False),
        Binding("question_mark", "help", "help"),
        Binding("q", "leave", "quit"),
        Binding("ctrl+c", "leave", "quit", show=False, priority=True),
    ]

    def __init__(
        self,
        source: Source | Callable[[], Source],
        desk: Desk | None = None,
        *,
        ascii_only: bool = False,
        palette: str = "slate",
        few_colours: bool = False,
        few_glyphs: bool = False,
        driver_class: type[Driver] | None = None,
        stale_minutes: float = DEFAULT_STALE_MINUTES,
        poll_s: float = POLL_S,
        name: str = "",
        wall: Callable[[], float] = time.time,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        # Asked before Textual takes NO_COLOR out of the environment; without colours, or with the few of an old
        # terminal, its own two are used, which stay readable on any background.
        self.why_plain = (
            "NO_COLOR is set"
            if "NO_COLOR" in os.environ
            else "This terminal has few colours"
            if few_colours
            else ""
        )
        pasted.install()
        super().__init__(driver_class=driver_class, ansi_color=True if self.why_plain else None)
        self.source: Source | None = None if callable(source) else source
        self._open = source if callable(source) else None
        self.refusal: SteerError | None = None
        self.fault = False  # of the program: it ended by one
        self.desk = desk or Desk()
        self.ascii_only = ascii_only
        self.palette_name = "plain" if self.why_plain else palette
        self.poll_s = poll_s
        self.freshness = Freshness(wall, steady)
        self.scene = Scene(
            None,
            stale_after_s=stale_minutes * 60.0,
            glyphs=ASCII if ascii_only else CONSOLE if few_glyphs else UNICODE,
            greeting=True,
            opening=name,
        )
        self._own_decision: Decision | None = None
        self._tidied = Tidied(steady)
        self._said_until = 0.0
        self._at_work: list[str] = []
        self._said_of_state = False  # what is said goes when another stroke, decision or word on a shot comes
        self.refused = ""  # all lines of the last refusal, for a dialog with room for them
        self.steady = steady
        for theme in all_themes():
            self.register_theme(theme)
        self.theme = self.palette_name

    # ---- following the drive

    def on_mount(self) -> None:
        """Starts to follow the drive."""
        on_signal(lambda code: self.exit(return_code=code))
        self.call_after_refresh(self.run_worker, self._follow(), name="follow", group="follow")

    async def _follow(self) -> None:
        if self._open is not None:
            try:
                self.source = await self.desk.do(self._open)
            except SteerError as refusal:
                self.refusal = refusal
                self.exit()
                return
            self.screen.refresh_bindings()
        await self.look(always=True)
        while True:
            await asyncio.sleep(self.poll_s)
            if hung_up():
                self.exit()
                return
            await self.look()

    async def look(self, always: bool = False) -> None:
        """Asks the drive once; draws only when something changed."""

        source = self.source
        if source is None:
            return

        def ask() -> Snapshot | None:
            return source.snapshot() if source.refresh() or always else None

        trouble, todo, snapshot = "", "", None
        try:
            snapshot = await self.desk.do(ask)
        except _READING_FAILS as error:
            trouble = str(error).splitlines()[0] if str(error) else type(error).__name__
            todo = getattr(error, "todo", "")
        except Exception as fault:
            # A fault of the program must not take a shift's screen away: no proposal, and said why.
            trouble = f"Fault in the program, please report: {type(fault).__name__}: {str(fault)[:200]}"
        if snapshot is not None:
            self._take(snapshot)
        scene = replace(self.scene, trouble=trouble, todo=todo)
        if self.scene.trouble and not trouble and snapshot is None:
            # The log is back; what was missed meanwhile is asked for in full.
            self.scene = replace(scene, age_s=self.freshness.age_s())
            await self.look(always=True)
            return
        scene = self._timed(scene)
        if snapshot is not None or scene != self.scene:
            self.set_scene(scene)
        if snapshot is not None and snapshot.advice is not None and self._tidied.due(snapshot.advice.stroke):
            self.call_after_refresh(tidy)

    def _take(self, snapshot: Snapshot) -> None:
        self.freshness.see(snapshot)
        decision = self._own_decision
        if "decision" in snapshot.extra:
            decision = _decision_of(snapshot.extra["decision"])
        if decision is not None and (snapshot.advice is None or decision.stroke != snapshot.advice.stroke):
            decision = self._own_decision = None
        if self._said_of_state and _state(snapshot, decision) != _state(
            self.scene.snapshot, self.scene.decision
        ):
            self._said_until = 0.0
        self.scene = self._timed(replace(self.scene, snapshot=snapshot, decision=decision))

    def _timed(self, scene: Scene) -> Scene:
        age = self.freshness.age_s()
        if age is not None:
            # Minutes are all that is ever shown of an age: between them there is nothing to draw again.
            stale = 0.0 < scene.stale_after_s < age
            age = age // 60 * 60 + (59.9 if stale else 0.0)
        said = scene.said if self.steady() < self._said_until else ""
        fresh = self.freshness
        return replace(scene, age_s=age, said=said, clock_behind_s=fresh.behind_s, today=fresh.today())

    # ---- the scene

    def set_scene(self, scene: Scene) -> None:
        """Puts a scene in place; the screen in front draws what differs."""
        self.scene = scene
        if not self._running:
            return
        # A dialog leaves the page behind it in sight: what stands there must not be old.
        for screen in reversed(self.screen_stack):
            if isinstance(screen, (SteerScreen, SteerDialog)):
                screen.scene_changed()
            if not isinstance(screen, SteerDialog):
                break

    def say(self, text: str, of_state: bool = True, for_s: float = SAID_S) -> None:
        """An answer to a key, shown at the foot for some seconds: while the screen stands on which it was given,
        and, where it is `of_state`, until another stroke, decision or word on a shot comes."""
        self._said_until = self.steady() + for_s
        self._said_of_state = of_state and self.current_mode in ("stroke", "shots")
        self.set_scene(replace(self.scene, said=to_ascii(text) if self.ascii_only else text))

    def decide(self, decision: Decision | None) -> None:
        """Remembers the operator's decision for the coming stroke, unless the drive tells it itself."""
        self._own_decision = decision
        snapshot = self.scene.snapshot
        if snapshot is None or "decision" not in snapshot.extra:
            self.set_scene(replace(self.scene, decision=decision))

    async def store(self, work: Callable[[Any], object], said: str, at_work: str = "") -> bool:
        """Has the drive store something; says so, or why not. `at_work`, for what may take long, stands at the foot of
        every page until then, and the answer after it for longer: the box that asked may have been left."""
        if self._at_work and not at_work:
            self.say(f"Not stored: {self._at_work[0]}; try again when that is done.")
            return False
        if at_work:
            self._at_work.append(at_work)
            self.set_scene(replace(self.scene, at_work=self._at_work[0]))
        stored, answer = await self._stored(work, said)
        if at_work:
            self._at_work.remove(at_work)
            self.scene = replace(self.scene, at_work=self._at_work[0] if self._at_work else "")
        self.say(answer, of_state=not at_work, for_s=LATE_SAID_S if at_work else SAID_S)
        return stored

    async def _stored(self, work: Callable[[Any], object], said: str) -> tuple[bool, str]:
        """Whether the drive stored it, and what to say of that."""
        if self.source is None:
            self.refused = "The log is still being read."
            return False, f"Not stored: {self.refused}"
        try:
            answer = await self.desk.do(lambda: work(self.source))
        except _READING_FAILS as error:
            self.refused = str(error) or type(error).__name__
            await self.look()  # what it was refused for may not be on the screen yet
            return False, f"Not stored: {self.refused.splitlines()[0]}"
        self.refused = ""
        # A drive has taken in what it stored itself: it does not tell of it as news.
        await self.look(always=True)
        return True, f"{said} {answer}".strip() if isinstance(answer, str) else said

    # ---- keys of every screen

    async def on_event(self, event: events.Event) -> None:
        """After the first key the greeting has done its work."""
        if isinstance(event, events.Key) and self.scene.greeting:
            self.set_scene(replace(self.scene, greeting=False))
        if isinstance(event, (events.Key, events.Paste)) and not event.is_forwarded:
            await self.screen._mounted_event.wait()  # a box has no line to type into before
            if isinstance(event, events.Key) and not isinstance(self.focused, Input):
                await self._screen_key(event)
                return
        if isinstance(event, events.Resize) and event.size == self.size:
            # a terminal made smaller and large again while a key was at work has lost rows, and nothing else tells
            self.screen.refresh()
        await super().on_event(event)

    async def _screen_key(self, event: events.Key) -> None:
        """A key where nothing is typed into, answered before the next one is looked at: handed to the screen, it would
        come back after keys typed later, and letters meant for the box that it opens would be the screen's."""
        self.app_focus = True
        for priority in (True, False):
            if await self._check_bindings(event.key, priority=priority):
                return
        if isinstance(self.screen, SteerScreen):
            self.screen.key_not_offered(event.key)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """The key of the screen in front is not offered, nor any other screen's over help or guide."""
        if action == "mode":
            return parameters != (self.current_mode,) and len(self.screen_stack) == 1
        return True

    def switch_mode(self, mode: str) -> AwaitMount:
        """Changes the screen; what was said stays behind: "key u takes that back" is another key u there."""
        self._said_until = 0.0
        self.scene = replace(self.scene, said="")
        return super().switch_mode(mode)

    async def action_mode(self, mode: str) -> None:
        """Changes the screen."""
        if self.current_mode != mode:
            await self.switch_mode(mode)

    def action_palette(self) -> None:
        """The next palette; without colours there is one only."""
        if self.why_plain:
            self.say(f"{self.why_plain}: the terminal's own two colours are used.")
            return
        names = [palette.name for palette in PALETTES]
        self.palette_name = names[(names.index(self.palette_name) + 1) % len(names)]
        self.theme = self.palette_name
        summary = PALETTES[names.index(self.palette_name)].summary
        self.say(f"Colours: {self.palette_name}, {summary}.", of_state=False)

    def action_help(self) -> None:
        """Lists the keys of the screen in front."""
        from tui.screens.help import HelpScreen, meanings
        from tui.widgets.key_line import keys_of

        if not isinstance(self.screen, HelpScreen):
            said = getattr(self.screen, "MEANINGS", None) or meanings(self.scene.glyphs)
            self.push_screen(HelpScreen(keys_of(self.screen, shown_only=False), said))

    def action_guide(self) -> None:
        """The short guide."""
        from tui.screens.guide import GuideScreen

        if not isinstance(self.screen, GuideScreen):
            self.push_screen(GuideScreen())

    def panic(self, *renderables: RenderableType) -> None:
        """What ends the thread that reads the keys comes here alone, and leaves no exit code."""
        self.fault = True
        super().panic(*renderables)

    def _fatal_error(self) -> None:
        self.fault = True
        super()._fatal_error()

    def action_leave(self) -> None:
        """Ends the program; everything is in the log already."""
        self.exit()


def _state(snapshot: Snapshot | None, decision: Decision | None) -> tuple[object, ...]:
    """What an answer to a key may be about."""
    if snapshot is None:
        return ()
    stroke = snapshot.advice.stroke if snapshot.advice is not None else None
    return stroke, decision, tuple((shot.number, shot.verdict) for shot in snapshot.shots)


def _decision_of(value: object) -> Decision | None:
    """A decision as the drive tells it: a mapping with the fields of Decision."""
    if not isinstance(value, dict):
        return None
    cylinders = value.get("cylinder_mm")
    return Decision(
        int(value["stroke"]),
        str(value["kind"]),
        float(value["right_mm_per_m"]),
        float(value["up_mm_per_m"]),
        tuple(cylinders) if cylinders is not None else None,
    )
