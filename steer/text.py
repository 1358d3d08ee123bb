"""Text from outside, made safe to show: nothing in it can steer a terminal or turn a line around.

And figures as they are said: digits that the uncertainty earns, a ± that never claims more than is known, and
a probability in words that never claim certainty. Page, report and screens take them from here.
"""

from __future__ import annotations

import math
import unicodedata

PLANES = ("line", "level")
SIDES = (("right", "left"), ("high", "low"))  # + and − of an offset, by plane
TURNS = (("right", "left"), ("up", "down"))  # + and − of a heading, an articulation or a movement
TOWARDS = (("to the right", "to the left"), ("up", "down"))  # the same after a verb: "moved to the right"
_LOOSE_MM = 10.0  # a ± beyond which nothing is called on line or on level; own choice, no source
BAND = 1.96  # standard deviations either side that hold 95 % of a normal distribution

# Control and format characters (escape sequences, right-to-left marks, zero widths), line and paragraph
# separators, lone surrogates, and characters not assigned: Unicode general categories.
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def printable(text: object, longest: int = 0) -> str:
    """One line in which every hidden character is written out as \\xNN or \\uNNNN.

    `longest` > 0 cuts the result there and marks the cut with "…".
    """
    plain = str(text)
    if longest and len(plain) > longest:
        plain = plain[: longest - 1] + "…"
    if plain.isprintable():
        return plain
    return "".join(_written_out(c) if unicodedata.category(c) in _HIDDEN else c for c in plain)


def _written_out(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


_PLAINER = {
    "±": "+-",
    "−": "-",
    "–": "-",
    "…": "...",
    "·": "|",
    "²": "2",
    "³": "3",
    "°": " deg",
    "≤": "<=",
    "≥": ">=",
}


def plainer(error: UnicodeError) -> tuple[str, int]:
    """Error handler for `codecs`: what a terminal's encoding lacks, in characters that every one has."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_PLAINER.get(c, "?") for c in error.object[error.start : error.end]), error.end


def shown(value: object) -> str:
    """A value as a refusal quotes it: text in quotes, at most some 60 characters, safe to show."""
    if isinstance(value, str):
        return f'"{printable(value, 60)}"'
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    return printable(repr(value), 60)


def chance(probability: float) -> str:
    """`92 %`; beyond 99 and below 1 per cent only that: a model earns no more."""
    per_cent = 100.0 * probability
    if per_cent > 99.0:
        return "over 99 %"
    return "under 1 %" if per_cent < 1.0 else f"{per_cent:.0f} %"


def first_decide(waiting: int, where: str = "") -> str:
    """What to do before another check shot is taken while so many wait for a word; `where`: said behind it. Empty
    when none waits."""
    if waiting == 1:
        return f"1 check shot waits to be accepted or rejected: decide on it first{where}."
    return (
        f"{waiting} check shots wait to be accepted or rejected: decide on them first{where}."
        if waiting
        else ""
    )


def believed(confirmed: str) -> str:
    """What is believed of a check shot that disagreed and counts once others confirm it; `confirmed`: which, with verb."""
    return f"It disagreed then, and counts; {confirmed} now: the reference is taken to have moved."


def decimals(sd: float) -> int:
    """Digits after the point that a value with this sd earns: none from one sd of 1 upward, else one."""
    return 1 if sd < 0.95 else 0


def loose(sd_mm: float) -> bool:
    """Whether what has this sd (mm) is known too roughly to be called on line or on level; so is what is not known."""
    return not BAND * sd_mm <= _LOOSE_MM


def figure(value: float, sd: float) -> str:
    """The size of a value, without its direction, in as many digits as its sd earns."""
    return f"{abs(value):.{decimals(sd)}f}"


def within(sd: float, digits: int | None = None) -> str:
    """What stands behind ±: the 95 % band of one sd, in the digits of the value beside it unless said.

    Rounded up, so that no more certainty is claimed than there is, and never 0. "?" when it is not known.
    """
    if not math.isfinite(sd):
        return "?"
    places = decimals(sd) if digits is None else digits
    shift = 10**places
    # The least part of a step keeps 3.0000000001, a 3 of floating point, from becoming 4.
    steps = max(1, math.ceil(BAND * sd * shift - 1e-6))
    return f"{steps / shift:.{places}f}"
