"""The line in words, for page and report: verdict, deviation, grade, surveys; directions spelled out, digits that
the uncertainty earns."""

from __future__ import annotations

import math

from steer.asbuilt.lie import Difference
from steer.asbuilt.record import AsBuilt, Eye
from steer.asbuilt.tolerances import arrived
from steer.asbuilt.totals import Counted, Figures
from steer.log import Event
from steer.text import SIDES, TURNS, chance, figure, within

CAUTION = (
    "This record states an estimate from the readings and surveys in the log; it replaces no survey. "
    "It advises and moves nothing. The project specification, the pipe manufacturer's data, local codes "
    "and licensed practice decide."
)


def side(value_mm: float, plane: int, sd_mm: float = 1.0) -> str:
    """`12 mm right`, or `0 mm`; a decimal only where the sd is below 1 mm."""
    text = figure(value_mm, sd_mm)
    if float(text) == 0.0:
        return f"{text} mm"
    return f"{text} mm {SIDES[plane][0] if value_mm > 0 else SIDES[plane][1]}"


def with_band(value_mm: float, sd_mm: float, plane: int) -> str:
    """`12 mm right ± 3 mm`, the band holding 95 %, rounded up."""
    return f"{side(value_mm, plane, sd_mm)} ± {within(sd_mm)} mm"


def metres_of(counted: Counted, metres: float) -> str:
    """`95.9 m (96.0 %)`."""
    return f"{metres:.1f} m ({counted.per_cent(metres):.1f} %)"


def largest(figures: Figures, plane: int) -> str:
    """`29 mm low at 11.0 m`."""
    return f"{side(figures.largest_mm, plane, figures.largest_sd_mm)} at {figures.largest_at_m:.1f} m"


def spread(figures: Figures, plane: int) -> tuple[str, str, str]:
    """Mean, RMS and 95th percentile: `1 mm left`, `5 mm`, `9 mm`."""
    rms, most = (f"{figure(v, figures.sd_mm)} mm" for v in (figures.rms_mm, figures.p95_mm))
    return side(figures.mean_mm, plane, figures.sd_mm), rms, most


def run(counted: Counted) -> str:
    """The longest run outside."""
    if counted.longest_outside is None:
        return "none"
    one = counted.longest_outside
    return f"{one.length_m:.1f} m, {one.from_m:.1f} to {one.to_m:.1f} m"


def overall(record: AsBuilt) -> str:
    """The verdict in one sentence, with the check shots whose open question it hangs on."""
    return _verdict(record) + _unless(record)


def _verdict(record: AsBuilt) -> str:
    both = record.both
    if both.outside_m > 0:
        return f"OUTSIDE tolerance over {metres_of(both, both.outside_m)}"
    if both.cannot_tell_m > 0:
        return (
            f"nowhere shown outside; inside over {metres_of(both, both.inside_m)}, "
            f"CANNOT TELL over {metres_of(both, both.cannot_tell_m)}"
        )
    return f"INSIDE tolerance over the whole {both.length_m:.1f} m driven"


def _unless(record: AsBuilt) -> str:
    """A shot that waits does not count, here either: the verdict must not look settled, whatever another shot said."""
    waits = {s.number for s in record.surveys if s.verdict == "waiting" and s.reached}
    waiting = sorted(waits | {d.shot for d in record.doubts if d.waits})
    if not waiting:
        return ""
    named = ", ".join(map(str, waiting[:3])) + (" …" if len(waiting) > 3 else "")
    one = len(waiting) == 1
    return f"; OPEN: check shot{'' if one else 's'} {named} {'waits' if one else 'wait'} for a word"


def eye(found: Eye) -> str:
    """The reception eye."""
    size = f"line {found.tolerance_mm[0]:g} mm, level {found.tolerance_mm[1]:g} mm"
    if found.arrived and found.offset_mm and found.sd_mm:
        where = " and ".join(with_band(found.offset_mm[k], found.sd_mm[k], k) for k in (0, 1))
        return f"{size}: arrived {where}: {found.verdict}"
    if found.probability is None:
        return f"{size}: not reached yet"
    return f"{size}: not reached yet; probability of arriving inside {chance(found.probability)}"


def tolerance(record: AsBuilt) -> str:
    """`line 50 mm, level 30 mm; 20.0 to 30.0 m: line 8 mm, level 6 mm`."""
    found = record.file.tolerance
    told = [f"line {found.line_mm:g} mm, level {found.level_mm:g} mm"]
    for part in found.ranges[:6]:
        told.append(
            f"{part.from_m:.1f} to {part.to_m:.1f} m: line {part.line_mm:g} mm, level {part.level_mm:g} mm"
        )
    if len(found.ranges) > 6:
        told.append(f"{len(found.ranges) - 6} more stretches")
    return "; ".join(told)


def rule(record: AsBuilt) -> str:
    """The decision rule."""
    p = 100 * record.rule
    return (
        f"Inside: the probability that the true deviation lies within the tolerance is at least {p:g} %. "
        f"Outside: the probability that it lies beyond is at least {p:g} %. Else: cannot tell. "
        "Each plane by itself, normal distribution (JCGM 106:2012); both together: outside where either "
        "plane is, inside where both are."
    )


def basis(record: AsBuilt) -> str:
    """What the verdict stands on."""
    sure = record.file.decision.string_sd_mm
    text = (
        "Where no laid pipe was surveyed the pipe is taken to lie on the path of the machine's face, "
        f"{f'with a standard deviation of {sure:g} mm between them' if sure else 'without further allowance'}"
        f"; within the bore it can lie up to {record.overcut_mm:.0f} mm from it."
    )
    if record.string_difference:
        text += (
            f" {len(record.string_difference)} surveys of laid pipes stand in its place where they were made."
        )
    return text


def covered(record: AsBuilt) -> str:
    """How much of the drive the record covers."""
    axis = record.file.axis
    if arrived(record.file, record.face_m):
        return f"complete, {axis.start_chainage_m:.1f} to {record.face_m:.1f} m"
    return (
        f"under way, {axis.start_chainage_m:.1f} to {record.face_m:.1f} m of {axis.end_chainage_m:.1f} m "
        "(machine still in the ground)"
    )


def falls_lines(record: AsBuilt) -> list[str]:
    """What the gravity line does, or why it is not judged."""
    found = record.falls
    if record.file.sewer.flow != "gravity":
        return ["Pressure line: backfalls are not looked for."]
    if found is None:
        return ["Shorter than a pipe: no grade yet."]
    if found.flow == 0:
        return ["The design is level: no direction of flow, backfalls are not looked for."]
    lines = [
        f"Water runs {'with' if found.flow > 0 else 'against'} the drive. Least fall over a pipe "
        f"{abs(found.least_fall_mm_per_m):.1f} "
        f"mm/m{' THE WRONG WAY' if found.least_fall_mm_per_m < 0 else ''} "
        f"at {found.least_fall_at_m:.1f} m."
    ]
    for name, runs in (("Backfall", found.backfalls), ("Flat", found.flats)):
        total = sum(r.length_m for r in runs)
        where = ", ".join(f"{r.from_m:.1f} to {r.to_m:.1f} m" for r in runs[:4])
        more = f" and {len(runs) - 4} more" if len(runs) > 4 else ""
        lines.append(f"{name}: " + (f"{total:.1f} m in all ({where}{more})." if runs else "none."))
    if found.ponds:
        where = ", ".join(
            f"{p.run.from_m:.1f} to {p.run.to_m:.1f} m {p.depth_mm:.0f} mm deep" for p in found.ponds[:4]
        )
        more = f" and {len(found.ponds) - 4} more" if len(found.ponds) > 4 else ""
        deepest = max(found.ponds, key=lambda p: p.depth_mm)
        lines.append(
            f"Ponds: {sum(p.run.length_m for p in found.ponds):.1f} m in all ({where}{more}), deepest "
            f"{deepest.depth_mm:.0f} mm at {deepest.deepest_m:.1f} m."
        )
    else:
        lines.append("Ponds: none deeper than 1 mm.")
    return lines


def survey_lines(record: AsBuilt) -> list[str]:
    """How many check shots there are and how they fit, and how laid pipes lie to the machine's path."""
    kinds = [s.verdict for s in record.surveys]
    if not kinds:
        return ["NO check survey: the line rests on the reference alone."]
    said = [f"{len(kinds)} check shots" if len(kinds) != 1 else "1 check shot"]
    for kind, word in (("disagrees", "in DISAGREEMENT"), ("waiting", "WAITING for a word"), ("rejected", "rejected"),
                       ("withdrawn", "withdrawn")):  # fmt: skip
        if kind in kinds:
            said.append(f"{kinds.count(kind)} {word}")
    if set(kinds) == {"agrees"}:
        said.append("none disagrees")
    return [", ".join(said) + ".", *(_pipe_line(found) for found in record.string_difference)]


def _pipe_line(found: Difference) -> str:
    where = " and ".join(
        with_band(moved, sd, k)
        for k, (moved, sd) in enumerate(zip(found.moved_mm, found.sd_mm, strict=True))
        if math.isfinite(moved)
    )
    return f"The pipe at {found.survey.chainage_m:.1f} m lies {where} of the machine's path."


def event_text(event: Event) -> str:
    """What was entered, as a person would say it; the log keeps it to the letter."""
    body = event.body
    if event.kind == "note":
        return str(body.get("text", ""))
    if event.kind == "overridden":
        each = zip((body["right_mm_per_m"], body["up_mm_per_m"]), TURNS, strict=True)
        told = " and ".join(f"{abs(v):.1f} mm/m {w[0] if v >= 0 else w[1]}" for v, w in each)
        passed = body.get("beyond") or []
        return ", beyond ".join([f"own setting: {told}", *(str(code).replace("_", " ") for code in passed)])
    left = {k: v for k, v in body.items() if k not in ("chainage_m", "time")}
    return ", ".join(f"{k} {v:.6g}" if isinstance(v, float) else f"{k} {v}" for k, v in sorted(left.items()))
