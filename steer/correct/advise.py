"""Estimate, correction, forecast and reason for the next stroke, put together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from steer.advice import Advice, Correction, FaceEstimate, ForecastPoint, Notice
from steer.correct.outlook import Outlook, forecast_sd, look_ahead
from steer.correct.path_limits import joint_rows, tolerance_rows
from steer.correct.programme import Limits, Plan, solve
from steer.correct.reason import say_why
from steer.correct.settings import Chosen, choose, settled
from steer.drivefile import DriveFile
from steer.estimate.estimator import Estimator, Node
from steer.estimate.motion import C, D, G, H, T, Y
from steer.machine.cylinders import extension_rows

HORIZON_LENGTHS = 3.0
MOST_STROKES = 24
PER_LAG = 0.2
RETURN_LENGTHS, RETURN_STROKES = 0.38, 0.72
HOLD_MM = 0.35  # a change is worth making when it saves this much offset (root mean square) on the way


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
    given = drive.steering.return_over_m
    return Steering(
        given
        if given is not None
        else firm * (RETURN_LENGTHS * length + RETURN_STROKES * drive.drive.stroke_m)
    )


def limits_of(drive: DriveFile, roll_deg: float) -> Limits:
    """The machine's limits at this roll, with room for whole cylinder steps."""
    m = drive.machine
    cyl = m.cylinders
    rows = extension_rows(roll_deg, cyl)
    return Limits(
        most=m.max_articulation_mm_per_m,
        change=m.max_change_mm_per_m * 0.98,
        rows=rows,
        low=np.full(len(rows), cyl.range_mm[0] - cyl.neutral_mm),
        high=np.full(len(rows), cyl.range_mm[1] - cyl.neutral_mm),
    )


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
    """What `propose` found: outlook, plan, whole steps, forecasts (2, n) with and without."""

    outlook: Outlook
    plan: Plan
    chosen: Chosen
    hold: bool
    with_mm: np.ndarray
    without_mm: np.ndarray
    with_sd: np.ndarray
    without_sd: np.ndarray
    articulation: np.ndarray


def propose(
    drive: DriveFile,
    estimator: Estimator,
    node: Node,
    now_mm: np.ndarray | None,
    roll_deg: float,
    steering: Steering | None = None,
    straighten: bool = False,
) -> Proposal:
    """The correction from `node`; `now_mm` (N,) are the cylinders as they stand, None when unknown.

    With `straighten` (the answer to steering cannot be trusted) the articulation goes to zero.
    """
    steering = steering or steering_of(drive)
    stroke = drive.drive.stroke_m
    length = drive.machine.front_length_m + drive.machine.rear_length_m
    n = int(min(max(math.ceil(HORIZON_LENGTHS * length / stroke), 6), MOST_STROKES))
    now = node.articulation if now_mm is None else settled(drive.machine, now_mm, roll_deg)
    outlook = look_ahead(node, drive.axis, estimator.motion, stroke, n)
    limits = limits_of(drive, roll_deg)
    held = np.repeat(now[:, None], n, 1)
    without_mm = outlook.offsets(held)
    without_sd = forecast_sd(node, estimator.motion, outlook, held)
    tolerance = np.array([drive.tolerance.line_mm, drive.tolerance.level_mm])
    per = outlook.steps
    bend = np.add.reduceat(outlook.turn, np.arange(0, outlook.turn.shape[1], per), axis=1) / stroke
    design = bend / np.maximum(node.blend()[0][:, G], 0.02)[:, None]
    joint_bend = _joint_bend(drive, outlook)
    driven_m, driven_mm = driven_path(estimator, node, 2 * drive.pipe.length_m + 1.0)
    joints = joint_rows(
        outlook, driven_m, driven_mm, joint_bend, drive.pipe.length_m, drive.pipe.max_joint_angle_mm_per_m
    )
    room = tolerance_rows(outlook, tolerance, without_sd)
    if straighten:
        goal = np.clip(0.0, now - limits.change, now + limits.change)
        plan = Plan(np.repeat(goal[:, None], n, 1), goal, np.eye(2) * 1e3)
    else:
        lag_m = float(node.weights @ estimator.motion.lag_m)
        plan = solve(outlook, now, steering.distance(lag_m), limits, joints, room, design)
    chosen = choose(
        drive.machine, roll_deg, plan.best, plan.hessian, now, now_mm, drive.machine.max_change_mm_per_m
    )
    hold = False
    off = now - plan.best
    saved = 0.5 * float(off @ plan.hessian @ off) - chosen.cost
    reach = stroke * n
    if now_mm is not None and not straighten and not plan.given_way:
        hold = saved < steering.hold_mm**2 * reach
        step = drive.machine.cylinders.step_mm
        inside = (now_mm >= drive.machine.cylinders.range_mm[0] - 1e-9).all() and (
            now_mm <= drive.machine.cylinders.range_mm[1] + 1e-9
        ).all()
        whole = np.abs(now_mm / step - np.round(now_mm / step)).max() < 1e-6
        hold = (
            hold
            and bool(inside)
            and bool(whole)
            and np.hypot(*now) <= drive.machine.max_articulation_mm_per_m
        )
        if hold:
            chosen = Chosen(now_mm.copy(), now, saved)
        elif np.abs(chosen.cylinder_mm - now_mm).max() < 1e-9:
            hold = True
    articulation = plan.articulation.copy()
    articulation[:, 0] = chosen.articulation
    return Proposal(
        outlook, plan, chosen, hold, outlook.offsets(articulation), without_mm,
        forecast_sd(node, estimator.motion, outlook, articulation), without_sd, articulation,
    )  # fmt: skip


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


def points(outlook: Outlook, mm: np.ndarray, sd: np.ndarray) -> tuple[ForecastPoint, ...]:
    """A forecast as records."""
    return tuple(
        ForecastPoint(float(s), float(a), float(da), float(b), float(db))
        for s, a, da, b, db in zip(outlook.chainage_m, mm[0], sd[0], mm[1], sd[1], strict=True)
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
    straighten: bool = False,
    trusted: bool = True,
    next_survey_m: float | None = None,
) -> Advice:
    """The whole answer at the end of a stroke."""
    proposal = propose(drive, estimator, node, now_mm, roll_deg, straighten=straighten)
    now = node.articulation if now_mm is None else settled(drive.machine, now_mm, roll_deg)
    if proposal.plan.given_way:
        which = " and ".join(proposal.plan.given_way)
        notices = (
            *notices,
            Notice(
                "limit_gave_way",
                f"Not every limit can be kept from here: {which} gives way ahead. "
                "This is the setting that breaks it least; look at the forecast.",
                float(node.s_m),
            ),
        )
    estimate = face_estimate(node)
    chosen = proposal.chosen
    return Advice(
        stroke=stroke,
        chainage_m=float(node.s_m),
        estimate=estimate,
        correction=Correction(
            float(chosen.articulation[0]), float(chosen.articulation[1]),
            tuple(float(v) for v in chosen.cylinder_mm), bool(proposal.hold),
        ),
        forecast=points(proposal.outlook, proposal.with_mm, proposal.with_sd),
        notices=notices,
        reason=say_why(estimate, now, proposal.articulation, proposal.hold, proposal.outlook.chainage_m, proposal.with_mm),
        forecast_unchanged=points(proposal.outlook, proposal.without_mm, proposal.without_sd),
        cylinder_now_mm=None if now_mm is None else tuple(float(v) for v in now_mm),
        now_right_mm_per_m=float(now[0]),
        now_up_mm_per_m=float(now[1]),
        roll_deg=roll_deg,
        trusted=trusted,
        next_survey_m=next_survey_m,
    )  # fmt: skip
