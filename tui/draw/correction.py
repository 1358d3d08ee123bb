"""The correction for the coming stroke, in words and large figures; or hold; or why there is none."""

from __future__ import annotations

from tui.draw import words
from tui.draw.bigtype import big
from tui.draw.scene import Blocked, Scene, blocked
from tui.draw.spans import Row, cells, cut_text, width, wrap

SIDE = 8  # words beside a large figure


def big_form(size: int, page_height: int, ascii_only: bool) -> str:
    """How large the type can be: "double", "half", "ascii", or "text" when there is no room."""
    if ascii_only:
        return "ascii" if size >= 42 and page_height >= 23 else "text"
    if size >= 2 * 40 + SIDE and page_height >= 34:
        return "double"
    return "half" if size >= 42 and page_height >= 19 else "text"


def height(form: str) -> int:
    """Rows that the panel takes in a form, its title included."""
    return {"double": 13, "half": 7, "ascii": 11, "text": 3}[form]


def draw(scene: Scene, size: int, form: str) -> list[Row]:
    """The panel, `size` cells wide, `height(form)` rows."""
    rows = _rows(scene, size, form)
    if form == "double":
        rows.insert(1, ())  # apart from the bar above, which may have the same colour
    limit = height(form)
    return rows[:limit] + [()] * (limit - len(rows))


def _rows(scene: Scene, size: int, form: str) -> list[Row]:
    stop = blocked(scene)
    if stop is not None:
        return _none(stop, size, form)
    assert scene.snapshot is not None
    advice = scene.snapshot.advice
    assert advice is not None
    stroke = advice.stroke + 1
    decision = scene.decision
    if decision is not None and decision.kind == "overridden":
        title: Row = ((f" STROKE {stroke}  your own setting ".ljust(size), "alarm"),)
        right, up = decision.right_mm_per_m, decision.up_mm_per_m
        return [title, *_planes(right, up, advice.now_right_mm_per_m, advice.now_up_mm_per_m, size, form)]
    accepted = decision is not None and decision.kind == "accepted"
    state = "accepted" if accepted else "proposed"
    if advice.correction.hold:
        title = ((f" STROKE {stroke}  {state}: hold ".ljust(size), "title"),)
        held = advice.correction
        return [title, *_hold(held.right_mm_per_m, held.up_mm_per_m, size, form)]
    title = ((f" STROKE {stroke}  {state}: set the articulation to ".ljust(size), "title"),)
    correction = advice.correction
    return [
        title,
        *_planes(
            correction.right_mm_per_m,
            correction.up_mm_per_m,
            advice.now_right_mm_per_m,
            advice.now_up_mm_per_m,
            size,
            form,
        ),
    ]


def _planes(right: float, up: float, now_right: float, now_up: float, size: int, form: str) -> list[Row]:
    rows: list[Row] = []
    for plane, value, now in (("line", right, now_right), ("level", up, now_up)):
        direction = words.turn(plane, value)
        figure = f"{abs(value):.1f}"
        if form == "text":
            row: Row = ((f" {direction.upper() or plane.upper()} {figure} mm/m", "figure"),)
            stands = f"  now {words.articulation(plane, now)}"
            if width(row) + cells(stands) <= size:
                row = (*row, (stands, "quiet"))
            rows.append(row)
            continue
        was = words.turn(plane, now)
        side = ["mm/m", f"now {abs(now):.1f}" if was else "now", was or "straight"]
        # Without a direction the plane's name stands in its place.
        rows += _large(f"{direction or plane} {figure}", side, size, form)
        if form == "double" and plane == "line":
            rows.append(())
    return rows


def _large(text: str, side: list[str], size: int, form: str) -> list[Row]:
    lines = big(text, form)
    room = size - len(lines[0]) - 2
    texts = [""] * (len(lines) - len(side)) + side if len(lines) > 3 else side
    out: list[Row] = []
    for line, words_beside in zip(lines, texts, strict=True):
        beside = cut_text(words_beside, max(room, 0))
        out.append(((" " + line, "figure"), (" " + beside, "strong" if words_beside == side[0] else "quiet")))
    return out


def _hold(right: float, up: float, size: int, form: str) -> list[Row]:
    stands = words.both_turns(right, up)
    texts = [
        "Leave the cylinders as they stand.",
        f"The articulation stays as set: {stands}.",
    ]
    if form == "text":
        return [((" HOLD  ", "figure"), (texts[0], "strong")), ((" " + texts[1], ""),)]
    rows: list[Row] = [((" " + line, "figure"),) for line in big("hold", form)]
    for text in texts:
        rows += [((" " + line, "strong" if text == texts[0] else ""),) for line in wrap(text, size - 2, 2)]
    return rows


def _none(stop: Blocked, size: int, form: str) -> list[Row]:
    """No proposal, and why; what to do about it stands under the panel, where there is more room."""
    title: Row = ((f" NO PROPOSAL  {stop.title} ".ljust(size), "alarm"),)
    if form == "text":
        return [title, *[((" " + line, "strong"),) for line in wrap(stop.why, size - 2, 2)]]
    rows: list[Row] = [title]
    rows += [((" " + line, "figure"),) for line in big("no advice", form)]
    return rows + [((" " + line, "strong"),) for line in wrap(stop.why, size - 2, 3)]
