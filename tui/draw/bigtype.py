"""Large type for the correction: letters five pixels high, drawn in three rows of half blocks,
five rows of ASCII, or five rows of full blocks twice as wide."""

from __future__ import annotations

from functools import lru_cache

# Five lines a letter; anything but a blank is ink.
_FONT: dict[str, tuple[str, ...]] = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", " # ", " # "),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ".": (" ", " ", " ", " ", "#"),
    "-": ("   ", "   ", "###", "   ", "   "),
    " ": (" ", " ", " ", " ", " "),
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "C": (" ###", "#   ", "#   ", "#   ", " ###"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("###", "#  ", "###", "#  ", "###"),
    "F": ("###", "#  ", "###", "#  ", "#  "),
    "G": (" ###", "#   ", "# ##", "#  #", " ###"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("###", " # ", " # ", " # ", "###"),
    "L": ("#  ", "#  ", "#  ", "#  ", "###"),
    "N": ("#  #", "## #", "# ##", "#  #", "#  #"),
    "O": (" ## ", "#  #", "#  #", "#  #", " ## "),
    "P": ("### ", "#  #", "### ", "#   ", "#   "),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": (" ###", "#   ", " ## ", "   #", "### "),
    "T": ("###", " # ", " # ", " # ", " # "),
    "U": ("#  #", "#  #", "#  #", "#  #", " ## "),
    "V": ("#   #", "#   #", " # # ", " # # ", "  #  "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
}


def _pixels(text: str) -> list[str]:
    """Five strings of equal length: the text in ink."""
    lines = [""] * 5
    for number, letter in enumerate(text.upper()):
        shape = _FONT.get(letter, _FONT[" "])
        for y in range(5):
            lines[y] += (" " if number else "") + shape[y]
    return lines


@lru_cache(maxsize=256)
def big(text: str, form: str) -> tuple[str, ...]:
    """A text in large type.

    form: "half" three rows of half blocks, "ascii" five rows of number signs, "double" five rows
    of full blocks, each pixel two cells wide. Letters that the type lacks become blanks.
    """
    pixels = _pixels(text)
    if form == "ascii":
        return tuple(pixels)
    if form == "double":
        return tuple("".join("██" if c != " " else "  " for c in line) for line in pixels)
    pixels = [" " * len(pixels[0]), *pixels]  # apart from the bar above, which may have the same colour
    rows = []
    for y in (0, 2, 4):
        upper, lower = pixels[y], pixels[y + 1]
        rows.append("".join(_half(a != " ", b != " ") for a, b in zip(upper, lower, strict=True)))
    return tuple(rows)


def _half(upper: bool, lower: bool) -> str:
    if upper and lower:
        return "█"
    return "▀" if upper else "▄" if lower else " "
