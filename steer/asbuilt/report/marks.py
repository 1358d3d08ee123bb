"""How things are drawn on every page, so that a line means the same everywhere, also in grey."""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.asbuilt.conformance import Verdict
from steer.asbuilt.record import AsBuilt, Judged
from steer.asbuilt.report.sheet import BLUE, GREY, INK, PALE_BLUE, RED
from steer.asbuilt.totals import runs, spans

DESIGN = {"color": GREY, "linewidth": 0.9, "linestyle": (0, (8, 2, 1.5, 2))}
BUILT = {"color": BLUE, "linewidth": 1.5}
TOLERANCE = {"color": RED, "linewidth": 0.9, "linestyle": (0, (5, 2.5))}
BAND = {"facecolor": PALE_BLUE, "edgecolor": "none"}
SHOTS = {
    "face": "o", "target": "s", "tail": "v", "pipe": "D",
}  # fmt: skip


def chainage_limits(record: AsBuilt) -> tuple[float, float]:
    """The whole axis, with a little room."""
    axis = record.file.axis
    room = 0.01 * (axis.end_chainage_m - axis.start_chainage_m)
    return axis.start_chainage_m - room, axis.end_chainage_m + room


def along(ax: Any, record: AsBuilt, label: bool = True) -> None:
    """Chainage below, and the end of the axis and of what is driven marked."""
    ax.set_xlim(*chainage_limits(record))
    if label:
        ax.set_xlabel("chainage, m")
    else:
        ax.tick_params(labelbottom=False)
    if record.face_m < record.file.axis.end_chainage_m - 0.5:
        ax.axvline(record.face_m, color=INK, linewidth=0.7, linestyle=(0, (1, 1.5)))


def sides(ax: Any, name: str, more: str, less: str) -> None:
    """Which way is which, along the axis itself."""
    ax.set_ylabel(f"{less}  ←  {name}, mm  →  {more}")


def key(ax: Any, columns: int) -> None:
    """The legend on a line of its own between title and frame, where it covers nothing."""
    handles, labels = ax.get_legend_handles_labels()
    rows = max(-(-len(labels) // columns), 1)
    columns = -(-len(labels) // rows) or 1
    order = [i for first in range(columns) for i in range(first, len(labels), columns)]  # read row by row
    ax.set_title(ax.get_title(loc="left"), pad=4 + 10 * rows)
    ax.legend(
        [handles[i] for i in order], [labels[i] for i in order], loc="lower left",
        bbox_to_anchor=(0.0, 1.0), ncols=columns, borderaxespad=0.1, handlelength=2.4, columnspacing=1.4,
        handletextpad=0.5, borderpad=0.2,
    )  # fmt: skip


def verdict_bar(ax: Any, judged: Judged, verdict: np.ndarray, record: AsBuilt) -> None:
    """A bar along the chainage: white inside, hatched cannot tell, full outside."""
    begin, end = spans(judged.lie.chainage_m)
    looks: tuple[tuple[Verdict, dict[str, Any]], ...] = (
        (Verdict.INSIDE, {"facecolor": "white"}),
        (Verdict.CANNOT_TELL, {"facecolor": "white", "hatch": "//////"}),
        (Verdict.OUTSIDE, {"facecolor": RED}),
    )
    for value, look in looks:
        for run in runs(begin, end, verdict == value):
            ax.barh(0.5, run.length_m, left=run.from_m, height=1.0, edgecolor=INK, linewidth=0.5, **look)
    ax.set_ylim(0, 1)
    ax.set_yticks([])
    ax.grid(False)
    ax.set_xlim(*chainage_limits(record))
    for spine in ("top", "left", "right"):  # what is not driven has no verdict, and no frame
        ax.spines[spine].set_visible(False)


def verdict_key(sheet: Any, x: float, y: float) -> None:
    """What the bar's looks mean."""
    for text, look in (
        ("inside", {}), ("cannot tell", {"hatch": "//////"}), ("outside", {"fill": RED}),
    ):  # fmt: skip
        ax = sheet.axes(x, y, 7.0, 3.2)
        ax.set_xticks([])
        ax.set_yticks([])
        ax.grid(False)
        ax.set_facecolor(look.get("fill", "white"))
        if "hatch" in look:
            from matplotlib.patches import Rectangle

            ax.add_patch(
                Rectangle(
                    (0, 0),
                    1,
                    1,
                    transform=ax.transAxes,
                    facecolor="white",
                    edgecolor=INK,
                    hatch=look["hatch"],
                )
            )
        sheet.text(x + 8.5, y, text, size=7.5)
        x += 28.0
