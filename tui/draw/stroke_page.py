"""The operator's page: everything for the next stroke on one screen of text."""

from __future__ import annotations

from tui.draw import correction, counters, cylinders, notices, words
from tui.draw.glyphs import to_ascii
from tui.draw.limits import limit_mm
from tui.draw.scene import Scene, blocked, out_of_date, own_setting
from tui.draw.spans import Row, Span, at_ends, beside, cells, first_whole, fit, wrap


def draw(scene: Scene, width: int, height: int) -> list[Row]:
    """The page, exactly `height` rows of `width` cells.

    When room is short, decoration goes first, then hints, then labels and strips; never the
    correction with its direction and unit.
    """
    count = len(scene.snapshot.cylinder_positions_deg) if scene.snapshot else 0
    table = 0 if width < 46 else cylinders.FULL if width >= 78 else cylinders.NARROW
    size = width - table - 1 if table else width
    form = correction.big_form(size, height, scene.glyphs.halves) if table else "text"
    panel = correction.draw(scene, size, form)
    tall = max(len(panel), count + 1) if table else len(panel) + count + 1
    most = 3 if height >= 18 else 2 if height >= 8 else 1  # an answer takes no row of the correction's
    foot = counters.foot_rows(scene, width, most) if height >= 10 or scene.said else []
    room = height - (height >= 8) - (height >= 18) - tall - len(foot)
    # What is said in words comes before what is drawn, as long as a small drawing is left.
    drawn = 7 if room >= 10 else 5 if room >= 7 else 0
    below = bool(table) and len(panel) + 2 <= tall
    face = (
        _face(scene, size - 1 if below else (width - 8) // 2) if drawn == 0 else ()
    )  # else beside the strips
    was_outside: list[Span] = []
    if table:
        if below:
            was_outside = [
                whole
                for whole, short in zip(_face(scene, width - 7), face, strict=False)
                if out_of_date(scene) and "OUTSIDE" in whole[0] and "OUTSIDE" not in short[0]
            ]
            panel, face = [*panel, *(((" ", ""), span) for span in face)], ()
        left = [fit(row, size) for row in panel]
        rows = beside(left, width - table, cylinders.draw(scene, table, tall), table)
    else:
        # No room side by side: the correction first, the table under it.
        rows = panel + cylinders.draw(scene, width, count + 1)
    if height >= 8:
        rows.insert(0, counters.counter_row(scene, width))
    if height >= 18:
        rows.insert(0, counters.name_row(scene, width))
    standing = len(notices.ordered(scene))
    # One row is a notice's before it is the reason's; what to do where there is no proposal comes before both.
    kept = 1 if standing and room > (blocked(scene) is not None) else 0
    if kept and not drawn and room >= 4:  # of what to do about it a second, where the reason keeps two
        kept = min(2, notices.rows_wanted(scene, width))
    for whole in was_outside:
        if room > kept + 1:
            rows.append(((" Face ", "quiet"), whole))
            room -= 1
    if face and room > kept + 1:
        rows.append(((" Face ", "quiet"), face[0], (", ", ""), face[1]))
        room -= 1
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


def _face(scene: Scene, size: int) -> tuple[Span, ...]:
    """Where the face is, a text of at most `size` cells for each plane, for a page without strips to say it beside."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None:
        return ()
    e, at_m, pm = snapshot.advice.estimate, snapshot.advice.chainage_m, scene.glyphs.plus_minus
    planes = ("line", e.line_mm, e.line_sd_mm), ("level", e.level_mm, e.level_sd_mm)
    known = [words.known(plane, value, sd, pm) for plane, value, sd in planes]
    named = all(cells(f"{plane} {text}") <= size for (plane, *_), text in zip(planes, known, strict=True))
    texts: list[Span] = []
    for (plane, value, sd), text in zip(planes, known, strict=True):
        said, role = words.offset(plane, value, sd_mm=sd), "strong"
        aside = bool(words.side(plane, value))
        name = f"{plane} " if not aside and not text.startswith("on ") else ""  # "0 mm" could be of either
        choices: tuple[str, ...] = (f"{plane} {text}", text) if named and aside else (name + text,)
        outside = abs(value) > limit_mm(snapshot, plane, at_m)
        if out_of_date(scene):
            was, role = f"{name}was {text}", "quiet"
            far = f"{was}, OUTSIDE THE LIMIT", f"{was}, OUTSIDE"
            choices = (*(far if outside else ()), was, f"{name}was {said if aside else text}")
        elif outside:
            choices, role = (f"{text} OUTSIDE LIMIT", f"{text} OUTSIDE", f"OUTSIDE {said}"), "alarm"
        texts.append((first_whole((*choices, said), size), role))
    return tuple(texts)


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
        # Brings the array library along, which the first paint does without.
        from tui.draw import on_the_way

        text = f"{on_the_way.said(scene)} {text}".lstrip()
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
