"""The operator's screen: the next stroke."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tui.draw import stroke_page, words
from tui.draw.scene import OPEN_AGAIN, Decision, blocked, other_file, same_proposal
from tui.draw.spans import Row
from tui.screens.strip_keys import StripKeys
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows

if TYPE_CHECKING:
    from steer.advice import Correction


class StrokePage(Rows):
    """The page itself."""

    def draw_rows(self, width: int, height: int) -> list[Row]:
        return stroke_page.draw(self.steer.scene, width, height)


class StrokeScreen(StripKeys):
    """Correction, cylinders, strips, notices; accept, override, note, undo."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("a", "accept", "accept"),
        Binding("o", "override", "override"),
        Binding("n", "note", "note"),
        Binding("u", "undo", "undo"),
        Binding("w", "window", "stretch of the strips", show=False),
        Binding("z", "scale", "scale of the strips", show=False),
    ]

    LOOKED_S = 1.0  # nobody has looked at what was drawn more lately

    def __init__(self) -> None:
        super().__init__()
        self._drawn: tuple[int, Correction] | None = (
            None  # the proposal that was drawn last, and for which stroke
        )
        self._drawn_s = -math.inf

    def compose(self) -> ComposeResult:
        yield StrokePage(id="page")
        yield KeyLine(id="keys")

    def key_rank(self, action: str) -> int:
        """What is decided for the coming stroke can be taken back: that comes before a note."""
        first = self.steer.scene.decision is not None and action in ("accept", "override", "undo")
        return -1 if first else 0

    def scene_changed(self) -> None:
        """Draws, and takes note when another proposal is drawn; before the first there was none to aim at."""
        scene = self.steer.scene
        advice = scene.snapshot.advice if scene.snapshot is not None else None
        if advice is not None and blocked(scene) is None:
            now = advice.stroke, advice.correction
            last = self._drawn
            if last is not None and not (last[0] == now[0] and same_proposal(last[1], now[1])):
                self._drawn_s = self.steer.steady()
            self._drawn = now
        super().scene_changed()

    async def action_accept(self) -> None:
        """Stores that the proposal is taken."""
        scene = self.steer.scene
        if blocked(scene) is not None or scene.snapshot is None or scene.snapshot.advice is None:
            self.steer.say("There is no proposal to accept.")
            return
        advice = scene.snapshot.advice
        correction = advice.correction
        stroke = f"Stroke {advice.stroke + 1}"
        if self.steer.steady() - self._drawn_s < self.LOOKED_S:
            self.steer.say(f"The proposal for {stroke.lower()} has changed just now: look at it first.")
            return
        turns = words.both_turns(correction.right_mm_per_m, correction.up_mm_per_m)
        stored = await self.steer.store(
            lambda drive: drive.accept(advice),
            f"{stroke} accepted: {'hold at ' if correction.hold else ''}{turns}. Key u takes it back.",
        )
        if stored:
            self.steer.decide(
                Decision(
                    advice.stroke,
                    "accepted",
                    correction.right_mm_per_m,
                    correction.up_mm_per_m,
                    correction.cylinder_mm,
                )
            )

    def action_override(self) -> None:
        """Opens the dialog for an own setting."""
        from tui.dialogs.override import OverrideDialog

        scene = self.steer.scene
        if scene.snapshot is None or scene.snapshot.advice is None:
            self.steer.say("There is no reading yet to set against.")
            return
        other = other_file(scene.snapshot)
        if other:
            # accepting is refused for the same reason: nobody can say what the machine's limits are
            self.steer.say(f"No setting can be checked: {other} {OPEN_AGAIN}")
            return
        self.app.push_screen(OverrideDialog(scene))

    def action_note(self) -> None:
        """Opens the dialog for a note."""
        from tui.dialogs.note import NoteDialog

        self.app.push_screen(NoteDialog())

    async def action_undo(self) -> None:
        """Takes back the newest decision or note, by a further event."""
        if await self.steer.store(lambda drive: drive.undo_last(), ""):
            self.steer.decide(None)
