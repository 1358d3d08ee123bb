"""The correction for the coming stroke, in words and large figures; or hold; or why there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING

from steer.decisions import same_setting
from tui.draw import words
from tui.draw.bigtype import big
from tui.draw.scene import Blocked, Decision, Scene, blocked, left_behind, own_setting
from tui.draw.spans import Row, cells, cut_text, first_whole, width, wrap

if TYPE_CHECKING:
    from steer.advice import Advice


SIDE = 8  # words beside a large figure


def big_form(size: int, page_height: int, halves: bool) -> str:
    """How large the type can be: "double", "half", "ascii", or "text" when there is no room."""
    if not halves:
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
    if decision is not None and own_setting(scene):
        own = first_whole((f" STROKE {stroke}  own setting", f" {stroke}  own setting", " own setting"), size)
        title: Row = ((own.ljust(size), "alarm"),)
        right, up = decision.right_mm_per_m, decision.up_mm_per_m
        return [title, *_planes(scene, advice, right, up, size, form)]
    correction = advice.correction
    accepted = decision is not None and decision.kind == "accepted"
    state = "accepted" if accepted else "proposed"
    other = left_behind(scene)
    does = ("hold",) if correction.hold else ("set the articulation to", "set")
    text = first_whole(
        (*(f" STROKE {stroke}  {state}: {what}" for what in does), f" STROKE {stroke}  {state}"), size
    )
    if other is not None:
        text = _no_longer(stroke, other, correction.hold, size)
    title = ((text.ljust(size), "title" if other is None else "alarm"),)
    if correction.hold:
        return [title, *_hold(advice, size, form)]
    return [title, *_planes(scene, advice, correction.right_mm_per_m, correction.up_mm_per_m, size, form)]


def _no_longer(stroke: int, accepted: Decision, hold: bool, size: int) -> str:
    """A title for a proposal that is no longer the one accepted: which that was, as far as there is room."""
    planes = ("line", accepted.right_mm_per_m), ("level", accepted.up_mm_per_m)
    turns = [words.articulation(plane, value) for plane, value in planes if words.turn(plane, value)]
    was, to = f"{', '.join(turns)} mm/m" if turns else "straight", "hold" if hold else "to"
    texts = (
        f" STROKE {stroke}  accepted {was}, CHANGED {to}",
        f" STROKE {stroke} accepted {was}; NOW",
        f" {stroke} accepted {was}; NOW",
        f" STROKE {stroke}  CHANGED since accepted",
        f" STROKE {stroke}  CHANGED",
    )
    return next((text for text in texts if cells(text) <= size), texts[-1])


def differs(scene: Scene) -> str:
    """How the proposal differs from the one that was accepted before new readings; empty where it does not."""
    made = left_behind(scene)
    if made is None or blocked(scene) is not None or scene.snapshot is None or scene.snapshot.advice is None:
        return ""
    now = scene.snapshot.advice.correction
    if made.cylinder_mm is not None and now.cylinder_mm:
        parts = [
            f"{number} {'out' if new > old else 'in'} {abs(new - old):.1f}".removesuffix(".0") + " mm"
            for number, (old, new) in enumerate(zip(made.cylinder_mm, now.cylinder_mm, strict=False), 1)
            if abs(new - old) >= 0.05
        ]
        parts[0] = f"cylinder{'s' if len(parts) > 1 else ''} {parts[0]}"
    else:
        parts = [
            f"{abs(new - old):.1f} mm/m further {words.turn(plane, new - old)}"
            for plane, old, new in (
                ("line", made.right_mm_per_m, now.right_mm_per_m),
                ("level", made.up_mm_per_m, now.up_mm_per_m),
            )
            if words.turn(plane, new - old)
        ]
    was = words.both_turns(made.right_mm_per_m, made.up_mm_per_m)
    return f"Accepted {was}; against that now {', '.join(parts)}. Key a accepts the new."


def _planes(scene: Scene, advice: Advice, right: float, up: float, size: int, form: str) -> list[Row]:
    now_right, now_up = advice.now_right_mm_per_m, advice.now_up_mm_per_m
    assert scene.snapshot is not None
    word = "told" if scene.snapshot.extra.get("cylinders_told") is True else "now"  # as over the table
    rows: list[Row] = []
    for plane, value, now in (("line", right, now_right), ("level", up, now_up)):
        direction = words.turn(plane, value)
        figure = f"{abs(value):.1f}"
        if form == "text":
            row: Row = ((f" {direction.upper() or plane.upper()} {figure} mm/m", "figure"),)
            stands = f"  {word} {words.articulation(plane, now)}"
            if width(row) + cells(stands) <= size:
                row = (*row, (stands, "quiet"))
            rows.append(row)
            continue
        was = words.turn(plane, now)
        side = ["mm/m", f"{word} {abs(now):.1f}" if was else word, was or "straight"]
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
        # a figure that lost its end reads as another
        fits = cells(words_beside) <= room
        beside = words_beside if fits else cut_text(words_beside.partition(" ")[0], max(room, 0))
        out.append(((" " + line, "figure"), (" " + beside, "strong" if words_beside == side[0] else "quiet")))
    return out


def _hold(advice: Advice, size: int, form: str) -> list[Row]:
    correction, now = advice.correction, advice.cylinder_now_mm
    stands = words.both_turns(correction.right_mm_per_m, correction.up_mm_per_m)
    texts = [
        "Leave the cylinders as they stand.",
        f"The articulation stays as set: {stands}.",
    ]
    if now is not None and not same_setting(now, correction.cylinder_mm):
        # the core holds only where they read near what they were set to
        texts[0] = "Leave them: as set, within reading noise."
    if form == "text":
        shorter = first_whole((texts[0], "Leave the cylinders.", "Leave all."), size - 8)
        bare = stands.replace(" mm/m", "") + " mm/m" * (stands != "straight")
        held = first_whole((texts[1], f"Stays {stands}", stands, bare), size - 1)
        return [((" HOLD  ", "figure"), (shorter, "strong")), ((f" {held}", ""),)]
    rows: list[Row] = [((" " + line, "figure"),) for line in big("hold", form)]
    for text in texts:
        rows += [((" " + line, "strong" if text == texts[0] else ""),) for line in wrap(text, size - 2, 2)]
    return rows


def _none(stop: Blocked, size: int, form: str) -> list[Row]:
    """No proposal, and why; what to do about it stands under the panel, where there is more room."""
    title: Row = ((f" NO PROPOSAL  {stop.stop.title} ".ljust(size), "alarm"),)
    if form == "text":
        return [title, *[((" " + line, "strong"),) for line in wrap(stop.why, size - 2, 2)]]
    rows: list[Row] = [title]
    rows += [((" " + line, "figure"),) for line in big("no advice", form)]
    return rows + [((" " + line, "strong"),) for line in wrap(stop.why, size - 2, 3)]
