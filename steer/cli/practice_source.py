"""A practice session as the screens ask for it (see `tui.practice`); used by one thread."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np

from steer.advice import Advice, Snapshot
from steer.asbuilt.force_now import AtStrokeEnds
from steer.cli.screen_source import ScreenSource
from steer.errors import InputRefused
from steer.practice import Session, debrief, report, showing
from steer.says import turned


class PracticeSource(ScreenSource):
    """A drive that goes on when it is told to; hides the proposal when that is the exercise."""

    def __init__(self, session: Session) -> None:
        super().__init__(session.drive)
        self.session = session
        session.drive.more = AtStrokeEnds(session.drive.file).tell
        self._changed = False

    def refresh(self) -> bool:
        """True as well after a stroke that this source itself has taken in."""
        changed, self._changed = self._changed, False
        return super().refresh() or changed

    @property
    def finished(self) -> bool:
        """The machine has arrived."""
        return self.session.finished

    @property
    def may_accept(self) -> bool:
        """Whether this exercise ever shows a proposal."""
        return self.session.proposal != "hidden"

    def snapshot(self) -> Snapshot:
        """The drive's snapshot, less what is hidden."""
        whole = super().snapshot()
        named = replace(whole, name=f"PRACTICE on {self.session.scenario.name} (invented ground)")
        return showing.shown(named, self.session.proposal, self.session.decision())

    def accept(self, shown: Advice | None = None) -> object:
        """Stores that the proposal shown is taken. Raises InputRefused while it is hidden."""
        if self.session.proposal != "shown" and (
            self.session.proposal == "hidden" or self.session.decision() is None
        ):
            raise InputRefused("the proposal is hidden: key o sets your own")
        self._changed = True
        return super().accept(shown)

    def override(
        self,
        right_mm_per_m: float,
        up_mm_per_m: float,
        shown: Advice | None = None,
        shown_mm: Sequence[float] | None = None,
        despite: Collection[str] = (),
    ) -> object:
        """Stores an own setting."""
        self._changed = True
        return super().override(right_mm_per_m, up_mm_per_m, shown, shown_mm, despite)

    def undo_last(self) -> str:
        """Takes the newest decision or note back."""
        self._changed = True
        return super().undo_last()

    def jack(self) -> str:
        """Jacks one stroke; says with what, and whether a check survey came in."""
        session = self.session
        before = session.decision()
        advice = session.jack()
        self._changed = True
        word = {None: "cylinders as they stood", "accepted": "the proposal"}.get(
            before["kind"] if before else None, "your own setting"
        )
        held = self._held(session.set_mm[-1])
        survey = " A check survey has come in." if session.last_shots else ""
        return f"Jacked to {advice.chainage_m:.2f} m with {word}, {held}.{survey}"

    def _held(self, cylinder_mm: np.ndarray) -> str:
        from steer.closed_loop.whole import articulation_set

        right, up = articulation_set(self.drive.file, cylinder_mm, self.session.simulation.roll_deg)
        return turned(float(right), float(up))

    def debrief(self, told: Callable[[str, int, int], None]) -> list[str]:
        """The lines of the debrief. Raises InputRefused before the first stroke."""
        if not self.session.set_mm:
            raise InputRefused("No stroke has been jacked yet: there is nothing to compare.")
        return report(self.drive.file, debrief(self.session, told))
