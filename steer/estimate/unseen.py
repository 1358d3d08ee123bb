"""The estimate carried on without a spot: what is known of the face further on while only headings are read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from steer.estimate import sensors
from steer.estimate.cells import Cell, cell_length
from steer.estimate.estimator import Estimator
from steer.estimate.nodes import CellReport, Node, cells_of
from steer.estimate.take_cell import take_cell

MOST_CELLS = 100  # as long as the fold's own, or longer where the way is
LATELY = 5  # newest cells by which it is judged which headings are read, and how often


def going_on(node: Node, estimator: Estimator, to_m: float) -> Iterator[Node]:
    """The estimate from `node` on to `to_m` with the articulation held and no spot, cell by cell. Headings that were
    read lately go on being read; they say what is expected, so that only the covariance changes."""
    drive, stack = estimator.drive, estimator.stack
    length = cell_length(drive.drive.stroke_m)
    step = max(length, (to_m - node.s_m) / MOST_CELLS)
    lately: list[CellReport] = [r for _, r in cells_of(estimator.nodes[-4 * LATELY :])][-LATELY:]
    read = np.max([r.used[2:] for r in lately], 0) if lately else np.zeros(2)
    count = max(1, round(float(read.max()) * step / length))
    held, scatter, start_m = node.articulation, node.scatter, drive.axis.start_chainage_m
    s_m = node.s_m
    while s_m < to_m - 1e-6:
        s_m = min(s_m + step, to_m)
        distance_m = max(s_m - drive.target.behind_face_m - start_m, 0.0)
        there = stack.ahead(node, s_m, held, held)
        row, const = sensors.heading_row(
            stack.body,
            stack.acting(there, held),
            0.0,
            np.zeros(len(stack.plane)),
            distance_m,
            stack.plane == 0,
        )
        mean = there.blend()[0]
        expected = [float(row[plane] @ mean[plane] + const[plane]) for plane in (0, 1)]
        values = np.tile(np.where([False, False, *(read > 0)], [0.0, 0.0, *expected], np.nan), (count, 1))
        cell = Cell(
            s_m,
            (0, 0),
            0,
            np.full(count, s_m),
            values,
            distance_m,
            held,
            held,
            np.arange(count),
            node.roll_deg,
        )
        node = replace(take_cell(stack, node, cell), scatter=scatter)
        yield node
