"""The two rows at the head: whose drive this is and how fresh; where it stands and what comes next."""

from __future__ import annotations

from steer.text import chance
from tui.draw import words
from tui.draw.scene import Scene, follows, out_of_date
from tui.draw.spans import Row, at_ends, cells, cut_text, width, wrap

CAUTION = "It advises; it moves nothing. Manual, specification, local codes and licensed practice rule."
_SHORTER = (
    "It advises, moves nothing. Manual, specification, codes, licensed practice rule.",
    "Advice only. Manual, codes, licensed practice rule.",
    "Advice only.",
)


def name_row(scene: Scene, size: int) -> Row:
    """Name of the drive, and the time of the last reading."""
    snapshot = scene.snapshot
    if snapshot is None:
        return ((f" {scene.opening}".ljust(size), "title"),)
    name = f" {snapshot.name} "
    when = words.clock_time(snapshot.last_reading_time, scene.today)
    came = snapshot.extra.get("last_reading_arrival")
    if when == "-" and isinstance(came, str):
        # Of a reading that says no time, when it came into the log.
        when = words.clock_time(came, scene.today)
        last = f" last reading came {when} UTC" if when != "-" else ""
    else:
        last = f" last reading {when} UTC" if when != "-" else ""
    counts = f" {snapshot.readings_used:,} readings used, {snapshot.readings_refused:,} refused"
    choices = [
        counts + (f" {scene.glyphs.dot}" if last else "") + last,
        last,
        last.replace("last reading", "last"),
        "",
    ]
    whole = (c for c in choices[:3] if cells(c) + 1 + cells(name) <= size)
    cut = (c for c in choices[2:] if cells(c) + 1 + min(cells(name), size // 2) <= size or not c)
    text = next(whole, None) or next(cut)  # the name whole where one of them leaves the room
    role = "alarm" if out_of_date(scene) else "title"
    invented, room = "(invented) ", size - cells(text) - 1
    if name.endswith(invented) and room < cells(name) and room > size // 3:
        # of all the name this must not go: the drive is none
        name = f"{cut_text(name, room - len(invented) - 4)}... {invented}"
    return at_ends(((name.ljust(size), "title"),), ((text + " ", role),), size)


_WAS = "was: "  # before figures that are or may be old


def counter_row(scene: Scene, size: int) -> Row:
    """Face, stroke, pipe, distance to the reception shaft, next check survey; the last ones go first."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None:
        return () if scene.opening and snapshot is None else ((" No reading yet.", "quiet"),)
    advice = snapshot.advice
    face = advice.chainage_m
    # the machine goes first: a pipe follows it in, the others that one
    in_m = face - snapshot.start_chainage_m - snapshot.machine_length_m
    pipe = str(int(in_m // snapshot.pipe_length_m) + 1) if in_m >= 0.0 else "none yet"
    shaft = snapshot.end_chainage_m - face
    parts: list[Row] = [
        (("face ", "quiet"), (f"{face:.2f} m", "strong")),
        (
            ("stroke ", "quiet"),
            (f"{advice.stroke}", "strong"),
            (" done", "quiet"),
        ),  # the title has the next one
        (("pipe ", "quiet"), (pipe, "strong")),
        (("shaft in ", "quiet"), (f"{shaft:.1f} m", "strong"))
        if shaft >= 0
        else (("past the shaft by ", "quiet"), (f"{-shaft:.1f} m", "strong")),
    ]
    due = False
    if advice.next_survey_m is not None:
        left = advice.next_survey_m - face
        due = left <= 0.05
        parts.append(
            (("CHECK SURVEY DUE", "warn"),) if due else (("survey in ", "quiet"), (f"{left:.1f} m", "strong"))
        )
    if width(_joined(parts, scene.glyphs.dot, 1000)) > size - (cells(_WAS) if out_of_date(scene) else 0):
        parts[1] = parts[1][:2]
    # what is to be done comes before what is counted; the stroke stands in the title too
    while due and len(parts) > 2 and width(_joined(parts, scene.glyphs.dot, 1000)) > size:
        del parts[1]
    _, eye, whose = follows(scene)
    if eye is not None:
        at = len(parts)
        parts.append((("inside the eye ", "quiet"), (f"{chance(eye)} {whose}".rstrip(), "strong")))
        if width(_joined(parts, scene.glyphs.dot, 1000)) > size:
            parts[at] = (("in eye ", "quiet"), parts[at][1])
    if out_of_date(scene):
        parts = [tuple((text, "quiet") for text, _ in part) for part in parts]
        parts[0] = ((_WAS, "strong"), *parts[0])
    return _joined(parts, scene.glyphs.dot, size)


def foot_row(scene: Scene, size: int) -> Row:
    """The caution, or the answer to the last key while it is new."""
    if scene.said:
        return ((f" {scene.said}", "strong"),)
    text = next((t for t in (CAUTION, *_SHORTER) if len(t) <= size), "")
    lead = " " if len(text) + 1 < size else ""
    return ((lead + text, "quiet"),)


def at_work(scene: Scene) -> str:
    """What is being read or stored just now, and that the page does not show it yet; empty where nothing is."""
    return f"{scene.at_work}: not in these figures yet. How it ends is said here." if scene.at_work else ""


def foot_rows(scene: Scene, size: int, most: int) -> list[Row]:
    """The same where an answer may take more rows than one, `most` of them; what is at work stands above it, or alone
    where there is one row."""
    said = wrap(scene.said, size - 2, most) if scene.said else []
    room = most - max(len(said), 1)
    work = wrap(at_work(scene), size - 2, max(room, 0 if said else 1)) if scene.at_work else []
    rows: list[Row] = [((f" {line}", "strong"),) for line in [*work, *said]]
    return rows if said or (work and room < 1) else [*rows, foot_row(scene, size)]


def _joined(parts: list[Row], dot: str, size: int) -> Row:
    row: Row = ((" ", ""),)
    for number, part in enumerate(parts):
        between: Row = ((f" {dot} ", "axis"),) if number else ()
        if width(row) + width(between) + width(part) > size:
            break
        row = row + between + part
    return row
