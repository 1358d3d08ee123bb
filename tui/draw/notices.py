"""The notices that hold now, most important first, each with since when."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tui.draw.spans import Row, cut_text, wrap
from tui.scene import Scene

if TYPE_CHECKING:
    from steer.advice import Notice


# What can make the advice itself wrong comes first; the rest in the order the core gives.
_FIRST = ("steering_opposite", "estimate_unsure", "beam_lost", "reference_moved", "target_knocked")


def ordered(scene: Scene) -> list[Notice]:
    """The notices, those that can make the advice wrong first."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None:
        return []
    return sorted(
        snapshot.advice.notices, key=lambda n: _FIRST.index(n.code) if n.code in _FIRST else len(_FIRST)
    )


def rows_wanted(scene: Scene, size: int) -> int:
    """How many rows it takes to say all of them in full; at least one."""
    total = sum(len(wrap(_text(n), size - 3, 4)) for n in ordered(scene))
    return max(1, total)


def draw(scene: Scene, size: int, height: int) -> list[Row]:
    """At most `height` rows; what does not fit is counted."""
    notices = ordered(scene)
    if not notices:
        hint = "  First time here? Key g opens a short guide." if scene.greeting else ""
        nothing: Row = ((f" No notices.{hint}", "quiet"),)
        return [nothing][:height]
    rows: list[Row] = []
    for number, notice in enumerate(notices):
        left = height - len(rows)
        if left <= 0:
            break
        later = len(notices) - number - 1
        # Each notice still to come is owed a row, when there is one.
        allowed = max(1, left - later)
        lines = wrap(_text(notice), size - 3, allowed, scene.glyphs.more)
        for line_number, line in enumerate(lines):
            rows.append(((" ! " if line_number == 0 else "   ", "warn"), (line, "strong")))
    shown = sum(1 for row in rows if row[0][0] == " ! ")
    if shown < len(notices) and rows:
        tail = f" (+{len(notices) - shown} more: key l)"
        head = cut_text(rows[-1][1][0], size - 3 - len(tail), scene.glyphs.more)
        rows[-1] = (rows[-1][0], (head, "strong"), (tail, "warn"))
    return rows


def _text(notice: Notice) -> str:
    since = (
        f" (since {notice.since_chainage_m:.1f} m)"
        if notice.since_chainage_m == notice.since_chainage_m
        else ""
    )
    return notice.text.strip() + since
