"""What people said of check shots, as far as it was not taken back."""

from __future__ import annotations

from typing import Any

WORDS = {"shot_accepted": "accepted", "shot_rejected": "rejected", "withdrawn": "withdrawn"}
TAKEN_BACK = "restored"  # the word of its `event`; without one (older logs), all that was said of it


class ShotWords:
    """Takes such events in order, those of other kinds too; holds the words that stand, oldest first."""

    def __init__(self) -> None:
        self.standing: list[Any] = []

    def take(self, event: Any) -> int | None:
        """Take an event in; the number of the shot that it speaks of, None where it is of another kind."""
        if event.kind not in WORDS and event.kind != TAKEN_BACK:
            return None
        shot = int(event.body["shot"])
        if event.kind != TAKEN_BACK:
            self.standing.append(event)
        else:
            only = event.body.get("event")
            self.standing = [
                e
                for e in self.standing
                if e.body["shot"] != shot or (only is not None and e.sequence != only)
            ]
        return shot

    def last(self, shot: int | None = None) -> Any:
        """The newest event that stands, of one shot or of any; None without one."""
        found = (e for e in reversed(self.standing) if shot is None or e.body["shot"] == shot)
        return next(found, None)

    def word(self, shot: int) -> str | None:
        """What holds of a shot: accepted, rejected, withdrawn, or None where nothing was said that stands."""
        last = self.last(shot)
        return None if last is None else WORDS[last.kind]
