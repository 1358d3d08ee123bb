"""The notices that hold now, most important first, each with since when."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from tui.draw.scene import Scene, blocked, out_of_date, stopped, unread
from tui.draw.spans import Row, cells, cut_words, first_whole, wrap

if TYPE_CHECKING:
    from steer.advice import Notice


MARK: Row = ((" ", ""), ("!", "warn"), (" ", ""))  # a look that underlines, underlines no blanks
_SAYS_SINCE = re.compile(r"\bsince (about )?\d+(\.\d+)? m\b")  # of its own accord

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


def title(scene: Scene) -> str:
    """How many hold now; or held when the last reading came."""
    if unread(scene):
        return "NOTICES"
    count = len(ordered(scene))
    return f"NOTICES  {count} {'when the last reading came' if out_of_date(scene) else 'now'}"


def rows_wanted(scene: Scene, size: int) -> int:
    """How many rows it takes to say all of them in full; at least one."""
    total = sum(len(wrap(_text(n), size - 3, 4)) for n in ordered(scene))
    return max(1, total)


def draw(scene: Scene, size: int, height: int) -> list[Row]:
    """At most `height` rows: the first notice whole, the others as whole as there is room for.

    Of a notice cut short the first clause stays, and the last row says where to read on.
    """
    notices = ordered(scene)
    if not notices:
        texts = ["" if unread(scene) else _none(scene)]
        texts += ["First time here? Key g opens a short guide."] if scene.greeting else []
        nothing: Row = ((" " + "  ".join(text for text in texts if text), "quiet"),)
        return [nothing][:height]
    if height <= 0:
        return []
    whole = [wrap(_text(n), size - 3, 4) for n in notices]
    given = [len(lines) for lines in whole]
    # Rows are taken from the last notice first; each keeps one as long as there are enough.
    while sum(given) > height:
        longest = next((n for n in reversed(range(1, len(given))) if given[n] > 1), None)
        if longest is not None:
            given[longest] -= 1
        elif len(given) > 1 and (given[0] <= 2 or len(given) > 2):
            given.pop()
        else:
            given[0] -= 1
    rows: list[Row] = []
    cut = len(given) < len(notices) or any(
        room < len(lines) for room, lines in zip(given, whole, strict=True)
    )
    for n, room in enumerate(given):
        lines = whole[n]
        if room < len(lines) or (cut and n == len(given) - 1):
            # What to do about it comes before since when.
            text = notices[n].text.strip() if room > 1 else _one_row(notices[n], size - 3)
            lines = wrap(text, size - 3, room)
        for number, line in enumerate(lines):
            rows.append((*MARK, (line, "strong")) if number == 0 else (("   ", ""), (line, "strong")))
    if cut:
        more = len(notices) - len(given)
        tail = f"(+{more} more: key l)" if more else "(whole: key l)"
        head = cut_words(rows[-1][-1][0], size - 4 - len(tail))
        rows[-1] = (*rows[-1][:-1], (f"{head} ", "strong"), (tail, "warn"))
    return rows


def holds(scene: Scene, text: str) -> bool:
    """Whether a notice that holds now has this text, case not minded."""
    return any(text.lower() in notice.text.lower() for notice in ordered(scene))


def refused(scene: Scene, size: int) -> list[Row]:
    """How many readings counted and how many did not, and which of late: for who looks for it, no finding."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None:
        return []
    lately = snapshot.extra.get("refused_lately")
    of_late = f"; {lately}" if isinstance(lately, str) else ""
    text = f"{snapshot.readings_used:,} readings used, {snapshot.readings_refused:,} refused{of_late}"
    return [((f" {line}", "quiet"),) for line in wrap(text, size - 2, 3)]


def old(scene: Scene, size: int, lead: Row = MARK, most: int = 3) -> list[Row]:
    """Why what a page shows is old or made with another drive file, for the pages that show it all the same; `most`
    rows."""
    return [
        (*(lead if n == 0 else (("   ", ""),)), (text, "strong"))
        for n, text in enumerate(wrap(stopped(scene), size - 4, most))
    ]


def line(scene: Scene, size: int, key: str = "key l") -> list[Row]:
    """For a page about something else, one row: how many stand, the `key` to read them, and the worst of them; none
    where nothing stands."""
    standing = ordered(scene)
    if not standing:
        return []
    head = mark(len(standing), size, key)[-1][0].strip() + ": "
    text = cut_words(standing[0].text.strip(), size - 3 - cells(head))
    return [(*MARK, (head, "warn"), (text, "strong"))]


def standing(scene: Scene, size: int) -> list[Row]:
    """For what lies over a page: why that is old, and the notices; none where neither is so."""
    return [*old(scene, size), *line(scene, size, "Esc, key l")]


def mark(standing: int, size: int, key: str = "key l") -> Row:
    """That so many notices stand, where there is not a row for one of them."""
    said = f"{_count(standing)}, {key} " if size >= 40 else f"{standing}: l "
    return (*MARK, (said, "warn"))


def in_frame(scene: Scene, size: int) -> str:
    """For the frame of a box that leaves no row for them: that what it covers is old, and how many notices stand; empty
    where neither is so."""
    count = len(ordered(scene))
    stop = blocked(scene) if stopped(scene) else None
    said = [stop.stop.title] if stop is not None else []
    if count:
        said += [_count(count), "Esc, key l"]
    texts = [f"! {', '.join(said[:most])}" for most in range(len(said), 0, -1)]
    return first_whole((*texts, "!"), size) if said else ""


def _count(standing: int) -> str:
    return f"{standing} notice{'s' if standing > 1 else ''}"


def _none(scene: Scene) -> str:
    return "No notices by then." if out_of_date(scene) else "No notices."


def _one_row(notice: Notice, size: int) -> str:
    """The notice without since when; where that is too long, up to its first stop and marked as cut there."""
    if cells(notice.text.strip()) <= size:
        return notice.text.strip()
    ends = [at for at in (notice.text.find(": "), notice.text.find(". "), notice.text.find("; ")) if at > 0]
    return notice.text[: min(ends)] + " ..." if ends else notice.text


def _text(notice: Notice) -> str:
    text, since_m = notice.text.strip(), notice.since_chainage_m
    if since_m != since_m or _SAYS_SINCE.search(text):
        return text
    return f"{text} (since {math.floor(10.0 * since_m + 1e-6) / 10.0:.1f} m)"  # never beyond the face
