"""What the innovations and the tendency say about the ground."""

from __future__ import annotations

import bisect

import numpy as np

from steer.advice import Notice
from steer.estimate.evidence import AGAINST_DOUBT, OPPOSITE
from steer.estimate.motion import K
from steer.estimate.nodes import Cells, Node
from steer.text import PLANES, TOWARDS

TURNED_M, TURNED, TURNED_SD = 8.0, 0.6, 2.75  # a tendency that is so much (mm/m²) other than so far behind


def ground_changed(cells: Cells, node: Node) -> list[Notice]:
    """The machine's tendency jumped within the last metres."""
    for n, r in reversed(cells):
        if n.s_m < node.s_m - 5.0:
            break
        if r.ground.any():
            plane = int(np.flatnonzero(r.ground)[0])
            return [
                Notice(
                    "ground_changed",
                    f"On {PLANES[plane]} the machine began to run off another way at about {n.s_m:.1f} m: probably other "
                    "ground. The estimate follows; expect a few strokes until the answer is known again.",
                    float(n.s_m),
                )
            ]
    return _tendency_turned(cells, node)


def _tendency_turned(cells: Cells, node: Node) -> list[Notice]:
    """Ground that answers late is followed before the innovations lean: the tendency itself tells of it."""
    chainage = [n.s_m for n, _ in cells]
    for n, _ in reversed(cells):
        if n.s_m < node.s_m - 3.0 or n.s_m - chainage[0] < TURNED_M:
            break
        before = cells[bisect.bisect_right(chainage, n.s_m - TURNED_M) - 1][0]
        (x, p), (x_before, p_before) = n.blend(), before.blend()
        # what may be an opposite answer is not blamed on the ground
        by = np.where(n.against[OPPOSITE].max(0) < AGAINST_DOUBT, x[:, K] - x_before[:, K], 0.0)
        sd = np.sqrt(p[:, K, K] + p_before[:, K, K])
        for plane in (0, 1):
            if abs(by[plane]) > max(TURNED, TURNED_SD * sd[plane]):
                way = TOWARDS[plane][0 if by[plane] > 0 else 1]
                return [
                    Notice(
                        "ground_changed",
                        f"Within the last {TURNED_M:.0f} m the ground began to bend the path by {abs(by[plane]):.1f} "
                        f"mm/m² further {way}: probably other ground. The estimate follows; expect a few strokes until "
                        "the answer is known again.",
                        float(before.s_m),
                    )
                ]
    return []
