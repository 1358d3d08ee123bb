"""Sends of a row what changed and nothing left of it: Textual crops an update at its right end only.

Rests on the inside of Textual, which is pinned exactly; a test draws what is sent and compares.
"""

from __future__ import annotations

from rich.console import Console
from rich.control import Control
from textual._compositor import ChopsUpdate, Compositor


class NarrowUpdate(ChopsUpdate):
    """An update cropped at both ends."""

    def render_segments(self, console: Console) -> str:
        """Control sequences and text of the changed spans (row, first cell, end cell)."""
        sent: list[str] = []
        for y, first, end in self.spans:
            for chop_end, (x, strip) in zip(self.chop_ends[y], self.chops[y].items(), strict=False):
                start, stop = max(first, x), min(end, chop_end)
                if strip is not None and start < stop:
                    sent.append(Control.move_to(start, y).segment.text)
                    sent.append(strip.crop(start - x, stop - x).render(console))
        return "".join(sent)


class NarrowCompositor(Compositor):
    """A screen's compositor whose partial updates are narrow."""

    def render_partial_update(self) -> ChopsUpdate | None:
        """What changed since the last update; None when nothing did."""
        update = super().render_partial_update()
        return update and NarrowUpdate(update.chops, update.spans, update.chop_ends)
