"""Looks of the roles. Emphasis is one thing in every palette: bold reverse for what must be seen.

Shape and word carry every meaning; colour only repeats it. The hues keep apart for the common kinds of
colour blindness: one blue, one yellow-orange, greys between. The plain palette never reverses what is bold:
the console of Linux shows bold black as dark grey, which on its light grey is hard to read.
"""

from __future__ import annotations

from dataclasses import dataclass

# The roles a span can play.
ROLES = (
    "",
    "strong",
    "quiet",
    "title",
    "figure",
    "alarm",
    "warn",
    "good",
    "path",
    "band",
    "limit",
    "axis",
    "path in band",
    "with",
    "with in band",
    "without",
    "without in band",
    "shot",
    "key",
    "cursor",
)


@dataclass(frozen=True)
class Palette:
    """A palette: base colours (empty: the terminal's own) and a rich style for each role."""

    name: str
    summary: str
    foreground: str
    background: str
    accent: str
    dark: bool
    styles: dict[str, str]

    def style(self, role: str) -> str:
        """Rich style string of a role."""
        return self.styles.get(role, "")


PALETTES: tuple[Palette, ...] = (
    Palette(
        "slate",
        "dark, for a cabin",
        "#d9dde0",
        "#14181b",
        "#f2b84b",
        True,
        {
            "strong": "bold",
            "quiet": "#8e989f",
            "title": "bold #d9dde0 on #2b343a",
            "figure": "bold #f2b84b",
            "alarm": "bold #14181b on #f2b84b",
            "warn": "bold #f2b84b",
            "good": "#7fb8e6",
            "path": "#7fb8e6",
            "path in band": "#7fb8e6 on #22323e",
            "band": "#4a6577 on #22323e",
            "limit": "#8e989f",
            "axis": "#566067",
            "with": "bold #f2b84b",
            "with in band": "bold #f2b84b on #22323e",
            "without": "bold #b9bec2",
            "without in band": "bold #b9bec2 on #22323e",
            "shot": "bold #ffffff",
            "key": "bold #f2b84b",
            "cursor": "bold #14181b on #d9dde0",
        },
    ),
    Palette(
        "daylight",
        "black on white, for sunlight",
        "#000000",
        "#ffffff",
        "#003f8a",
        False,
        {
            "strong": "bold",
            "quiet": "#333333",
            "title": "bold #ffffff on #000000",
            "figure": "bold #000000",
            "alarm": "bold #ffffff on #000000",
            "warn": "bold underline #000000",
            "good": "#003f8a",
            "path": "bold #003f8a",
            "path in band": "bold #003f8a on #d5dfea",
            "band": "#7d93ab on #d5dfea",
            "limit": "#000000",
            "axis": "#555555",
            "with": "bold #000000",
            "with in band": "bold #000000 on #d5dfea",
            "without": "bold #333333",
            "without in band": "bold #333333 on #d5dfea",
            "shot": "bold #000000",
            "key": "bold underline #000000",
            "cursor": "bold #ffffff on #003f8a",
        },
    ),
    Palette(
        "night",
        "high contrast on black",
        "#ffffff",
        "#000000",
        "#ffd75f",
        True,
        {
            "strong": "bold",
            "quiet": "#d0d0d0",
            "title": "bold #000000 on #ffffff",
            "figure": "bold #ffffff",
            "alarm": "bold #000000 on #ffd75f",
            "warn": "bold underline #ffd75f",
            "good": "#ffffff",
            "path": "bold #ffffff",
            "path in band": "bold #ffffff on #303030",
            "band": "#767676 on #303030",
            "limit": "#d0d0d0",
            "axis": "#9e9e9e",
            "with": "bold #ffd75f",
            "with in band": "bold #ffd75f on #303030",
            "without": "bold #d0d0d0",
            "without in band": "bold #d0d0d0 on #303030",
            "shot": "bold #ffffff",
            "key": "bold #ffd75f",
            "cursor": "bold #000000 on #b8c7d6",
        },
    ),
    Palette(
        "plain",
        "the terminal's own two colours",
        "",
        "",
        "",
        True,
        {
            "strong": "bold",
            "title": "reverse",
            "figure": "bold",
            "alarm": "reverse",
            "warn": "bold underline",
            "path": "bold",
            "path in band": "bold",
            "with": "bold",
            "with in band": "bold",
            "shot": "bold",
            "key": "bold",
            "cursor": "bold underline",
        },
    ),
)


def named(name: str) -> Palette:
    """The palette of that name; the first one when there is none."""
    return next((p for p in PALETTES if p.name == name), PALETTES[0])
