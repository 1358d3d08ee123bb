"""The keys of the screen in front, from its bindings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType

from tui.draw.glyphs import Glyphs
from tui.draw.scene import Stop
from tui.draw.spans import Row, wrap
from tui.screens.lines import LinesScreen


def meanings(glyphs: Glyphs) -> tuple[str, ...]:
    """What the stroke's screen shows, by the characters that it is drawn with."""
    upper, lower = glyphs.ahead
    return (
        "Right, left, up, down, high, low: looking ahead, as the drive goes.",
        "stroke 111 done, above STROKE 112: the last one that has ended, and the one to come, which the page is for.",
        "LEFT 3.5 mm/m: hold the front body 3.5 mm/m left of the rear body.",
        "Cylinders: out is more extension, in is less, in mm as on the machine.",
        f"12 mm left {glyphs.plus_minus} 5: the face is 12 mm left of the design axis, to within 5 mm (95 %).",
        f"Strips: {glyphs.upper} {glyphs.lower} {glyphs.both} without gaps, path as driven; {glyphs.band} around it, its "
        "uncertainty; the same as dashes, ahead with the proposal and the corrections that follow it (steered: with "
        f"those alone, after HOLD; own: with what you set instead); {upper} or {lower} on a curve, without: the "
        f"cylinders left as they stand; ^ or v, that runs off the strip; {glyphs.axis} along the middle, the design "
        f"axis; {glyphs.shot}, a check shot, ?, one that waits for a word, >, one where the face has not come yet, x, "
        "a rejected one; straight rules, the limits; with few rows none, but how far the edges are.",
        "joints ahead turn 3.2 mm/m, bear 2513 kN: the sharpest angle at a pipe joint that the path ahead makes, and the "
        "largest jacking force that a joint at that angle may carry; of the joints behind the face notices speak.",
        "Refused: readings too far from what the estimate expects, which do not count; the page of key l says which.",
        "5.2 sd: standard deviations. One is the size of an ordinary error; 19 in 20 lie within two, hardly any beyond "
        "four.",
        "Under the as-built strips: - inside the tolerance, X outside, ~ cannot tell.",
        f"No proposal: {'; '.join(stop.in_help for stop in Stop)}.",
    )


class HelpScreen(LinesScreen):
    """Keys, then meanings; Esc goes back."""

    HEAD = "KEYS of this screen"
    NOTICES = True
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark", "back", "back"),
    ]

    def __init__(self, keys: list[tuple[str, str]], meanings: Sequence[str]) -> None:
        super().__init__()
        self._keys = keys
        self._meanings = meanings

    def rows(self, width: int) -> list[Row]:
        column = max([len(key) for key, _ in self._keys] + [3]) + 2
        two = width >= 72
        half = (len(self._keys) + 1) // 2 if two else len(self._keys)
        rows: list[Row] = []
        for n in range(half):
            row: Row = ()
            for key, does in self._keys[n::half]:
                said = " " * (column - len(key)) + does
                row = (*row, (" ", ""), (key, "key"), (said.ljust(width // 2 - len(key) - 1), ""))
            rows.append(row)
        rows += [(), ((" WHAT IT SHOWS".ljust(width), "title"),)]
        for text in self._meanings:
            for n, line in enumerate(wrap(text, width - 4, 12)):
                rows.append(((" - " if n == 0 else "   ", "quiet"), (line, "")))
        return rows

    def action_back(self) -> None:
        """Back to the screen behind."""
        self.app.pop_screen()
