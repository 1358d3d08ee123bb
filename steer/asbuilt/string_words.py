"""What the string suffered, in words: joint angles, jacking force, friction, limits."""

from __future__ import annotations

import math
from collections.abc import Callable

from steer.asbuilt import words
from steer.asbuilt.joints import Joints
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.string import KINK, Force
from steer.asbuilt.tolerances import arrived
from steer.estimate.possible import Jump
from steer.pipes import AFTER_A_STOP, LimitReached, Stretch
from steer.text import TURNS

UPPER = "with 97.5 % probability"
FORCE_CAUTION = (
    "Permissible forces assume that packer stress grows linearly towards the closed edge. Packers that have "
    "carried load before carry more at the edge (Steinzeug Information 2004, p. 34): the figure is NOT on "
    "the safe side for a used packer. A restart after a stop of some hours needs 20 to 40 % more force "
    "(V. Chu, A Self-Learning Manual, p. 328)."
)


def joint_lines(record: AsBuilt) -> list[str]:
    """Angles and gaps."""
    joints = record.joints
    if joints.worst is None:
        return ["No joint between pipes has entered the ground yet."]
    along, at = joints.along, joints.worst
    high = joints.worst_high_mm_per_m
    wide = record.file.pipe.outer_diameter_mm / 1000.0
    lines = [
        f"Largest joint angle passed so far {along.angle_mm_per_m[at]:.1f} mm/m at {along.chainage_m[at]:.1f} m "
        f"(gap {along.gap_mm[at]:.1f} mm), {UPPER} below {_up(high)} mm/m ({_up(high * wide)} mm); "
        f"allowed {joints.limit_mm_per_m:g} mm/m."
    ]
    ahead = _sharper_ahead(joints)
    if ahead is not None:
        sharpest, most = float(along.angle_mm_per_m[ahead]), float(joints.high_mm_per_m[ahead])
        line = f"Still to be passed: {sharpest:.1f} mm/m at {along.chainage_m[ahead]:.1f} m ({UPPER} below {_up(most)})."
        if (ring := record.force.ring) is not None:
            line += (
                f" A joint may carry {permissible(float(ring.permissible_kn(sharpest)))} kN there, "
                f"{permissible(float(ring.permissible_kn(most)))} kN at the upper limit: not among the force's limits."
            )
        lines.append(line)
    lines += _over_angle(joints)
    if joints.jumps:
        lines.append(f"The bore turned suddenly at {_turns(joints.jumps)}.")
    return lines


def joints_in_short(record: AsBuilt) -> list[str]:
    """The largest angle that joints have passed, and the sharper one that they have yet to pass."""
    joints = record.joints
    ahead = _sharper_ahead(joints)
    if joints.worst is None or ahead is None:
        return joint_lines(record)[:1]

    along, high, most = joints.along, joints.worst_high_mm_per_m, float(joints.high_mm_per_m[ahead])
    passed, to_pass = (
        f"{along.angle_mm_per_m[at]:.1f} mm/m at {along.chainage_m[at]:.1f} m" for at in (joints.worst, ahead)
    )
    return [
        f"Largest joint angle passed so far {passed}, still to be passed {to_pass}; 97.5 % sure to be below "
        f"{_up(high)} and {_up(most)}; allowed {joints.limit_mm_per_m:g} mm/m."
    ]


def _sharper_ahead(joints: Joints) -> int | None:
    """Where joints have yet to pass a sharper place than any so far; None where there is none."""
    angle, at, ahead = joints.along.angle_mm_per_m, joints.worst, joints.worst_ahead
    return ahead if at is not None and ahead is not None and angle[ahead] > angle[at] else None


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


def force_lines(record: AsBuilt) -> list[str]:
    """Used and permissible force, forecast, limits, friction."""
    if len(record.force.used) == 0:
        return ["No jacking force was recorded."]
    return [
        *_margin_lines(record),
        *_forecast_lines(record),
        *(_limit_line(limit, record) for limit in _limits(record.force)),
        *_friction_lines(record.force),
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
        lines.append(f"OUTSIDE THE RECEPTION EYE, {words.eye(record.eye)}.")
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
        f"used, {permissible(force.permissible_kn[least])} kN permissible at the worst joint by then "
        f"({share:.0f} % of the straight joint's {_rounded(force.ring.straight_kn, 10.0)} kN){_at_least(force, least)}."
    )
    if record.joints.worst is not None and not arrived(record.file, record.face_m):
        worst = float(record.joints.along.angle_mm_per_m[record.joints.worst])
        now, then = (float(force.ring.permissible_kn(worst + extra)) for extra in (0.0, 1.0))
        lines.append(
            f"A joint kinked 1 mm/m more than the sharpest would leave {permissible(then)} kN of "
            f"{permissible(now)} kN."
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


def permissible(kn: float) -> str:
    """A joint's permissible force in two figures, rounded down: its angle earns no more."""
    return _rounded(kn, 10.0 ** (math.floor(math.log10(kn)) - 1) if kn > 0.0 else 1.0, math.floor)


def _rounded(value: float, step: float, way: Callable[[float], float] = round) -> str:
    return f"{step * way(value / step):.0f}"


def _friction_lines(force: Force) -> list[str]:
    lines = [f"Friction {p.from_m:.0f} to {p.to_m:.0f} m: {friction(p)}." for p in force.stretches]
    if force.stretches:
        lines.append("Usual on the pipe surface: 5 to 25 kPa, well lubricated down to 1 kPa.")
    if force.face_kn is not None:
        lines.append(f"The face takes up {force.face_kn:.0f} kN (pressure times area).")
    elif force.stretches:
        lines.append("Face pressure was not recorded: the face's share is in the force as a constant.")
    return lines


def friction(part: Stretch) -> str:
    """`2.5 kPa (2.4 to 2.6)`, the interval holding 95 %."""
    digits = 2 if part.friction_high_kpa - part.friction_low_kpa < 0.2 else 1
    low, high = (f"{v:.{digits}f}" for v in (part.friction_low_kpa, part.friction_high_kpa))
    return f"{part.friction_kpa:.{digits}f} kPa ({low} to {high})"


def _forecast_lines(record: AsBuilt) -> list[str]:
    ahead = record.force.forecast
    if ahead is None or arrived(record.file, record.face_m):
        return []
    low, high = float(ahead.low_kn[-1]), float(ahead.high_kn[-1])
    step = 10.0 ** math.floor(math.log10(max(high - low, 1.0)))
    return [
        f"Forecast at the reception shaft {_rounded(float(ahead.force_kn[-1]), step)} kN "
        f"({_rounded(low, step, math.floor)} to {_rounded(high, step, math.ceil)}), if ground and lubrication "
        f"stay as they are; up to {_rounded(AFTER_A_STOP * high, 100.0, math.ceil)} kN for a restart after a "
        "stop of some hours."
    ]


def _limits(force: Force) -> list[LimitReached]:
    """Those to speak of: a limit of the worst joint only where it is or may be reached."""
    return [
        limit
        for limit in force.limits
        if limit.name != KINK or limit.earliest_m is not None or limit.restart_m is not None
    ]


def _limit_line(limit: LimitReached, record: AsBuilt) -> str:
    size = permissible(limit.limit_kn) if limit.name == KINK else f"{limit.limit_kn:.0f}"
    return f"Limit of {limit.name}, {size} kN: {_reached(limit, record)}"


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


def _at_least(force: Force, at: int) -> str:
    """What the worst joint carries at the upper limit of its angle."""
    if force.permissible_low_kn is None:
        return ""
    return f", {UPPER} at least {permissible(force.permissible_low_kn[at])} kN"
