"""Estimate, correction, forecast and reason for the next stroke, put together."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from steer.advice import Advice, Correction, FaceEstimate, ForecastPoint, Notice
from steer.correct.bound import bound_by, cut_short
from steer.correct.either_way import in_doubt
from steer.correct.force_over import force_over
from steer.correct.forecast import at_reception, eye_probability, points, steered_sd, taken_hold_m
from steer.correct.gave_way import gave_way
from steer.correct.outlook import Outlook, Spread, look_ahead
from steer.correct.path_limits import joint_rows, own_bends, tolerance_rows
from steer.correct.programme import Limits, Plan, SoftRows, solve
from steer.correct.reason import say_why
from steer.correct.settings import Chosen, choose, settled, step_range
from steer.drivefile import DriveFile
from steer.estimate.estimator import Estimator
from steer.estimate.motion import C, D, G, H, T, Y
from steer.estimate.nodes import Node
from steer.machine.cylinders import extension_rows
from steer.pipes.cost import KinkCost, kink_cost
from steer.pipes.ring import RingJoint

HORIZON_LENGTHS, HORIZON_LAGS = 3.0, 2.0  # to where the effect of the next setting has played out
MOST_STROKES = 30
# Cylinders that read so near to a setting stand at it: less than a step away, and more than reading noise
_NEAR_MM, _NEAR_STEPS = 0.6, 0.75
STEP_ROOM = 0.02  # share of the change per stroke that is left to rounding to whole steps
PER_LAG = 0.2
RETURN_LENGTHS, RETURN_STROKES = 0.36, 0.68
NEAR_HOLDS = (
    1.25  # tolerance is said to give way within so many times the distance in which a setting takes hold
)
HOLD_MM = 2.0  # a change is worth making when it saves this much offset (root mean square) on the way


@dataclass(frozen=True)
class Steering:
    """How firmly to steer. `return_m` is the distance over which the path returns to line where the
    ground answers at once; `per_lag` of the distance by which it answers late is added to it."""

    return_m: float
    per_lag: float = PER_LAG
    hold_mm: float = HOLD_MM

    def distance(self, lag_m: float) -> float:
        """The distance of return for a ground that answers `lag_m` late."""
        return self.return_m + self.per_lag * lag_m


def steering_of(drive: DriveFile) -> Steering:
    """From [steering] in drive.toml, or from the machine's length and stroke."""
    length = drive.machine.front_length_m + drive.machine.rear_length_m
    firm = {"gentle": 1.4, "normal": 1.0, "firm": 0.8}[drive.steering.firmness]
    return_m = firm * (RETURN_LENGTHS * length + RETURN_STROKES * drive.drive.stroke_m)
    given, hold_mm = drive.steering.return_over_m, drive.steering.hold_mm
    return Steering(return_m if given is None else given, PER_LAG, HOLD_MM if hold_mm is None else hold_mm)


def limits_of(
    drive: DriveFile, roll_deg: float, now: np.ndarray, advised: np.ndarray | None = None
) -> tuple[Limits, np.ndarray, np.ndarray]:
    """The machine's limits at this roll for the programme, and the box, low and high (2,), that the
    change per stroke leaves: from what stands, `now` (2,), and from what was `advised` (2,) before
    where both can be kept."""
    m = drive.machine
    cyl = m.cylinders
    rows = extension_rows(roll_deg, cyl)
    low, high = now - m.max_change_mm_per_m, now + m.max_change_mm_per_m
    if advised is not None and np.isfinite(advised).all():
        both_low = np.maximum(low, advised - m.max_change_mm_per_m)
        both_high = np.minimum(high, advised + m.max_change_mm_per_m)
        apart = both_low < both_high
        low, high = np.where(apart, both_low, low), np.where(apart, both_high, high)
    least, most = step_range(m)
    room = np.minimum(STEP_ROOM * m.max_change_mm_per_m, 0.25 * (high - low))
    limits = Limits(
        most=m.max_articulation_mm_per_m,
        change=(1.0 - STEP_ROOM) * m.max_change_mm_per_m,
        rows=rows,
        low=np.full(len(rows), least - cyl.neutral_mm),
        high=np.full(len(rows), most - cyl.neutral_mm),
        first_low=low + room,
        first_high=high - room,
    )
    return limits, low, high


def face_estimate(node: Node) -> FaceEstimate:
    """The face from the estimator's state: heading = T + H·A."""
    a = node.articulation
    x, p = node.blend()
    heading = x[:, T] + x[:, H] * a
    row = np.zeros_like(x)
    row[:, T], row[:, H] = 1.0, a
    heading_sd = np.sqrt(np.einsum("bi,bij,bj->b", row, p, row))
    sd = np.sqrt(p[:, Y, Y])
    return FaceEstimate(
        float(x[0, Y]), float(sd[0]), float(x[1, Y]), float(sd[1]),
        float(heading[0]), float(heading_sd[0]), float(heading[1]), float(heading_sd[1]),
    )  # fmt: skip


def driven_path(estimator: Estimator, node: Node, back_m: float) -> tuple[np.ndarray, np.ndarray]:
    """The path behind the face without the jumps of late news: the present offset less what the
    direction of travel adds up to. Chainages (k,) ascending, offsets (k, 2)."""
    s, direction = [node.s_m], [_direction(node)]
    for earlier in reversed(estimator.nodes):
        if earlier.s_m < node.s_m - 1e-9:
            s.append(earlier.s_m)
            direction.append(_direction(earlier))
            if earlier.s_m < node.s_m - back_m:
                break
    at, way = np.array(s[::-1]), np.array(direction[::-1])
    if len(at) == 1:
        return at, node.blend()[0][None, :, Y]
    steps = 0.5 * (way[1:] + way[:-1]) * np.diff(at)[:, None]
    offsets = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, 0)])
    return at, offsets - offsets[-1] + node.blend()[0][:, Y]


def _direction(node: Node) -> np.ndarray:
    x, _ = node.blend()
    found: np.ndarray = x[:, T] + x[:, D] * node.articulation + x[:, C]
    return found


@dataclass(frozen=True)
class Proposal:
    """What `propose` found: outlook, plan, whole steps, forecasts (2, n) with and without; `now` (2,) is
    the articulation as it stands, `driven_m` (k,) and `driven_mm` (k, 2) the path behind the face; `bound`
    says which limit makes it hold, `cut` which one makes the change less than wanted; empty where none does."""

    outlook: Outlook
    plan: Plan
    chosen: Chosen
    hold: bool
    with_mm: np.ndarray
    without_mm: np.ndarray
    with_sd: np.ndarray
    without_sd: np.ndarray
    articulation: np.ndarray
    now: np.ndarray
    given_way: tuple[str, ...]
    driven_m: np.ndarray
    driven_mm: np.ndarray
    bound: str = ""
    cut: str = ""


def propose(
    drive: DriveFile,
    estimator: Estimator,
    node: Node,
    now_mm: np.ndarray | None,
    roll_deg: float,
    steering: Steering | None = None,
    advised: np.ndarray | None = None,
    told_mm: np.ndarray | None = None,
    own: Chosen | None = None,
) -> Proposal:
    """The correction from `node`; `now_mm` (N,) are the cylinders as they stand, None when unknown;
    `advised` (2,) is the articulation advised a stroke before, `told_mm` (N,) the setting that was
    advised, accepted or chosen last. `own` is a setting of the crew's own for the coming stroke: it is taken as
    it is, and what follows it is planned.
    """
    steering = steering or steering_of(drive)
    stroke = drive.drive.stroke_m
    length = drive.machine.front_length_m + drive.machine.rear_length_m
    lag_m = float(node.weights @ (estimator.stack.motion.lag_m + estimator.stack.motion.delay_m))
    reach_m = HORIZON_LENGTHS * length + HORIZON_LAGS * lag_m
    n = int(min(max(math.ceil(reach_m / stroke), 6), MOST_STROKES))
    roll_deg = roll_deg if math.isfinite(roll_deg) else 0.0
    now = node.articulation if now_mm is None else settled(drive.machine, now_mm, roll_deg)
    if not np.isfinite(now).all():
        now, now_mm = node.articulation, None
    plain = look_ahead(node, drive.axis, estimator.stack.motion, stroke, n)
    outlook = in_doubt(plain, node, estimator, drive.axis)
    limits, low, high = limits_of(drive, roll_deg, now, advised)
    if own is not None:
        limits = replace(limits, first_low=own.articulation, first_high=own.articulation)
    return_m = steering.distance(lag_m)
    held = np.repeat(now[:, None], n, 1)
    spread = Spread(node, estimator.stack.motion, plain)
    without_sd = spread.sd(held, now)
    driven_m, driven_mm = driven_path(estimator, node, 2 * drive.pipe.length_m + 1.0)
    joint_bend = _joint_bend(drive, outlook)
    joints = joint_rows(
        outlook, driven_m, driven_mm, joint_bend,
        drive.pipe.length_m, drive.pipe.max_joint_angle_mm_per_m,
    )  # fmt: skip
    tolerance = np.array([drive.tolerance.line_mm, drive.tolerance.level_mm])
    room = tolerance_rows(outlook, tolerance, without_sd)
    bends = own_bends(joints, joint_bend, drive.pipe.length_m)
    design = _design(node, outlook)

    def solve_with(limits: Limits, joints: SoftRows) -> Plan:
        return solve(outlook, now, return_m, limits, joints, room, design, bends)

    plan = solve_with(limits, joints)
    chosen = own or choose(drive.machine, roll_deg, plan.best, plan.hessian, now_mm, low, high)
    if own is None and advised is not None and chosen.change_over + chosen.most_over > 0.0:
        # no whole step keeps both: the change from what really stands is the limit
        _, low, high = limits_of(drive, roll_deg, now)
        chosen = choose(drive.machine, roll_deg, plan.best, plan.hessian, now_mm, low, high)
    hold, bound = False, ""
    if own is None and now_mm is not None:
        stands_mm = _set_to(drive, now_mm, told_mm)
        stands = settled(drive.machine, stands_mm, roll_deg)
        off = stands - plan.best
        saved = 0.5 * float(off @ plan.hessian @ off) - chosen.cost
        worth = steering.hold_mm**2 * stroke * n
        may = _may_stay(drive, stands, stands_mm, low, high) and _stands_at(drive, stands_mm, now_mm)
        if may and not plan.given_way and saved < worth:
            chosen = Chosen(stands_mm, stands, saved)
        hold = bool(may and np.abs(chosen.cylinder_mm - stands_mm).max() < 1e-9)
        if hold:
            bound = bound_by(drive, limits, joints, stands, plan, solve_with, worth)
    cut = "" if hold or own is not None or plan.given_way else cut_short(drive, limits, now, advised, plan)
    articulation = plan.articulation.copy()
    articulation[:, 0] = chosen.articulation
    with_mm, without_mm = outlook.offsets(articulation), outlook.offsets(held)
    with_sd = steered_sd(spread.sd(articulation, now), node, estimator.stack.motion, stroke, return_m)
    near = int(np.ceil(NEAR_HOLDS * taken_hold_m(node, estimator.stack.motion, return_m) / stroke))
    given = gave_way(
        drive, now, now_mm, chosen, plan, joints, outlook.chainage_m, with_mm, outlook.now_mm, near
    )
    return Proposal(
        outlook, plan, chosen, hold, with_mm, without_mm, with_sd, without_sd, articulation, now,
        tuple(given), driven_m, driven_mm, bound, cut,
    )  # fmt: skip


def _stands_at(drive: DriveFile, setting_mm: np.ndarray, now_mm: np.ndarray) -> bool:
    near = max(_NEAR_MM, _NEAR_STEPS * drive.machine.cylinders.step_mm)
    return bool(np.abs(setting_mm - now_mm).max() <= near)


def _set_to(drive: DriveFile, now_mm: np.ndarray, told_mm: np.ndarray | None) -> np.ndarray:
    """The whole steps (N,) that the cylinders were set to: what was told where they read near it (setting
    and reading are a few tenths of a millimetre rough), else the nearest whole steps. An own setting that
    changed nothing tells of readings, not of whole steps."""
    step = drive.machine.cylinders.step_mm
    if told_mm is not None and told_mm.shape == now_mm.shape and _stands_at(drive, told_mm, now_mm):
        whole = np.round(told_mm / step) * step
        if np.abs(told_mm - whole).max() < 1e-6:
            return np.asarray(told_mm, float)
    found: np.ndarray = np.clip(np.round(now_mm / step) * step, *step_range(drive.machine))
    return found


def _may_stay(drive: DriveFile, made: np.ndarray, mm: np.ndarray, low: np.ndarray, high: np.ndarray) -> bool:
    """Whether a setting (N,) mm that makes `made` (2,) keeps every limit and stands on whole steps."""
    cyl = drive.machine.cylinders
    least, most = cyl.range_mm
    return bool(
        (made >= low).all()
        and (made <= high).all()
        and np.hypot(*made) <= drive.machine.max_articulation_mm_per_m
        and mm.min() >= least - 1e-9
        and mm.max() <= most + 1e-9
        and np.abs(mm / cyl.step_mm - np.round(mm / cyl.step_mm)).max() < 1e-6
    )


def _design(node: Node, outlook: Outlook) -> np.ndarray:
    """The articulation (2, n) that the design axis itself asks for, by the estimated gain."""
    per = outlook.steps
    bend = np.add.reduceat(outlook.turn, np.arange(0, outlook.turn.shape[1], per), axis=1)
    found: np.ndarray = bend / outlook.stroke_m / np.maximum(node.blend()[0][:, G], 0.02)[:, None]
    return found


def _joint_bend(drive: DriveFile, outlook: Outlook) -> np.ndarray:
    """The design axis's own joint angle (2, n), mm/m: change of direction between two pipes in a row."""
    p = drive.pipe.length_m
    s = outlook.chainage_m
    ahead, behind = drive.axis.at(s - 0.5 * p), drive.axis.at(s - 1.5 * p)
    return np.stack(
        [
            1000.0 * (np.asarray(ahead.bearing_rad) - np.asarray(behind.bearing_rad)),
            np.asarray(ahead.grade_mm_per_m) - np.asarray(behind.grade_mm_per_m),
        ]
    )


def make_advice(
    drive: DriveFile,
    estimator: Estimator,
    node: Node,
    stroke: int,
    now_mm: np.ndarray | None,
    roll_deg: float,
    notices: tuple[Notice, ...],
    *,
    opposite: bool = False,
    trusted: bool = True,
    next_survey_m: float | None = None,
    advised: np.ndarray | None = None,
    told_mm: np.ndarray | None = None,
    force: tuple[float, float] | None = None,
) -> Advice:
    """The whole answer at the end of a stroke; `advised` and `told_mm` as `propose` takes them, `force` the
    largest jacking force of the last stroke (kN) and its chainage (m)."""
    found = propose(drive, estimator, node, now_mm, roll_deg, advised=advised, told_mm=told_mm)
    if found.given_way:
        text = "; ".join(found.given_way)
        text = f"{text[0].upper()}{text[1:]}.{' This setting breaks it least.' if trusted else ''}"
        notices = (*notices, Notice("limit_gave_way", text, float(node.s_m)))
    cost = kink(drive, found)
    if force is not None:
        notices = (
            *notices,
            *force_over(drive, *force, cost if trusted else None),
        )  # nothing is steered by it else
    estimate = face_estimate(node)
    chosen, now = found.chosen, found.now
    end_m = drive.axis.end_chainage_m
    face = at_face(node, estimate)
    forecast = points(found.outlook, found.with_mm, found.with_sd, end_m, face)
    foreseen = np.array([(p.chainage_m, p.line_mm, p.level_mm) for p in forecast]).reshape(-1, 3).T
    arrival = at_reception(node, forecast, face, end_m) if trusted else None
    return Advice(
        stroke=stroke,
        chainage_m=float(node.s_m),
        estimate=estimate,
        correction=Correction(
            float(chosen.articulation[0]), float(chosen.articulation[1]),
            tuple(float(v) for v in chosen.cylinder_mm), found.hold,
        ),
        forecast=forecast,
        notices=notices,
        reason=say_why(
            estimate, now, found.articulation, found.hold, foreseen[0], foreseen[1:], opposite,
            found.bound, (drive.tolerance.line_mm, drive.tolerance.level_mm), found.cut,
        ),
        forecast_unchanged=points(found.outlook, found.without_mm, found.without_sd, end_m, face),
        cylinder_now_mm=None if now_mm is None else tuple(float(v) for v in now_mm),
        now_right_mm_per_m=float(now[0]),
        now_up_mm_per_m=float(now[1]),
        roll_deg=roll_deg,
        eye_probability=eye_probability(drive, arrival),
        at_reception=arrival,
        joint=joint_words(cost),
        joint_mm_per_m=None if cost is None else cost.angle_mm_per_m,
        trusted=trusted,
        next_survey_m=next_survey_m,
    )  # fmt: skip


def at_face(node: Node, estimate: FaceEstimate) -> ForecastPoint:
    """Where every forecast begins."""
    e = estimate
    return ForecastPoint(float(node.s_m), e.line_mm, e.line_sd_mm, e.level_mm, e.level_sd_mm)


def kink(drive: DriveFile, found: Proposal) -> KinkCost | None:
    """What the path ahead asks of the joints; None when it is too short to tell."""
    return kink_cost(
        drive.axis, RingJoint.of(drive.pipe), drive.pipe.length_m, found.driven_m, found.driven_mm,
        found.outlook.chainage_m, found.with_mm.T,
    )  # fmt: skip


def joint_words(cost: KinkCost | None) -> str:
    """What the path ahead asks of the joints in one line, with the force (kN) that they then may carry: a share would
    read as if it were used up. Empty where it is too short to tell."""
    if cost is None:
        return ""
    bear = "" if cost.permissible_kn is None else f", bear {cost.permissible_kn:.0f} kN"
    return f"joints ahead turn {cost.angle_mm_per_m:.1f} mm/m{bear}"
