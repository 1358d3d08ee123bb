"""What the screens ask of a drive. `steer.drive.Drive` is one; tests bring their own."""

from __future__ import annotations

from typing import Protocol

from steer.advice import Snapshot


class Source(Protocol):
    """A drive as the screens use it. Every method may raise `steer.errors.SteerError`.

    All calls come from one thread, so a source may hold a database connection.
    Optional methods, used when a source has them: `try_setting`, `asbuilt`, `events`,
    `read_shots`, `withdraw_shot`, `restore_shot`.
    """

    def refresh(self) -> bool:
        """True when new events came in since the last call; cheap when nothing did."""

    def snapshot(self) -> Snapshot:
        """All that a screen shows, as of the last refresh."""

    def accept(self) -> object:
        """Stores that the operator takes the proposal for the coming stroke."""

    def override(self, right_mm_per_m: float, up_mm_per_m: float) -> object:
        """Stores the operator's own articulation for the coming stroke."""

    def note(self, text: str) -> object:
        """Stores a note."""

    def undo_last(self) -> object:
        """Stores that the newest decision or note is taken back; a text says which."""
