"""Finds room for words on a drawing, so that none lies on other words, on the line or across the frame.

Everything in pixels of the page, x to the right and y up; what the words are drawn with is not known here.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

_GAP = 2.0  # free all round a box
_DOT_EVERY = 3.0
_LEADERS_APART = 3.0


class Sheet:
    """What is taken on a page whose free part is `frame`: left, bottom, right, top."""

    def __init__(self, frame: tuple[float, float, float, float]) -> None:
        self._frame = frame
        self._boxes = np.empty((0, 4))
        self._dots = np.empty((0, 2))
        self._leaders = np.empty((0, 2))

    def draw(self, line: np.ndarray) -> None:
        """Keep words off a line (n, 2)."""
        self.draw_many([line])

    def draw_many(self, lines: Iterable[np.ndarray]) -> None:
        """Keep words off lines, each (n, 2)."""
        self._dots = np.concatenate([self._dots, *map(dotted, lines)])

    def box(self, centre: np.ndarray, size: tuple[float, float]) -> None:
        """Take a box of this width and height."""
        self._boxes = np.vstack([self._boxes, _around(centre, size)])

    def free(self, centre: np.ndarray, size: tuple[float, float]) -> bool:
        """Whether a box there lies inside the frame and on nothing."""
        left, bottom, right, top = _around(centre, size)
        frame = self._frame
        if left < frame[0] or bottom < frame[1] or right > frame[2] or top > frame[3]:
            return False
        b = self._boxes
        if ((b[:, 0] < right) & (b[:, 2] > left) & (b[:, 1] < top) & (b[:, 3] > bottom)).any():
            return False
        return not (_inside(self._dots, centre, size).any() or _inside(self._leaders, centre, size).any())

    def place(
        self, size: tuple[float, float], centres: Iterable[np.ndarray], leader_from: np.ndarray | None = None
    ) -> np.ndarray | None:
        """The first centre (2,) where such a box is free, which is taken then; None where there is none.

        With `leader_from` a line from there to the box must cross no words and no other such line.
        """
        for centre in centres:
            if not self.free(centre, size):
                continue
            if leader_from is not None:
                leader = dotted(np.stack([leader_from, edge(centre, size, leader_from)]))[1:]
                b = self._boxes
                x, y = leader[:, :1], leader[:, 1:]
                if ((b[:, 0] < x) & (b[:, 2] > x) & (b[:, 1] < y) & (b[:, 3] > y)).any():
                    continue
                if len(self._leaders) and len(leader):
                    apart = np.abs(leader[:, None] - self._leaders[None]).max(axis=2)
                    if (apart < _LEADERS_APART).any():
                        continue
                self._leaders = np.concatenate([self._leaders, leader])
            self.box(centre, size)
            return centre
        return None


def edge(centre: np.ndarray, size: tuple[float, float], towards: np.ndarray) -> np.ndarray:
    """The point (2,) of a box that is nearest to a point outside it."""
    half = 0.5 * np.array(size)
    found: np.ndarray = np.clip(towards, centre - half, centre + half)
    return found


def dotted(line: np.ndarray) -> np.ndarray:
    """A line (n, 2) as points close enough together that no words fit between them."""
    lengths = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    at = np.linspace(0.0, along[-1], max(2, int(along[-1] / _DOT_EVERY) + 1))
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def beside(
    at: np.ndarray, along: np.ndarray, size: tuple[float, float], distances: Iterable[float], far_side: float
) -> list[np.ndarray]:
    """Centres (2,) for a box beside a line that runs `along` (unit, (2,)) through `at`: near ones first, to the
    right of the line before the left (by `far_side` pixels), not shifted before shifted."""
    right = np.array([along[1], -along[0]])
    half = 0.5 * np.array(size)
    found = []
    for side, late in ((right, 0.0), (-right, far_side)):
        off = float(np.abs(side) @ half)
        for distance in distances:
            for shift in (0.0, -0.4, 0.4, -0.8, 0.8, -1.2, 1.2):
                slid = shift * float(np.abs(along) @ np.array(size))
                found.append((distance + late + 0.5 * abs(slid), at + side * (distance + off) + along * slid))
    return [centre for _, centre in sorted(found, key=lambda f: f[0])]


def _around(centre: np.ndarray, size: tuple[float, float]) -> np.ndarray:
    half = 0.5 * np.array(size) + _GAP
    return np.concatenate([centre - half, centre + half])


def _inside(dots: np.ndarray, centre: np.ndarray, size: tuple[float, float]) -> np.ndarray:
    half = 0.5 * np.array(size) + _GAP
    found: np.ndarray = (np.abs(dots - centre) < half).all(axis=1)
    return found
