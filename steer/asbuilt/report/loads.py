"""Jacking force: used, permissible, forecast; friction by stretch."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from steer.asbuilt import string_words
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.lettering import width_mm, wrapped
from steer.asbuilt.report.marks import BUILT, along, chainage_limits, key
from steer.asbuilt.report.sheet import GREY, INK, PALE, PALE_RED, RED, Sheet
from steer.asbuilt.string import KINK
from steer.asbuilt.tolerances import arrived
from steer.pipes import AFTER_A_STOP

_SIZE = 7.8


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """One page on its side, when force was recorded."""
    if len(record.force.used) == 0:
        return []
    return [("Jacking force", True, lambda sheet: _draw(sheet, record))]


def _draw(sheet: Sheet, record: AsBuilt) -> None:
    left, width, room = sheet.left + 16.0, sheet.inner - 20.0, sheet.bottom - sheet.top
    half, step = 0.56 * sheet.inner, Sheet.line_mm(_SIZE)
    told = [wrapped(line, half - 6.0, _SIZE) for line in string_words.force_lines(record)]
    needed = sum(len(lines) * step + 0.5 for lines in told)
    tall = min(0.54 * room, max(0.38 * room, room - needed - 2.0))  # the plot gives way to words
    _force(sheet.axes(left, sheet.top + 12.5, width, tall - 23.5), record, width)
    y = sheet.top + tall + 2.0
    for number, lines in enumerate(told):
        end = y + len(lines) * step + (step if number < len(told) - 1 else 0.0)
        if end > sheet.bottom + 1.0:
            sheet.text(sheet.left, y, f"{len(told) - number} lines more in the workbook.", _SIZE)
            break
        y = sheet.paragraph(sheet.left, y, " ".join(lines), half - 6.0, _SIZE) + 0.5
    x, wide = sheet.left + half, sheet.inner - half
    caution = len(wrapped(string_words.FORCE_CAUTION, wide - 4.0, 7.2)) * Sheet.line_mm(7.2)
    sheet.box(x, sheet.top + tall + 1.0, wide, caution + 8.0, 0.6)
    sheet.text(x + 2.0, sheet.top + tall + 3.0, "Caution", size=8.0, bold=True)
    sheet.paragraph(x + 2.0, sheet.top + tall + 7.0, string_words.FORCE_CAUTION, wide - 4.0, 7.2)
    _share(sheet, record, x + 14.0, sheet.top + tall + caution + 18.0, wide - 18.0)


def _force(ax: Any, record: AsBuilt, width: float) -> None:
    """`width` of the axes, mm."""
    force = record.force
    used = force.used
    ahead = force.forecast
    if ahead is not None and not arrived(record.file, record.face_m):
        ax.fill_between(
            ahead.chainage_m,
            ahead.low_kn,
            ahead.high_kn,
            facecolor=PALE,
            edgecolor="none",
            label="95 % band",
        )
        ax.plot(
            ahead.chainage_m,
            ahead.force_kn,
            color=INK,
            linewidth=1.0,
            linestyle=(0, (4, 2)),
            label="forecast",
        )
        ax.plot(
            ahead.chainage_m,
            AFTER_A_STOP * ahead.high_kn,
            color=GREY,
            linewidth=0.9,
            linestyle=(0, (1, 1)),
            label="restart after a stop",
        )
    ax.plot(used.chainage_m, used.largest_kn, color=GREY, linewidth=0.7, label="used, largest")
    ax.plot(used.chainage_m, used.force_kn, label="used, median of stroke", **BUILT)
    if force.permissible_kn is not None and force.permissible_low_kn is not None:
        ax.fill_between(
            used.chainage_m, force.permissible_low_kn, force.permissible_kn, step="post", facecolor=PALE_RED,
            edgecolor="none", label="down to its lower limit (97.5 %)",
        )  # fmt: skip
        ax.step(
            used.chainage_m, force.permissible_kn, where="post", color=RED, linewidth=1.1,
            linestyle=(0, (6, 2)), label="permissible, worst joint so far",
        )  # fmt: skip
        for which, face, name in (
            (force.exceeded, INK, "permissible force exceeded"), (force.may_exceed, "white", "may be exceeded"),
        ):  # fmt: skip
            at = list(which)
            if at:
                ax.plot(
                    used.chainage_m[at], used.largest_kn[at], linestyle="none", marker="X", markersize=4,
                    markerfacecolor=face, markeredgecolor=INK, markeredgewidth=0.5, label=name,
                )  # fmt: skip
    for limit in force.limits:
        if limit.name == KINK:
            continue
        ax.axhline(limit.limit_kn, color=INK, linewidth=0.8)
        ax.text(
            0.004, limit.limit_kn, f"{limit.name}, {limit.limit_kn:.0f} kN", ha="left", va="bottom", fontsize=7,
            transform=ax.get_yaxis_transform(), zorder=4,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.8},
        )  # fmt: skip
    for part in force.stretches[1:]:
        ax.axvline(part.from_m, color=GREY, linewidth=0.6)
    first, last = chainage_limits(record)
    for part in force.stretches:
        own = (part.to_m - part.from_m) / (last - first) * width
        label = f"friction {string_words.friction(part)}"
        if width_mm(label, 7.0) + 2.0 > own:  # else it would lie on its neighbour's
            label = f"{part.friction_kpa:.1f} kPa"
        if width_mm(label, 7.0) + 2.0 <= own:
            ax.text(
                0.5 * (part.from_m + part.to_m), 0.975, label, ha="center", va="top", fontsize=7,
                transform=ax.get_xaxis_transform(), bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
            )  # fmt: skip
    along(ax, record)
    ax.set_ylim(0.0, 1.12 * min(ax.get_ylim()[1], _of_interest(record)))
    ax.set_xlabel("chainage of the face, m")
    ax.set_ylabel("force, kN")
    ax.set_title("Force used, permissible and forecast", pad=4)
    key(ax, 5)


def _of_interest(record: AsBuilt) -> float:
    """The force up to which the plot must reach: what the joints carry may lie far above all that is used
    while they are straight, and would press everything else to the bottom."""
    force = record.force
    reach = [float(force.used.largest_kn.max()), *(limit.limit_kn for limit in force.limits)]
    if force.forecast is not None and not arrived(record.file, record.face_m):
        reach.append(AFTER_A_STOP * float(force.forecast.high_kn[-1]))
    if force.permissible_kn is not None:
        reach.append(1.5 * float(force.permissible_kn.min()))
    return 1.15 * max(reach)


def _share(sheet: Sheet, record: AsBuilt, x: float, y: float, width: float) -> None:
    """What a joint angle leaves of the straight joint's force."""
    ring = record.force.ring
    tall = sheet.bottom - y - 11.0
    if ring is None or tall < 18.0:
        return
    ax = sheet.axes(x, y, width, tall)
    worst, high = 0.0, record.joints.worst_high_mm_per_m
    if record.joints.worst is not None:
        worst = float(record.joints.along.angle_mm_per_m[record.joints.worst])
    limit = max(record.joints.limit_mm_per_m, 1.05 * np.nan_to_num(high))
    angle = np.linspace(0.0, limit, 200)
    ax.plot(angle, 100.0 * ring.share_of_straight(angle), **BUILT)
    if record.joints.worst is not None:
        ax.plot(
            [worst],
            [100.0 * float(ring.share_of_straight(worst))],
            marker="o",
            markersize=4.5,
            markerfacecolor="white",
            markeredgecolor=INK,
            linestyle="none",
            label="sharpest joint so far",
        )
        ax.plot(
            [high], [100.0 * float(ring.share_of_straight(high))], marker="v", markersize=4.5,
            markerfacecolor=RED, markeredgecolor=INK, linestyle="none", label="its upper limit (97.5 %)",
        )  # fmt: skip
        ax.legend(loc="upper right")
    ax.set_xlim(0.0, limit)
    ax.set_ylim(0.0, 105.0)
    ax.set_xlabel("joint angle, mm/m")
    ax.set_ylabel("%")
    ax.set_title("Permissible force, share of the straight joint's", pad=3, fontsize=8)
