"""The engineer's page: deviations along the drive with their verdicts, and the pipes beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from steer.advice import Path, Snapshot
from tui.draw import stretch, strip, words
from tui.draw.notices import MARK
from tui.draw.scene import Scene
from tui.draw.spans import Row, at_ends, fit, shortened, wrap
from tui.source import AsBuilt, AsBuiltPipe, AsBuiltPoint

_SIGN = {"inside": ("-", "good"), "outside": ("X", "alarm"), "cannot tell": ("~", "warn")}


BESIDE_FROM = 120  # columns from which the pipes stand beside the strips
BESIDE = 56  # columns of the table there, cursor included
ROOMY_FROM = 160  # columns from which the table stands there with all its blanks
ROOMY = 71
LEAST_STRIPS = 7  # rows in which both can be drawn
_FEW_PIPES = 4  # rows of the table, its head included, before anything else gives way to it
_LEGEND = "- inside   X outside   ~ cannot tell "


@dataclass(frozen=True)
class Plan:
    """Rows of the summary, of the strips and of the pipes; columns of the pipes when they stand beside."""

    summary: int
    strips: int
    pipes: int
    beside: int  # 0: below


def plan(width: int, height: int, wanted: int, least: int = 1) -> Plan:
    """Who gets which of `height` rows: the summary what it wants (`wanted`), but never so much that the strips
    have less than 9 and the pipes, when below, less than 4; yet at least `least`, whatever gives way. Strips that would
    have too few rows to be drawn leave them to the summary."""
    beside = ROOMY if width >= ROOMY_FROM else BESIDE if width >= BESIDE_FROM else 0
    others = 9 if beside else 13
    summary = min(height, max(1, least, min(wanted, height - others)))
    room = max(0, height - summary)
    if beside:
        return Plan(summary, room, room, beside)
    pipes = min(room, max(_FEW_PIPES, (room - 9) // 2))
    if room - pipes < LEAST_STRIPS:
        summary = max(summary, min(wanted, height - _FEW_PIPES))
        return Plan(summary, 0, max(height - summary, 0), 0)
    return Plan(summary, room - pipes, pipes, 0)


def summary_rows(
    built: AsBuilt | None,
    why_not: str,
    width: int,
    age: str = "",
    height: int | None = None,
    stopped: str = "",
    noticed: Sequence[Row] = (),
) -> list[Row]:
    """Title with the verdicts' signs, the warnings, and the totals as the core words them; `age`: how far
    they go where the log has grown since; `stopped`: why it does not grow; `noticed`: rows for the notices that
    stand. In too few rows (`height`) the totals give way, the last first, then the warnings and the verdict give
    up their ends: each still begins on a row of its own."""
    name = f" AS-BUILT {age}" if age else " AS-BUILT against tolerance"
    title: Row = ((name.ljust(width), "alarm" if age else "title"),)
    if built is None:
        return [title, *noticed, *[((f" {line}", "strong"),) for line in wrap(why_not, width - 2, 4)]]
    head = at_ends(title, ((_LEGEND, "title"),), width) if width >= 72 and built.points and not age else title
    # A text, the cells it has, whether it warns.
    warnings = [text for text in (stopped, *built.warnings) if text]
    texts = [(text, width - 4, True) for text in warnings]
    texts += [(text, width - 2, False) for text in built.summary]
    given = [len(wrap(text, size, 3)) for text, size, _ in texts]
    room = sum(given) if height is None else max(0, height - 1 - len(noticed))
    whole = list(given)
    while sum(given) > room and len(given) > len(warnings) + 1:
        given.pop()
    if len(given) < len(whole) and sum(given) < room:
        given.append(
            min(whole[len(given)], room - sum(given))
        )  # the beginning of the next, rather than a blank
    if stopped and sum(given) > room:
        given[0] = 1  # that the page is old fits into one row
    given = shortened(given, room)
    rows = [head, *noticed]
    for number, ((text, size, warning), most) in enumerate(zip(texts, given, strict=False)):
        role = "strong" if warning or number == len(warnings) - len(built.warnings) else ""
        for row, line in enumerate(wrap(text, size, most)):
            lead = MARK if warning and row == 0 else (("   " if warning else " ", ""),)
            rows.append((*lead, (line, role)))
    return rows


def strips(scene: Scene, built: AsBuilt, where: stretch.Reach, width: int, height: int) -> list[Row]:
    """Both strips with a verdict row under each, and the chainages; `height` rows, at least 7."""
    if scene.snapshot is None or not built.points:
        return []
    shown = replace(scene, snapshot=_as_path(scene.snapshot, built.points))
    each = (height - 3) // 2
    rows: list[Row] = []
    for plane in ("line", "level"):
        body = each if plane == "line" else height - 3 - each
        rows += strip.draw(shown, plane, where, body)
        rows.append(verdict_row(built.points, plane, where))
    rows.append(stretch.scale_row(shown, where))
    return [fit(row, width) for row in rows]


def verdict_row(points: Sequence[AsBuiltPoint], plane: str, where: stretch.Reach) -> Row:
    """One sign a column: - inside, X outside, ~ cannot tell; the worst of a column counts."""
    rank = {"inside": 1, "cannot tell": 2, "outside": 3}
    worst: list[str] = [""] * where.columns
    chainages = [point.chainage_m for point in points]
    for n, point in enumerate(points):
        verdict = point.verdict_line if plane == "line" else point.verdict_level
        # A point stands for the stretch half-way to its neighbours.
        before = 0.5 * (chainages[n] + chainages[n - 1]) if n else chainages[n]
        after = 0.5 * (chainages[n] + chainages[n + 1]) if n + 1 < len(points) else chainages[n]
        if after < where.from_m or before > where.to_m:
            continue
        first = where.column(max(before, where.from_m)) or 0
        last = where.column(min(after, where.to_m))
        for x in range(first, (where.columns - 1 if last is None else last) + 1):
            if rank.get(verdict, 0) > rank.get(worst[x], 0):
                worst[x] = verdict
    spans: list[tuple[str, str]] = [("verdict".ljust(where.margin), "quiet")] if where.margin else []
    for verdict in worst:
        sign, role = _SIGN.get(verdict, (" ", ""))
        if spans and spans[-1][1] == role:
            spans[-1] = (spans[-1][0] + sign, role)
        else:
            spans.append((sign, role))
    return tuple(spans)


# Cells of the narrow table's columns, and those left out where the verdict would have no room, in that order.
_NARROW = {"pipe": 6, "front": 7, "line": 9, "level": 9, "joint": 6, "gap": 5}
_VERDICT = 12  # with the blank before it
_LEFT_OUT = ("gap", "joint", "front")


def _narrow(width: int) -> list[str]:
    """The narrow table's columns before the verdict in `width` cells."""
    kept = list(_NARROW)
    for name in _LEFT_OUT:
        if sum(_NARROW[k] for k in kept) + _VERDICT > width:
            kept.remove(name)
    return kept


def pipe_head(width: int) -> list[Row]:
    """Names of the pipe table's columns, with their units."""
    if width >= ROOMY:
        texts = ["  pipe  front at  line mm   level mm  joint mm/m  gap mm  verdict"]
    else:
        units = {"front": "at m", "line": "mm", "level": "mm", "joint": "mm/m", "gap": "mm"}
        kept = _narrow(width - 1)
        texts = [
            "".join(f"{name:>{_NARROW[name]}}" for name in kept) + " verdict",
            "".join(f"{units.get(name, ''):>{_NARROW[name]}}" for name in kept),
        ]
    return [((text[:width].ljust(width), "title"),) for text in texts]


def pipe_row(pipe: AsBuiltPipe, width: int) -> Row:
    """One pipe in one row."""
    role = {"outside": "warn", "cannot tell": "strong"}.get(pipe.verdict, "")
    joint = "-" if pipe.joint_mm_per_m is None else f"{pipe.joint_mm_per_m:.1f}"
    gap = "-" if pipe.gap_mm is None else f"{pipe.gap_mm:.0f}"
    line = f"{abs(pipe.line_mm):.0f} {words.side('line', pipe.line_mm)}".strip()
    level = f"{abs(pipe.level_mm):.0f} {words.side('level', pipe.level_mm)}".strip()
    if width < ROOMY - 2:
        told = {"pipe": str(pipe.number), "front": f"{pipe.chainage_m:.2f}"}
        told |= {"line": line, "level": level, "joint": joint, "gap": gap}
        # The blanks are apart from the figures: however long one is, it never touches its neighbour.
        text = "".join(f" {told[name]:>{_NARROW[name] - 1}}" for name in _narrow(width + 1))[1:] + " "
    else:
        text = f"{pipe.number:>5} {pipe.chainage_m:>9.2f}  {line:<9} {level:<9} {joint:>10}  {gap:>6}  "
    return ((text, role), (pipe.verdict, role or "good"))


def _as_path(snapshot: Snapshot, points: Sequence[AsBuiltPoint]) -> Snapshot:
    """The snapshot with the as-built line for a path and nothing ahead."""
    path = Path(
        np.array([p.chainage_m for p in points]),
        np.array([p.line_mm for p in points]),
        np.array([p.line_sd_mm for p in points]),
        np.array([p.level_mm for p in points]),
        np.array([p.level_sd_mm for p in points]),
    )
    return replace(snapshot, path=path, advice=None)
