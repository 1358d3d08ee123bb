"""The characters of a drawing, as block elements, as what every console has, or as plain ASCII."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Glyphs:
    """One set of drawing characters. Two rows of pixels share a cell."""

    ascii: bool
    halves: bool  # a half of a cell can be filled
    upper: str  # pixel in the upper half of a cell
    lower: str
    both: str
    band: str  # uncertainty
    limit: str  # tolerance line
    axis: str  # design axis
    ahead: tuple[str, str]  # forecast left alone: upper, lower half
    shot: str  # check shot
    wall: str  # reception shaft
    side: str  # left edge of a strip
    rule: str
    plus_minus: str
    degree: str
    dot: str


UNICODE = Glyphs(
    ascii=False,
    halves=True,
    upper="▀",
    lower="▄",
    both="█",
    band="░",
    limit="─",
    axis="·",
    ahead=("'", "."),
    shot="o",
    wall="║",
    side="│",
    rule="─",
    plus_minus="±",
    degree="°",
    dot="·",
)

ASCII = Glyphs(
    ascii=True,
    halves=False,
    upper='"',
    lower="_",
    both="#",
    band=":",
    limit="-",
    axis=".",
    ahead=("'", ","),
    shot="o",
    wall="H",
    side="|",
    rule="-",
    plus_minus="+-",
    degree=" deg",
    dot="|",
)

# Most fonts of the console of Linux have no half blocks, and for what its font lacks it shows a question mark;
# most draw the double line as a single one, and the shaft would look like the edge of the strip.
CONSOLE = replace(
    UNICODE, halves=False, upper=ASCII.upper, lower=ASCII.lower, both=ASCII.both, wall=ASCII.wall
)


def to_console(text: str) -> str:
    """A text with what its fonts often lack replaced."""
    return text.replace("…", "...").replace("²", "2")


def to_ascii(text: str) -> str:
    """A text with what ASCII lacks replaced; names in other scripts show as question marks."""
    if text.isascii():
        return text
    table = {"±": "+-", "°": " deg", "·": "|", "…": "...", "²": "2", "−": "-", "–": "-", "—": "-", "×": "x"}
    return "".join(table.get(c, c) for c in text).encode("ascii", "replace").decode("ascii")
