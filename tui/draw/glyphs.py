"""The characters of a drawing, as block elements or as plain ASCII."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Glyphs:
    """One set of drawing characters. Two rows of pixels share a cell in the half-block set."""

    ascii: bool
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
    squared: str


UNICODE = Glyphs(
    ascii=False,
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
    squared="²",
)

ASCII = Glyphs(
    ascii=True,
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
    squared="2",
)


def to_ascii(text: str) -> str:
    """A text with what ASCII lacks replaced; names in other scripts show as question marks."""
    if text.isascii():
        return text
    table = {"±": "+-", "°": " deg", "·": "|", "…": "...", "²": "2", "−": "-", "–": "-", "—": "-", "×": "x"}
    return "".join(table.get(c, c) for c in text).encode("ascii", "replace").decode("ascii")
