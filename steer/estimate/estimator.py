"""The fold: cells, check shots and reference settings along the chainage, each once, with checkpoints.

The estimate is a pure function of the events. Nodes are ordered by chainage (then cell before shot
before setting, then sequence); news that belongs further back cuts the fold there and runs it again
from the node before, so it comes to the same result whenever it arrives.

What is reported is the mixture of the stack's models (moment matching: Bar-Shalom, Li and Kirubarajan 2001, section
11.6, from memory), so that doubt about the ground's way of answering is part of every standard deviation.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate import small
from steer.estimate.cells import Cell
from steer.estimate.motion import N_STATES
from steer.estimate.nodes import Node, Recovery, Setting
from steer.estimate.shelf import Shelf
from steer.estimate.shots import REACHED_M, Shot, ShotReport
from steer.estimate.stack import Stack
from steer.estimate.take_cell import take_cell
from steer.estimate.take_shot import take_setting, take_shot
from steer.estimate.tuning import MODELS, Answer

WHOLE = 8  # newest nodes that are not packed; what an advice asks for further back is read again at no cost that shows
AT_HAND = 40  # newest nodes whose small fields are not put away: most findings look no further back
_CELL, _SHOT, _SETTING = 0, 1, 2


class Estimator:
    """Folds cells, shots and settings of one drive. `put_*` add news, `run` brings the fold up to date."""

    def __init__(self, drive: DriveFile, models: tuple[Answer, ...] = MODELS) -> None:
        self.drive = drive
        self.axis = drive.axis
        self.stack = Stack(drive, models)
        self.shelf = Shelf()  # of nodes far behind
        self.keys: list[tuple[float, int, int, int]] = []
        self.items: list[Cell | Shot | Setting] = []
        self.nodes: list[Node] = []
        self.recovered: list[Recovery] = []
        self.start = self.stack.launch()
        self._top_m: float | None = None  # furthest cell
        self._unreached: int | None = None  # first node whose shot lies ahead of the face

    # ---- news

    def put(self, item: Cell | Shot | Setting) -> None:
        """Add or (for a cell that has grown) replace one item; the fold is cut back to it."""
        if isinstance(item, Cell):
            key = (item.s_m, _CELL, item.first, 0)
        elif isinstance(item, Shot):
            key = (item.s_m, _SHOT, item.order, item.sequence)
        else:
            key = (item.s_m, _SETTING, item.sequence, 0)
        at = bisect.bisect_left(self.keys, key)
        self.keys.insert(at, key)
        self.items.insert(at, item)
        # a cell beyond it may be what a shot ahead of the face was waiting for
        waits = isinstance(item, Cell) and self._unreached is not None
        self._cut(min(at, self._unreached) if waits and self._unreached is not None else at)

    def take_out(self, item: Cell | Shot | Setting) -> None:
        """Remove an item (a cell about to be replaced, a shot withdrawn); the fold is cut back to it."""
        at = next(i for i in range(len(self.items) - 1, -1, -1) if self.items[i] is item)
        del self.keys[at], self.items[at]
        self._cut(at)

    def _cut(self, at: int) -> None:
        if at < len(self.nodes):
            again = self._real(at - 1).s_m
            self.recovered = [r for r in self.recovered if r.s_m <= again or not r.left_out]
        del self.nodes[at:]
        if self._unreached is not None and self._unreached >= at:
            self._unreached = None

    def run(self, before: Cell | None = None) -> None:
        """Fold every item that has not been folded yet; with `before` those that come before that cell."""
        if len(self.nodes) == len(self.items):
            return
        self._top_m = next((item.s_m for item in reversed(self.items) if isinstance(item, Cell)), None)
        kept = True  # the node that the fold goes on from is from an earlier run
        while len(self.nodes) < len(self.items):
            i = len(self.nodes)
            if self.items[i] is before:
                return
            last = self._real(i - 1)
            if kept and not last.sound:
                self._fall_back(self.items[i])
                continue
            kept = False
            with np.errstate(invalid="ignore", over="ignore", divide="ignore"):  # judged by its result
                made = self._fold(last, self.items[i])
            if not made.sound:
                made = self._left_out(last, self.items[i])
            if self._unreached is None and isinstance(made.report, ShotReport) and not made.report.reached:
                self._unreached = i
            self.nodes.append(made)
            if i >= WHOLE:
                self.nodes[i - WHOLE].pack(self.shelf)
            if i >= AT_HAND:
                self.nodes[i - AT_HAND].put_away(self.shelf)
                if isinstance(old := self.items[i - AT_HAND], Cell):
                    small.put_away(old, self.shelf)

    def _fall_back(self, item: Cell | Shot | Setting) -> None:
        """Cut the fold back to the last sound node."""
        at = len(self.nodes)
        while at > 0 and not self._real(at - 1).sound:
            at -= 1
        self._cut(at)
        if at == 0:
            self.start = self.stack.launch()
        from_m = self._real(at - 1).s_m
        self.recovered.append(Recovery(max(item.s_m, from_m), from_m, False))

    def _left_out(self, before: Node, item: Cell | Shot | Setting) -> Node:
        """A sound node in place of one that is not: the item is left out, and doubt as at the launch added."""
        s_m, p = max(item.s_m, before.s_m), before.p + self.start.p
        self.recovered.append(Recovery(s_m, before.s_m, True))
        unit = np.broadcast_to(np.eye(N_STATES), p.shape)
        return replace(before, s_m=s_m, p=p, x_before=before.x, p_before=p, phi=unit, report=None)

    def _real(self, i: int) -> Node:
        node = self.nodes[i] if i >= 0 else self.start
        return node.stands_for or node

    # ---- the state now

    @property
    def last(self) -> Node:
        """The newest node, or the launch."""
        return self._real(len(self.nodes) - 1)

    def node_at(self, s_m: float) -> Node:
        """The newest node not beyond `s_m`."""
        at = bisect.bisect_right(self.keys, (s_m + 1e-9, 9, 0, 0))
        return self._real(min(at, len(self.nodes)) - 1)

    def ahead(self, node: Node, s_m: float, articulation: np.ndarray) -> Node:
        """Predict from a node to `s_m` with an articulation (2,) held; no measurement."""
        return self.stack.ahead(node, s_m, articulation, articulation)

    # ---- inside

    def _fold(self, node: Node, item: Cell | Shot | Setting) -> Node:
        if isinstance(item, Cell):
            return take_cell(self.stack, node, small.in_memory(item))
        if isinstance(item, Setting):
            return take_setting(self.stack, node, max(item.s_m, node.s_m))
        return take_shot(
            self.stack, node, item, reached=self._top_m is None or item.s_m <= self._top_m + REACHED_M
        )


def without(estimator: Estimator, left_out: Callable[[Cell | Shot | Setting], bool]) -> Estimator | None:
    """The same fold without the items that are left out; None where there are none."""
    kept = [item for item in estimator.items if not left_out(item)]
    if len(kept) == len(estimator.items):
        return None
    other = Estimator(estimator.drive)
    for item in kept:
        other.put(item)
    other.run()
    return other
