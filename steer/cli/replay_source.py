"""A reel as the screens ask for it (see `tui.replay`); used by one thread, stores nothing."""

from __future__ import annotations

from dataclasses import replace

from steer.advice import Snapshot
from steer.errors import InputRefused
from steer.replay import Reel
from steer.replay.said import beside

_NOTHING = "a replay stores nothing"


class ReplaySource:
    """Stands at one moment; `wind` moves it."""

    def __init__(self, reel: Reel, number: int = 0) -> None:
        self.reel, self.number = reel, number
        self._moved = True

    def refresh(self) -> bool:
        """True after it has been wound."""
        moved, self._moved = self._moved, False
        return moved

    def wind(self, strokes: int) -> bool:
        """So many strokes on or back; False when it stands at that end already."""
        wanted = min(max(self.number + strokes, 0), len(self.reel.moments) - 1)
        if wanted == self.number:
            return False
        self.number, self._moved = wanted, True
        return True

    def snapshot(self) -> Snapshot:
        """What was known then; "now" and "place" in `extra` are not from then."""
        frame = self.reel.frame(self.number)
        assert frame.snapshot is not None  # frames are asked for whole
        place = f"stroke {self.number + 1} of {len(self.reel.moments)}"
        extra = frame.snapshot.extra | {"now": tuple(beside(frame)), "place": place}
        return replace(frame.snapshot, name=f"REPLAY {frame.snapshot.name}", extra=extra)

    def accept(self) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)

    def override(self, right_mm_per_m: float, up_mm_per_m: float) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)

    def note(self, text: str) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)

    def undo_last(self) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)
