"""The cylinder table: where each sits, what it shows now, what to set, and the change in words."""

from __future__ import annotations

from tui.draw import words
from tui.draw.scene import Scene, blocked, follows, out_of_date, own_setting
from tui.draw.spans import Row, cells, cut_text

FULL = 31
NARROW = 24


def draw(scene: Scene, size: int, height: int) -> list[Row]:
    """The table in at most `height` rows; places go first when `size` is below FULL."""
    snapshot = scene.snapshot
    full = size >= FULL
    rows: list[Row] = [((" CYLINDERS mm".ljust(size), "title"),)]
    if snapshot is None:
        return rows
    advice = snapshot.advice
    stop = blocked(scene)
    now = advice.cylinder_now_mm if advice is not None else None
    proposal = advice.correction.cylinder_mm if advice is not None and stop is None else None
    # a setting is read to a few tenths: what is held is not to be moved by them, so they stand beside no other figure
    hold = advice is not None and advice.correction.hold
    if own_setting(scene) and scene.decision is not None and stop is None:
        proposal, hold = scene.decision.cylinder_mm, False
    decimals = 0
    for values in (proposal, now):
        if values is not None and any(abs(v - round(v)) > 0.049 for v in values if v == v):
            decimals = 1
    columns: list[tuple[str, str, str]] = []
    for number in range(len(snapshot.cylinder_positions_deg)):
        measured = _known(now, number)
        wanted = _known(proposal, number)
        columns.append(
            (
                "-" if measured is None else f"{measured:.{decimals}f}",
                "-" if wanted is None else "" if hold and measured is not None else f"{wanted:.{decimals}f}",
                "stay" if hold and wanted is not None else _change(measured, wanted, decimals),
            )
        )
    # The figures get the room they need; the name of the place gets what is left.
    now_size = max([4, *(len(c[0]) for c in columns)]) + 1
    set_size = max([4, *(len(c[1]) for c in columns)]) + 1
    change_size = max([6, *(len(c[2]) for c in columns)])
    lead_size = max(2, size - now_size - set_size - 1 - change_size)
    head = "CYLINDERS mm" if full else "mm"
    told, read_m = snapshot.extra.get("cylinders_told") is True, snapshot.extra.get("cylinders_read_m")
    since = isinstance(read_m, float)
    now_head = "was" if out_of_date(scene) else "told" if told else "last" if since else "now"
    text = f"{cut_text(head, lead_size):<{lead_size}}{now_head:>{now_size}}{'set':>{set_size}} change"
    rows[0] = ((text.ljust(size), "title"),)
    names = _names(scene, snapshot.cylinder_positions_deg, lead_size)
    for name, (now_text, set_text, change) in zip(names, columns, strict=True):
        rows.append(
            (
                (f"{cut_text(name, lead_size):<{lead_size}}", ""),
                (f"{now_text:>{now_size}}", "quiet" if stop else ""),
                (f"{set_text:>{set_size}}", "figure"),
                (f" {change:<{change_size}}", "" if change == "stay" else "strong"),
            )
        )
    if advice is not None and len(rows) < height and (told or since):
        # Before all that stands below the table: what is set is counted from these.
        said = "not read: as set last" if told else f"last read at {read_m:.2f} m"
        rows.append(((cut_text(said, size), "warn"),))
    if advice is not None and len(rows) < height:
        if len(rows) + 1 < height:
            joint, _, whose = follows(scene)
            cost = ((words.joint(joint, size, whose), "quiet"),) if joint else ()
            if cost and len(rows) + 2 < height:
                rows.append(())
            rows.append(cost)
        was = "was: " if out_of_date(scene) else ""
        rows.append(((words.roll(advice.roll_deg, scene.glyphs.degree, size, was), "quiet"),))
    return rows[:height]


def _names(scene: Scene, positions_deg: tuple[float, ...], size: int) -> list[str]:
    """Number and place of each, in words or else in degrees clockwise from the top: all alike, as `size` cells allow."""
    in_words = [words.cylinder_place(at) for at in positions_deg]
    in_degrees = [f"{at:.0f}{scene.glyphs.degree}" for at in positions_deg]
    for places in (in_words, in_degrees):
        names = [f"{n} {place}" for n, place in enumerate(places, 1)]
        if all(cells(name) <= size for name in names):
            return names
    return [str(n) for n in range(1, len(positions_deg) + 1)]


def _known(values: tuple[float, ...] | None, number: int) -> float | None:
    """One cylinder's value; None when there is none or it is NaN."""
    if values is None or number >= len(values) or values[number] != values[number]:
        return None
    return values[number]


def _change(now: float | None, wanted: float | None, decimals: int) -> str:
    if now is None or wanted is None:
        return "-"
    change = round(wanted, decimals) - round(now, decimals)
    if round(abs(change), decimals) == 0:
        return "stay"
    return f"{'out' if change > 0 else 'in'} {abs(change):.{decimals}f}"
