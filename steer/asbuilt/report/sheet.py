"""A page of paper: margins, head and foot, text that wraps, axes placed in millimetres from the top left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from steer.asbuilt.report.lettering import PT_MM, Lettering, Line, fitted, width_mm, wrapped

PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1
INK, GREY, PALE = "#000000", "#6b6b6b", "#d9d9d9"
# dark and pale enough to stay apart when printed in grey, where dashes and hatches tell what they are
BLUE, PALE_BLUE, RED, PALE_RED = "#14427a", "#cddcee", "#8f1d14", "#f3e2df"
BAND_FILL = "#f0f3f7"
MARGIN_MM = 15.0
HEAD_MM, FOOT_MM = 14.0, 12.0
_MM_PER_INCH = 25.4

SETTINGS: Any = {
    "pdf.fonttype": 42,  # real fonts, so that the text can be searched
    "text.parse_math": False,  # a "$" in a name is a "$"
    "font.size": 8.0,
    "font.family": "DejaVu Sans",
    "axes.linewidth": 0.6,
    "axes.titlesize": 9.0,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.labelsize": 8.0,
    "axes.unicode_minus": False,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.direction": "in",
    "ytick.direction": "in",
    "grid.color": "#c8c8c8",
    "grid.linewidth": 0.4,
    "legend.fontsize": 7.5,
    "legend.frameon": False,
    "lines.linewidth": 1.1,
    "hatch.linewidth": 0.5,
}


def room_mm(paper: str) -> tuple[float, float]:
    """Width and height between margins, head and foot of an upright page."""
    width, height = PAPERS_MM[paper]
    return width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - HEAD_MM - FOOT_MM


def evenly(rows: int, most: int) -> int:
    """How many rows of a table each page takes, so that no page holds a forlorn few; bands of five whole."""
    pages = max(-(-rows // most), 1)
    return min(max(-(-rows // (5 * pages)), 1) * 5, most)


@dataclass(frozen=True)
class Running:
    """What stands on every page."""

    head_left: str
    head_right: str
    foot: str
    paper: str
    pages: int


class Sheet:
    """One page under way. Lengths in mm, y downward from the top edge."""

    def __init__(self, running: Running, number: int, title: str, landscape: bool = False) -> None:
        from matplotlib.figure import Figure

        width, height = PAPERS_MM[running.paper]
        if landscape:
            width, height = height, width
        self.width, self.height = width, height
        self.left, self.right = MARGIN_MM, width - MARGIN_MM
        self.top, self.bottom = MARGIN_MM + HEAD_MM, height - MARGIN_MM - FOOT_MM
        self.figure = Figure(figsize=(width / _MM_PER_INCH, height / _MM_PER_INCH))
        self.lettering = Lettering(width, height)
        self.figure.add_artist(self.lettering)
        self._head_and_foot(running, number, title)

    @staticmethod
    def line_mm(size: float) -> float:
        """From one line of a paragraph to the next."""
        return size * 1.35 * PT_MM

    @staticmethod
    def lines(paper: str, size: float, other_mm: float) -> int:
        """How many rows of a table of that size fit an upright page beside `other_mm` of head and notes."""
        return int((room_mm(paper)[1] - other_mm) / (size * 1.45 * PT_MM))

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.right - self.left

    def _head_and_foot(self, running: Running, number: int, title: str) -> None:
        y = MARGIN_MM
        self.text(self.left, y, fitted(running.head_left, self.inner - 62.0, 8.0), size=8.0)
        self.text(self.right, y, running.head_right, size=8.0, align="right")
        self.text(self.left, y + 5.0, title, size=12.0, bold=True)
        self.rule(y + HEAD_MM - 2.5, 0.8)
        foot = self.height - MARGIN_MM - FOOT_MM + 5.0
        self.rule(foot - 2.0, 0.4)
        self.text(self.left, foot, running.foot, size=6.5, colour=GREY)
        self.text(self.right, foot, f"page {number} of {running.pages}", size=8.0, align="right")

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 8.0,
        bold: bool = False,
        align: str = "left",
        colour: str = INK,
    ) -> None:
        """One line whose top is at y."""
        if align == "right":
            x -= width_mm(text, size, bold)
        self.lettering.lines.append(Line(x, y, text, size, bold, colour))

    def paragraph(
        self, x: float, y: float, text: str, width: float, size: float = 8.0, bold: bool = False
    ) -> float:
        """Wrapped text; returns y below it."""
        step = self.line_mm(size)
        for line in wrapped(text, width, size, bold):
            self.text(x, y, line, size, bold)
            y += step
        return y

    def rule(
        self, y: float, weight: float = 0.4, left: float | None = None, right: float | None = None
    ) -> None:
        """A level line."""
        from matplotlib.lines import Line2D

        ends = [
            (self.left if left is None else left) / self.width,
            (self.right if right is None else right) / self.width,
        ]
        at = 1.0 - y / self.height
        self.figure.add_artist(Line2D(ends, [at, at], color=INK, linewidth=weight))

    def box(
        self, x: float, y: float, width: float, height: float, weight: float = 0.8, fill: str = "none"
    ) -> None:
        """A frame."""
        from matplotlib.patches import Rectangle

        self.figure.add_artist(
            Rectangle(
                (x / self.width, 1.0 - (y + height) / self.height), width / self.width, height / self.height,
                fill=fill != "none", facecolor=fill, edgecolor=INK, linewidth=weight, zorder=-1,
            )
        )  # fmt: skip

    def axes(self, x: float, y: float, width: float, height: float) -> Any:
        """Axes whose frame is that rectangle."""
        place = (x / self.width, 1.0 - (y + height) / self.height, width / self.width, height / self.height)
        ax = self.figure.add_axes(place)
        ax.grid(True)
        ax.set_axisbelow(True)
        return ax

    def table(
        self,
        x: float,
        y: float,
        widths: list[float],
        rows: list[list[str]],
        size: float = 7.5,
        head: int = 1,
        right: frozenset[int] = frozenset(),
        bands: int = 0,
    ) -> float:
        """Rows of short texts with ruled head; columns in `right` are set flush right, and of every two
        times `bands` rows the second half has a pale ground. Returns y below."""
        step = size * 1.45 * PT_MM
        end = x + sum(widths)
        for number, row in enumerate(rows):
            at = x
            if bands and number >= head and (number - head) // bands % 2:
                self.box(x, y - 0.16 * step, end - x, step, 0.0, BAND_FILL)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True)):
                bold = number < head
                shown = fitted(cell, width - 1.5, size, bold)
                if column in right:
                    self.text(at + width - 1.5, y, shown, size, bold, "right")
                else:
                    self.text(at, y, shown, size, bold)
                at += width
            y += step
            if number == head - 1:
                self.rule(y - 0.15 * step, 0.5, x, end)
                y += 0.15 * step
        return y
