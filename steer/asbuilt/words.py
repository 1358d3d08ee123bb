"""Figures in words, for page and report: directions spelled out, digits that the uncertainty earns."""

from __future__ import annotations

import math

from steer.asbuilt.joints import Joints
from steer.asbuilt.lie import Difference
from steer.asbuilt.record import AsBuilt, Eye
from steer.asbuilt.string import KINK, Force
from steer.asbuilt.tolerances import arrived
from steer.asbuilt.totals import Counted, Figures
from steer.estimate.possible import Jump
from steer.log import Event
from steer.pipes import AFTER_A_STOP, LimitReached, Stretch
from steer.text import chance, figure, within

SIDES = (("right", "left"), ("high", "low"))
PLANES = ("line", "level")
TURNS = (("right", "left"), ("up", "down"))
UPPER = "with 97.5 % probability"
CAUTION = (
    "This record states an estimate from the readings and surveys in the log; it replaces no survey. "
    "It advises and moves nothing. The project specification, the pipe manufacturer's data, local codes "
    "and licensed practice decide."
)
FORCE_CAUTION = (
    "Permissible forces assume that packer stress grows linearly towards the closed edge. Packers that have "
    "carried load before carry more at the edge (Steinzeug Information 2004, p. 34): the figure is NOT on "
    "the safe side for a used packer. A restart after a stop of some hours needs 20 to 40 % more force "
    "(V. Chu, A Self-Learning Manual, p. 328)."
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
    """A shot that waits does not count, here either: its verdict must not look settled."""
    waiting = sorted({d.shot for d in record.doubts if d.waits})
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


def grade(mm_per_m: float) -> str:
    """`5.02 mm/m rising`."""
    if abs(mm_per_m) < 0.005:
        return "level"
    return f"{abs(mm_per_m):.2f} mm/m {'rising' if mm_per_m > 0 else 'falling'}"


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
        f"{abs(found.least_fall_mm_per_m):.2f} "
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


def joint_lines(record: AsBuilt) -> list[str]:
    """Angles and gaps."""
    joints = record.joints
    if joints.worst is None:
        return ["No joint between pipes has entered the ground yet."]
    along, at = joints.along, joints.worst
    high = joints.worst_high_mm_per_m
    wide = record.file.pipe.outer_diameter_mm / 1000.0
    lines = [
        f"Largest joint angle so far {along.angle_mm_per_m[at]:.1f} mm/m at {along.chainage_m[at]:.1f} m "
        f"(gap {along.gap_mm[at]:.1f} mm), {UPPER} below {_up(high)} mm/m ({_up(high * wide)} mm); "
        f"allowed {joints.limit_mm_per_m:g} mm/m."
    ]
    ahead = joints.worst_ahead
    if ahead is not None and along.angle_mm_per_m[ahead] > along.angle_mm_per_m[at]:
        lines.append(
            f"Still to be passed: {along.angle_mm_per_m[ahead]:.1f} mm/m at {along.chainage_m[ahead]:.1f} m "
            f"({UPPER} below {_up(float(joints.high_mm_per_m[ahead]))})."
        )
    lines += _over_angle(joints)
    if joints.jumps:
        lines.append(f"The bore turned suddenly at {_turns(joints.jumps)}.")
    return lines


def _over_angle(joints: Joints) -> list[str]:
    lines = []
    if joints.over_limit_m > 0:
        lines.append(f"OVER the allowed angle along {joints.over_limit_m:.1f} m of the drive.")
    if joints.may_be_over_m > 0:
        more = " a further" if joints.over_limit_m > 0 else ""
        lines.append(f"MAY BE OVER the allowed angle along{more} {joints.may_be_over_m:.1f} m.")
    return lines


def _turns(jumps: tuple[Jump, ...]) -> str:
    """`29.5 m (4.6 mm/m right), 96.9 m (3.4 mm/m right and 1.5 mm/m up)`: both planes of one place together."""
    places: dict[float, list[str]] = {}
    for jump in sorted(jumps, key=lambda j: (j.chainage_m, j.plane)):
        way = TURNS[jump.plane][jump.size_mm_per_m < 0]
        places.setdefault(jump.chainage_m, []).append(f"{abs(jump.size_mm_per_m):.1f} mm/m {way}")
    told = [f"{at:.1f} m ({' and '.join(each)})" for at, each in places.items()]
    return ", ".join(told[:6]) + (f" and {len(told) - 6} more" if len(told) > 6 else "")


def _up(value: float) -> str:
    """An upper limit to one decimal, rounded up."""
    return f"{math.ceil(10.0 * value - 1e-6) / 10.0:.1f}"


def survey_lines(record: AsBuilt) -> list[str]:
    """How many check shots there are and how they fit, and how laid pipes lie to the machine's path."""
    kinds = [s.verdict for s in record.surveys]
    if not kinds:
        return ["NO check survey: the line rests on the reference alone."]
    said = [f"{len(kinds)} check shots" if len(kinds) != 1 else "1 check shot"]
    for kind, word in (("disagrees", "DISAGREE"), ("waiting", "WAIT for a word"), ("rejected", "rejected"),
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


def force_lines(record: AsBuilt) -> list[str]:
    """Used and permissible force, friction, forecast, limits."""
    if len(record.force.used) == 0:
        return ["No jacking force was recorded."]
    return [
        *_margin_lines(record),
        *_friction_lines(record.force),
        *_forecast_lines(record),
        *(_limit_line(limit, record) for limit in _limits(record.force)),
    ]


def force_in_short(record: AsBuilt) -> list[str]:
    """The same without friction, and of the limits only those that are or may be reached."""
    if len(record.force.used) == 0:
        return ["No jacking force was recorded."]
    near = [limit for limit in _limits(record.force) if limit.measured_m or limit.earliest_m]
    return [
        *_margin_lines(record),
        *_forecast_lines(record),
        *(_limit_line(limit, record) for limit in near),
    ]


def over_limits(record: AsBuilt) -> list[str]:
    """Every line that says a limit is or may be exceeded, or the machine arrived outside the eye.

    Where a page has room for few lines, these stay. Empty when there is none; whether the tolerance is kept
    along the drive is `overall`'s to say.
    """
    lines = []
    if record.eye is not None and record.eye.verdict == "outside":
        lines.append(f"OUTSIDE THE RECEPTION EYE, {eye(record.eye)}.")
    lines += [*_over_force(record.force), *_over_angle(record.joints)]
    passed = [x for x in _limits(record.force) if x.measured_m is not None and x.name != KINK]
    return lines + [_limit_line(limit, record) for limit in passed]


def _margin_lines(record: AsBuilt) -> list[str]:
    force = record.force
    top = int(force.used.largest_kn.argmax())
    lines = [
        f"Largest jacking force {force.used.largest_kn[top]:.0f} kN with the face at "
        f"{force.used.largest_at_m[top]:.1f} m."
    ]
    least = force.least_margin
    if force.permissible_kn is None or force.ring is None or least is None:
        return [*lines, "No packer keys in drive.toml: permissible force at the joints is not worked out."]
    share = 100 * force.permissible_kn[least] / force.ring.straight_kn
    lines.append(
        f"Least margin at {force.used.chainage_m[least]:.1f} m: {force.used.largest_kn[least]:.0f} kN "
        f"used, {force.permissible_kn[least]:.0f} kN permissible at the worst joint by then "
        f"({share:.0f} % of the straight joint's {force.ring.straight_kn:.0f} kN){_at_least(force, least)}."
    )
    if record.joints.worst is not None and not arrived(record.file, record.face_m):
        worst = float(record.joints.along.angle_mm_per_m[record.joints.worst])
        now, then = (float(force.ring.permissible_kn(worst + extra)) for extra in (0.0, 1.0))
        lines.append(
            f"A joint kinked 1 mm/m more than the sharpest would leave {then:.0f} kN of these {now:.0f} kN."
        )
    return lines + _over_force(force)


def _over_force(force: Force) -> list[str]:
    lines = []
    if force.exceeded:
        lines.append(f"PERMISSIBLE FORCE EXCEEDED in {_strokes(force, force.exceeded, '')}.")
    if force.may_exceed:
        further = "further " if force.exceeded else ""
        lines.append(
            f"PERMISSIBLE FORCE MAY HAVE BEEN EXCEEDED in {_strokes(force, force.may_exceed, further)}: "
            "above it at the upper limit of the angles."
        )
    return lines


def _strokes(force: Force, which: tuple[int, ...], further: str) -> str:
    """`3 strokes (ending at 26.0, 27.0, 28.0 m)`."""
    where = ", ".join(f"{force.used.chainage_m[i]:.1f}" for i in which[:6])
    more = " …" if len(which) > 6 else ""
    return f"{len(which)} {further}stroke{'s' if len(which) > 1 else ''} (ending at {where} m{more})"


def _friction_lines(force: Force) -> list[str]:
    lines = [f"Friction {p.from_m:.0f} to {p.to_m:.0f} m: {friction(p)}." for p in force.stretches]
    if force.stretches:
        lines.append("Usual on the pipe surface: 5 to 25 kPa, well lubricated down to 1 kPa.")
    if force.face_kn is not None:
        lines.append(f"The face takes up {force.face_kn:.0f} kN (pressure times area).")
    elif force.stretches:
        lines.append("Face pressure was not recorded: the face's share is in the force as a constant.")
    return lines


def _forecast_lines(record: AsBuilt) -> list[str]:
    ahead = record.force.forecast
    if ahead is None or arrived(record.file, record.face_m):
        return []
    return [
        f"Forecast at the reception shaft {ahead.force_kn[-1]:.0f} kN "
        f"({ahead.low_kn[-1]:.0f} to {ahead.high_kn[-1]:.0f}), if ground and lubrication stay "
        f"as they are; up to {AFTER_A_STOP * ahead.high_kn[-1]:.0f} kN for a restart after a stop of some hours."
    ]


def _limits(force: Force) -> list[LimitReached]:
    """Those to speak of: a limit of the worst joint only where it is or may be reached."""
    return [
        limit
        for limit in force.limits
        if limit.name != KINK or limit.earliest_m is not None or limit.restart_m is not None
    ]


def _limit_line(limit: LimitReached, record: AsBuilt) -> str:
    return f"Limit of {limit.name}, {limit.limit_kn:.0f} kN: {_reached(limit, record)}"


def _at_least(force: Force, at: int) -> str:
    """What the worst joint carries at the upper limit of its angle, rounded down to 10 kN."""
    if force.permissible_low_kn is None:
        return ""
    return f", {UPPER} at least {math.floor(force.permissible_low_kn[at] / 10.0) * 10:.0f} kN"


def event_text(event: Event) -> str:
    """What was entered, as a person would say it; the log keeps it to the letter."""
    body = event.body
    if event.kind == "note":
        return str(body.get("text", ""))
    if event.kind == "overridden":
        each = zip(
            (body["right_mm_per_m"], body["up_mm_per_m"]), (("right", "left"), ("up", "down")), strict=True
        )
        told = " and ".join(f"{abs(v):.1f} mm/m {w[0] if v >= 0 else w[1]}" for v, w in each)
        return f"own setting: {told}"
    left = {k: v for k, v in body.items() if k not in ("chainage_m", "time")}
    return ", ".join(f"{k} {v:.6g}" if isinstance(v, float) else f"{k} {v}" for k, v in sorted(left.items()))


def friction(part: Stretch) -> str:
    """`2.5 kPa (2.4 to 2.6)`, the interval holding 95 %."""
    digits = 2 if part.friction_high_kpa - part.friction_low_kpa < 0.2 else 1
    low, high = (f"{v:.{digits}f}" for v in (part.friction_low_kpa, part.friction_high_kpa))
    return f"{part.friction_kpa:.{digits}f} kPa ({low} to {high})"


def _reached(limit: LimitReached, record: AsBuilt) -> str:
    if limit.measured_m is not None:
        return f"PASSED at {limit.measured_m:.1f} m."
    if arrived(record.file, record.face_m):
        return "not reached."
    restart = (
        ""
        if limit.restart_m is None
        else f" A restart after a stop of some hours could reach it from {limit.restart_m:.0f} m on."
    )
    station = f"an intermediate jacking station must be in the string before then.{restart}"
    if limit.expected_m is not None and limit.earliest_m is not None:
        return f"expected at {limit.expected_m:.0f} m, at the earliest {limit.earliest_m:.0f} m: {station}"
    if limit.earliest_m is not None:
        return f"not expected before the end, but possible from {limit.earliest_m:.0f} m on: {station}"
    return f"not reached before the end by this forecast.{restart}"
