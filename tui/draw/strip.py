"""One strip along the chainage: driven path with its uncertainty, tolerance, and the two forecasts.

Line is seen from above (right is up on the strip), level from the side (high is up).
"""

from __future__ import annotations

from tui.draw import words
from tui.draw.limits import limit_mm
from tui.draw.plot import LIMIT_ROWS, Plot
from tui.draw.scene import Scene, out_of_date
from tui.draw.spans import Row, cells, first_whole, fit
from tui.draw.stretch import Reach


def draw(scene: Scene, plane: str, where: Reach, height: int) -> list[Row]:
    """The strip of a plane ("line" or "level") in `height` rows."""
    plot = Plot(scene, plane, where, height)
    margin = _margin(scene, plane, height, where.margin, plot)
    rows = []
    for y in range(height):
        row: Row = (*fit(margin[y], where.margin - 1), (scene.glyphs.side, "axis")) if where.margin else ()
        rows.append(row + plot.row(y) + fit(plot.label(y), where.labels))
    return rows


def _margin(scene: Scene, plane: str, height: int, size: int, plot: Plot) -> list[Row]:
    snapshot, glyphs = scene.snapshot, scene.glyphs
    name, room = plane.upper(), size - 1
    seen: tuple[str, ...] = (" from above" if plane == "line" else " from side",)
    if height < LIMIT_ROWS:
        seen = f" edges {plot.half_mm:.0f} mm", f" {glyphs.plus_minus}{plot.half_mm:.0f} mm"
    title: Row = ((name, "strong"), (first_whole(seen, room - len(name)), "quiet"))
    texts: list[Row] = [title]
    if snapshot is not None and snapshot.advice is not None:
        estimate = snapshot.advice.estimate
        value = estimate.line_mm if plane == "line" else estimate.level_mm
        sd = estimate.line_sd_mm if plane == "line" else estimate.level_sd_mm
        nose = estimate.yaw_mm_per_m if plane == "line" else estimate.pitch_mm_per_m
        nose_sd = estimate.yaw_sd_mm_per_m if plane == "line" else estimate.pitch_sd_mm_per_m
        limit = limit_mm(snapshot, plane, snapshot.advice.chainage_m)
        outside = abs(value) > limit
        said, mark, band = words.known(plane, value, sd, glyphs.plus_minus).partition(f" {glyphs.plus_minus}")
        if out_of_date(scene):
            texts += _was(said, f"{glyphs.plus_minus}{band}", outside, room)
        else:
            shown: Row = ((said, "alarm" if outside else "strong"), (mark + band, ""))
            if cells(said + mark + band) <= room:
                texts.append(shown)
            else:  # a figure that lost its end reads as another
                texts += [shown[:1], ((f"{glyphs.plus_minus}{band} mm", ""),)]
            if outside:
                texts.append(
                    ((first_whole(("OUTSIDE THE LIMIT", "OUTSIDE LIMIT", "OUTSIDE"), room), "alarm"),)
                )
            texts.append(((words.heading(plane, nose, nose_sd, room), ""),))
        if not plot.limit_seen:
            texts.append(((f"limit {limit:.0f} mm", "quiet"),))
        if outside and not any("OUTSIDE" in text for row in texts[:height] for text, _ in row):
            far = first_whole((" OUTSIDE LIMIT", " OUTSIDE"), room - len(name))
            texts[0] = ((name, "strong"), (far, "alarm"))  # of the title's row that comes before what is seen
    texts = texts[:height]
    return texts + [()] * (height - len(texts))


def _was(said: str, band: str, outside: bool, room: int) -> list[Row]:
    """What is not known now, told as what it was: how well it was known, and whether outside the limit, goes with it."""
    value, far = f"was {said}", "OUTSIDE LIMIT"
    if cells(f"{value} {band}") <= room:
        whole: list[Row] = [((f"{value} {band}", "quiet"),)]
        return whole + [((first_whole(("OUTSIDE THE LIMIT", far, "OUTSIDE"), room), "alarm"),)] * outside
    first: list[Row] = [((t, "quiet"),) for t in ([value] if cells(value) <= room else ["was", said])]
    if not outside:
        return [*first, ((f"{band} mm", "quiet"),)]
    lead = f"{band}, "
    return [*first, ((lead, "quiet"), (first_whole((far, "OUTSIDE"), room - cells(lead)), "alarm"))]
