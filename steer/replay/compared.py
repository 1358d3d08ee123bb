"""A what-if in words: as driven and otherwise side by side, in figures and along the chainage."""

from __future__ import annotations

import textwrap
from collections.abc import Callable

import numpy as np

from steer.closed_loop import Measures
from steer.drivefile import DriveFile
from steer.replay.said import turn
from steer.replay.whatif import WhatIf
from steer.text import PLANES, SIDES, TURNS, figure, within

MOST_ROWS = 60
_LABEL = 50  # columns


def report(file: DriveFile, found: WhatIf, settings: list[str] | None = None) -> list[str]:
    """The comparison for a person, lines of at most 80 characters; `settings` as they were given."""
    given = ", ".join(settings or ()) or "the drive's own limits, every proposal set"
    lines = [
        f"WHAT IF, from {found.from_m:.2f} m to {found.chainage_m[-1]:.2f} m",
        *_cut(f"With {given}"),
        "",
        f"{'':<{_LABEL}}{'as driven':>14}{'what if':>14}",
    ]

    def row(label: str, value: Callable[[Measures], float], digits: int) -> None:
        figures = [value(m) for m in (found.driven, found.other)]
        shown = ["-" if np.isnan(v) else f"{v:.{digits}f}" for v in figures]
        lines.append(f"{label:<{_LABEL}}{shown[0]:>14}{shown[1]:>14}")

    row("line, root mean square, mm", lambda m: m.rms_line_mm, 1)
    row("level, root mean square, mm", lambda m: m.rms_level_mm, 1)
    row(f"line, worst (tolerance {file.tolerance.line_mm:g}), mm", lambda m: m.worst_line_mm, 0)
    row(f"level, worst (tolerance {file.tolerance.level_mm:g}), mm", lambda m: m.worst_level_mm, 0)
    row("outside tolerance, m", lambda m: m.outside_m, 1)
    limit = file.pipe.max_joint_angle_mm_per_m
    # of the line, where the as-built account counts what joints have passed by now
    row(f"largest joint angle of the line (limit {limit:g}), mm/m", lambda m: m.joint_mm_per_m, 1)
    if not np.isnan(found.driven.allowed_kn):
        row("force that a joint may carry there, kN", lambda m: m.allowed_kn, 0)
    row("change of steering a stroke, mm/m", lambda m: m.change_mm_per_m, 1)
    shift = found.other_mm[-1] - found.driven_mm[-1]
    sd = found.sd_mm[-1]
    words = [
        f"{figure(shift[p], sd[p])} mm further {side[0 if shift[p] > 0 else 1]} ± {within(sd[p])}"
        for p, side in enumerate(TURNS)
    ]
    lines += [
        "",
        f"At the end {words[0]}, {words[1]}",
        "(± 95 %, from the learned gain alone). What the ground did by itself is taken",
        "as it was. An estimate, no proof of what would have happened: other steering",
        f"meets other ground. Joint angles are those of the whole line from {found.from_m:.2f} m on,",
        "also where no joint has come yet.",
    ]
    return lines


def table(found: WhatIf) -> list[str]:
    """Both paths and both settings stroke by stroke, lines of at most 80 characters; every second stroke, or
    third, and so on, where there are more than MOST_ROWS."""
    lines = [
        f"{'at m':>8}  {'':<6}{'as driven, mm':<15}{'what if, mm':<15}"
        f"{'driven with':<13}{'what if set':<13}{'(mm/m)'}".rstrip()
    ]
    strokes = len(found.other_set)
    every = -(-strokes // MOST_ROWS)
    for n in sorted({*range(0, strokes, every), strokes - 1} if strokes else ()):
        at = found.stroke_m[n + 1]
        i = int(np.argmin(np.abs(found.chainage_m - at)))
        for p, plane in enumerate(PLANES):
            driven, other = (_place(float(path[i, p]), p) for path in (found.driven_mm, found.other_mm))
            then, new = (turn(float(v[n, p]), TURNS[p]) for v in (found.driven_set, found.other_set))
            place = f"{at:>8.2f}" if p == 0 else " " * 8
            lines.append(f"{place}  {plane:<6}{driven:<15}{other:<15}{then:<13}{new:<13}".rstrip())
    return lines


def _place(offset_mm: float, plane: int) -> str:
    """In whole mm: neither path is known better."""
    text = f"{abs(offset_mm):.0f}"
    return "on it" if text == "0" else f"{text} {SIDES[plane][0 if offset_mm > 0 else 1]}"


def _cut(text: str) -> list[str]:
    return textwrap.wrap(text, 78, subsequent_indent=" " * 5)
