"""The operator's screen: the next stroke."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tui.draw import stroke_page
from tui.draw.scene import OPEN_AGAIN, Decision, blocked, other_file
from tui.draw.spans import Row
from tui.screens.strip_keys import StripKeys
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows


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

    def compose(self) -> ComposeResult:
        yield StrokePage(id="page")
        yield KeyLine(id="keys")

    async def action_accept(self) -> None:
        """Stores that the proposal is taken."""
        scene = self.steer.scene
        if blocked(scene) is not None or scene.snapshot is None or scene.snapshot.advice is None:
            self.steer.say("There is no proposal to accept.")
            return
        advice = scene.snapshot.advice
        correction = advice.correction
        stroke = f"Stroke {advice.stroke + 1}"
        stored = await self.steer.store(
            lambda drive: drive.accept(advice), f"{stroke} accepted. Key u takes it back."
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
