"""A reel as the screens ask for it (see `tui.replay`); used by one thread, stores nothing."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from steer.advice import Snapshot
from steer.errors import InputRefused
from steer.replay import Reel, changed, compared, what_if
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

    def check_what_if(self, text: str) -> None:
        """Raises SteerError for a setting that may not be; steers nothing."""
        changed(self.reel.file, _settings(text))

    def what_if(self, text: str, told: Callable[[int, int], None] | None = None) -> list[str]:
        """Lines of the comparison when the drive is steered again from the stroke shown on; `text` holds
        `TABLE.KEY=VALUE` settings with blanks or commas between. Raises SteerError for one that may not be."""
        settings = _settings(text)
        file = changed(self.reel.file, settings)
        found = what_if(self.reel, file, self.reel.moments[self.number].chainage_m, told)
        return [*compared.report(file, found, settings), "", *compared.table(found)]

    def accept(self, shown: object = None) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)

    def override(self, right_mm_per_m: float, up_mm_per_m: float, *shown: object) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)

    def note(self, text: str) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)

    def undo_last(self) -> object:
        """Refused."""
        raise InputRefused(_NOTHING)


def _settings(text: str) -> list[str]:
    return re.sub(r"\s*=\s*", "=", text).replace(",", " ").split()
