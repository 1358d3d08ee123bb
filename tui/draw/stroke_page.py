"""The operator's page: everything for the next stroke on one screen of text."""

from __future__ import annotations

from tui.draw import correction, counters, cylinders, notices, words
from tui.draw.glyphs import to_ascii
from tui.draw.scene import Scene, blocked, own_setting
from tui.draw.spans import Row, at_ends, beside, fit, wrap


def draw(scene: Scene, width: int, height: int) -> list[Row]:
    """The page, exactly `height` rows of `width` cells.

    When room is short, decoration goes first, then hints, then labels and strips; never the
    correction with its direction and unit.
    """
    count = len(scene.snapshot.cylinder_positions_deg) if scene.snapshot else 0
    if width < 46:
        # No room side by side: the correction first, the table under it.
        rows = correction.draw(scene, width, "text") + cylinders.draw(scene, width, count + 1)
    else:
        table = cylinders.FULL if width >= 78 else cylinders.NARROW
        form = correction.big_form(width - table - 1, height, scene.glyphs.halves)
        panel_height = max(correction.height(form), count + 1)
        panel = [fit(row, width - table - 1) for row in correction.draw(scene, width - table - 1, form)]
        rows = beside(panel, width - table, cylinders.draw(scene, table, panel_height), table)
    if height >= 8:
        rows.insert(0, counters.counter_row(scene, width))
    if height >= 18:
        rows.insert(0, counters.name_row(scene, width))
    most = 3 if height >= 18 else 2 if height >= 8 else 1  # an answer takes no row of the correction's
    foot = counters.foot_rows(scene, width, most) if height >= 10 or scene.said else []
    room = height - len(rows) - len(foot)
    # What is said in words comes before what is drawn, as long as a small drawing is left.
    drawn = 7 if room >= 10 else 5 if room >= 7 else 0
    standing = len(notices.ordered(scene))
    # One row is a notice's before it is the reason's; what to do where there is no proposal comes before both.
    kept = 1 if standing and room > (blocked(scene) is not None) else 0
    changed = correction.differs(scene) if room > kept else ""
    lines = wrap(changed, width - 7, 2 if room - drawn > kept + 1 else 1) if changed else []
    reason: list[Row] = [
        ((" New  " if n == 0 else "      ", "quiet"), (line, "strong")) for n, line in enumerate(lines)
    ]
    spare = room - len(reason)
    reason += _reason(scene, width, max(1 if spare > kept else 0, min(4, spare - drawn - kept)))
    rows += reason
    room -= len(reason)
    noticed = notices.draw(scene, width, max(kept, min(notices.rows_wanted(scene, width), room - drawn)))
    room -= len(noticed)
    if room == 6 and not standing and not scene.greeting:
        noticed, room = [], 7  # that there are none gives its row to the strips' chainages
    if standing and not noticed:
        at = 1 if height >= 18 else 0  # the row above it says how old the readings are
        rows[at] = at_ends(fit(rows[at], width), notices.mark(standing, width), width)
    rows += _strips(scene, width, room) if room >= 5 else []
    rows += noticed
    rows = rows[: height - len(foot)]
    rows += [()] * (height - len(foot) - len(rows)) + foot
    out = [fit(row, width) for row in rows]
    if scene.glyphs.ascii:
        out = [fit(tuple((to_ascii(text), role) for text, role in row), width) for row in out]
    return out


def _reason(scene: Scene, width: int, most: int) -> list[Row]:
    """Why this is proposed; where nothing is, what to do about it."""
    stop = blocked(scene)
    snapshot = scene.snapshot
    if stop is not None:
        head, text = " Do   ", stop.todo
    elif snapshot is None or snapshot.advice is None or not snapshot.advice.reason:
        return []
    else:
        head, text = " Why  ", snapshot.advice.reason
        if own_setting(scene):
            # the reason is the proposal's, not that of what was set instead
            c = snapshot.advice.correction
            turns = words.both_turns(c.right_mm_per_m, c.up_mm_per_m)
            head, text = "      ", f"The tool proposed {'to hold: ' if c.hold else ''}{turns}. {text}"
    lines = wrap(text, width - 7, most)
    role = "strong" if stop is not None else ""
    return [((head if n == 0 else "      ", "quiet"), (line, role)) for n, line in enumerate(lines)]


def _strips(scene: Scene, width: int, room: int) -> list[Row]:
    if scene.snapshot is None:
        return [()] * room
    # Brings the array library along, which the first paint does without.
    from tui.draw import stretch, strip

    where = stretch.reach(scene, width)
    upper = room // 2
    return [
        *strip.draw(scene, "line", where, upper),
        *strip.draw(scene, "level", where, room - 1 - upper),
        stretch.scale_row(scene, where),
    ]
