"""A replay in words: a row a plane for every moment, and how what was known then has stood up."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from steer.replay.reel import Frame, Reel, looked_ahead
from steer.says import side
from steer.text import figure, loose

HEAD = (
    f"{'stroke':>6} {'at m':>8}  {'':<6}{'known then':<16}{'known now':<16}{'proposed':<12}{'driven with':<12}",
    f"{'':>6} {'':>8}  {'':<6}{'mm, ± 95 %':<16}{'mm, ± 95 %':<16}{'mm/m':<12}{'mm/m':<12}",
)
_PLANES = (("line", ("right", "left"), ("right", "left")), ("level", ("high", "low"), ("up", "down")))


def rows(frames: Iterable[Frame]) -> Iterator[str]:
    """Two rows a frame and one for each notice that was new; at most 80 characters."""
    for frame in frames:
        yield from _rows(frame)


def _rows(frame: Frame) -> Iterator[str]:
    advice = frame.advice
    for n, (plane, sides, turns) in enumerate(_PLANES):
        number = (
            f"{advice.stroke if advice else 0:>6} {frame.moment.chainage_m:>8.2f}" if n == 0 else " " * 15
        )
        then = proposed = "-"
        if advice is not None:
            e, c = advice.estimate, advice.correction
            then = short(getattr(e, f"{plane}_mm"), getattr(e, f"{plane}_sd_mm"), sides)
            value = (c.right_mm_per_m, c.up_mm_per_m)[n]
            proposed = "none" if not advice.trusted else "hold" if c.hold else turn(value, turns)
        now = short(getattr(frame.now, f"{plane}_mm"), getattr(frame.now, f"{plane}_sd_mm"), sides)
        driven = "-" if frame.set_mm_per_m is None else turn(frame.set_mm_per_m[n], turns)
        yield f"{number}  {plane:<6}{then:<16}{now:<16}{proposed:<12}{driven:<12}".rstrip()
    for notice in frame.new_notices:
        yield from textwrap.wrap(f"! {notice.text}", 80, initial_indent=" " * 17, subsequent_indent=" " * 19)


def short(value: float, sd: float, sides: tuple[str, str]) -> str:
    """An offset such as `12 right ± 4`."""
    return side(value, sd, *sides, unit="").replace("  ", " ").strip()


def turn(value_mm_per_m: float, turns: tuple[str, str]) -> str:
    """An articulation such as `2.0 left`, or `straight`."""
    text = f"{abs(value_mm_per_m):.1f}"
    return "straight" if text == "0.0" else f"{text} {turns[0 if value_mm_per_m > 0 else 1]}"


def beside(frame: Frame) -> list[str]:
    """What is known now, for the foot of a screen: three lines of at most 78 characters."""
    now, advice = frame.now, frame.advice
    known = (
        f"line {side(now.line_mm, now.line_sd_mm, 'right', 'left')}, "
        f"level {side(now.level_mm, now.level_sd_mm, 'high', 'low')}"
    )
    lines = [f"The face here: {known}"]
    if frame.set_mm_per_m is not None:
        right, up = (turn(v, p[2]) for v, p in zip(frame.set_mm_per_m, _PLANES, strict=True))
        word = {"accepted": ", as accepted", "overridden": ", an own setting"}.get(frame.decided, "")
        lines.append(f"The next stroke was driven with {right}, {up} (mm/m){word}")
    else:
        lines.append("The drive ends here: no further stroke came")
    point = looked_ahead(advice)
    if frame.came is not None and point is not None:
        saw_words, came_words = [], []
        for plane, sides, _ in _PLANES:
            saw, sd = getattr(point, f"{plane}_mm"), getattr(point, f"{plane}_sd_mm")
            got, got_sd = getattr(frame.came, f"{plane}_mm"), getattr(frame.came, f"{plane}_sd_mm")
            foreseen = short(saw, sd, sides)
            if foreseen.startswith("0"):  # no direction would tell the planes apart
                foreseen = f"{plane} {foreseen}" if loose(sd) else f"on {plane} {foreseen.partition(' ')[2]}"
            saw_words.append(foreseen)
            came_words.append(_bare(plane, got, got_sd, sides))
        foreseen, came = ", ".join(saw_words), ", ".join(came_words)
        lines.append(f"Foreseen for {point.chainage_m:.1f} m: {foreseen} mm; came {came}")
    return lines


def _bare(plane: str, value: float, sd: float, sides: tuple[str, str]) -> str:
    text = figure(value, sd)
    if float(text) == 0.0:
        return f"{plane} {text}" if loose(sd) else f"on {plane}"
    return f"{text} {sides[0 if value > 0 else 1]}"


def summary(reel: Reel, frames: list[Frame]) -> list[str]:
    """How often what is known now lies within what was said then, and where it lies furthest from it."""
    told = [f for f in frames if f.advice is not None]
    if not told:
        return []
    lines = []
    for plane, sides, _ in _PLANES:
        off, inside = [], 0
        for frame in told:
            assert frame.advice is not None
            then = getattr(frame.advice.estimate, f"{plane}_mm")
            sd = getattr(frame.advice.estimate, f"{plane}_sd_mm")
            now = getattr(frame.now, f"{plane}_mm")
            off.append(now - then)
            inside += abs(now - then) <= 1.96 * sd
        worst = max(range(len(off)), key=lambda i: abs(off[i]))
        where = f"{abs(off[worst]):.0f} mm {sides[0 if off[worst] > 0 else 1]}"
        lines.append(
            f"{plane}: known now lies within the ± of then at {inside} of {len(told)} strokes; "
            f"furthest {where} of it, at {told[worst].moment.chainage_m:.1f} m"
        )
    if not reel.own_order:
        lines.append(
            "The log was filled from files: a check shot counts here from its own chainage on, "
            "whenever it came."
        )
    return [line for text in lines for line in textwrap.wrap(text, 80)]
