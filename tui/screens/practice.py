"""The stroke screen of a practice drive: the operator jacks the stroke himself."""

from __future__ import annotations

from typing import ClassVar, cast

from textual.binding import Binding, BindingType

from tui.screens.stroke import StrokeScreen

PAUSED = "Paused. Key p goes on."


class PracticeScreen(StrokeScreen, inherit_bindings=False):
    """Space jacks one stroke; e ends the drive and shows how it went."""

    # Anew, so that the keys of practice come first: the last ones give way on a narrow screen.
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,j", "jack", "jack"),
        Binding("a", "accept", "accept"),
        Binding("o", "override", "own setting"),
        Binding("e", "end", "end, compare"),
        Binding("p", "pause", "pause"),
        Binding("u", "undo", "undo"),
        Binding("n", "note", "note"),
        Binding("w", "window", "stretch of the strips", show=False),
        Binding("z", "scale", "scale of the strips", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._at_work = False
        self._paused = False

    def on_mount(self) -> None:
        """At a pace, the machine does not wait."""
        if self._pace_s <= 0:
            self.LOOKED_S = 0.0  # here another proposal comes by a key only
        if self._pace_s > 0:
            self.set_interval(self._pace_s, self._by_the_clock)

    @property
    def _pace_s(self) -> float:
        return cast(float, getattr(self.app, "pace_s", 0.0))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """There is nothing to pause without a pace, and nothing to accept while the proposal is hidden."""
        if action == "accept":
            return not self._hidden
        return self._pace_s > 0 if action == "pause" else True

    def key_rank(self, action: str) -> int:
        """As they stand above."""
        return 0

    @property
    def _ever_shown(self) -> bool:
        return bool(getattr(self.steer.source, "may_accept", True))

    @property
    def _hidden(self) -> bool:
        snapshot = self.steer.scene.snapshot
        return not self._ever_shown or (snapshot is not None and "hidden" in snapshot.extra)

    def key_not_offered(self, key: str) -> None:
        """Answers the key that is not offered while the proposal is hidden."""
        if key == "a" and self._hidden:
            self.steer.say(
                "There is no proposal yet: choose first (o)."
                if self._ever_shown
                else "You practise without the proposal: set your own (o)."
            )

    async def _by_the_clock(self) -> None:
        # A dialog in front holds the machine: nobody can type against the clock.
        if self.app.screen is self and not self._paused and not getattr(self.steer.source, "finished", True):
            await self.action_jack()

    async def action_jack(self) -> None:
        """One stroke with what was decided, or with the cylinders as they stand."""
        if self._at_work or self.steer.scene.snapshot is None:
            return
        self._at_work = True
        try:
            await self.steer.store(lambda drive: drive.jack(), "")
        finally:
            self._at_work = False
        if getattr(self.steer.source, "finished", False):
            self.steer.say("The machine has arrived. Key e compares.")
        elif self._paused:  # asked for while the stroke was under way
            self.steer.say(PAUSED)

    def action_pause(self) -> None:
        """Stops and starts the strokes by the clock."""
        self._paused = not self._paused
        self.steer.say(PAUSED if self._paused else "Going on.")

    async def action_end(self) -> None:
        """How it went."""
        await self.app.switch_mode("debrief")
