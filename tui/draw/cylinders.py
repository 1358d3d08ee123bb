"""The cylinder table: where each sits, what it shows now, what to set, and the change in words."""

from __future__ import annotations

from tui.draw import words
from tui.draw.spans import Row
from tui.scene import Scene, blocked

FULL = 30
NARROW = 20


def draw(scene: Scene, size: int, height: int) -> list[Row]:
    """The table in at most `height` rows; places go first when `size` is below FULL."""
    snapshot = scene.snapshot
    full = size >= FULL
    head = "CYLINDERS mm   now  set change" if full else "cyl  now  set change"
    rows: list[Row] = [((head.ljust(size), "title"),)]
    if snapshot is None:
        return rows
    advice = snapshot.advice
    stop = blocked(scene)
    now = advice.cylinder_now_mm if advice is not None else None
    proposal = advice.correction.cylinder_mm if advice is not None and stop is None else None
    if scene.decision is not None and scene.decision.kind == "overridden" and stop is None:
        proposal = scene.decision.cylinder_mm
    decimals = 0
    for values in (proposal, now):
        if values is not None and any(abs(v - round(v)) > 0.049 for v in values if v == v):
            decimals = 1
    for number, angle in enumerate(snapshot.cylinder_positions_deg):
        place = words.cylinder_place(angle)
        name = f"{number + 1} {place}"
        measured = now[number] if now is not None and number < len(now) else None
        if measured is not None and measured != measured:
            measured = None
        wanted = proposal[number] if proposal is not None and number < len(proposal) else None
        now_text = "-" if measured is None else f"{measured:.{decimals}f}"
        set_text = "-" if wanted is None else f"{wanted:.{decimals}f}"
        change = _change(measured, wanted, decimals)
        lead = f"{name:<13}" if full else f"{number + 1:<3}"
        rows.append(
            (
                (lead, ""),
                (f"{now_text:>5}", "quiet" if stop else ""),
                (f"{set_text:>5}", "figure"),
                (f" {change:<6}", "" if change == "stay" else "strong"),
            )
        )
    if advice is not None and len(rows) < height:
        if len(rows) + 1 < height:
            rows.append(())
        rows.append(((words.roll(advice.roll_deg, scene.glyphs.degree), "quiet"),))
    return rows[:height]


def _change(now: float | None, wanted: float | None, decimals: int) -> str:
    if now is None or wanted is None:
        return "-"
    change = round(wanted, decimals) - round(now, decimals)
    if round(abs(change), decimals) == 0:
        return "stay"
    return f"{'out' if change > 0 else 'in'} {abs(change):.{decimals}f}"
