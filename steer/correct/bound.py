"""What keeps the machine from being turned further, where it is left as it stands or turned less than wanted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from steer.correct.path_limits import JOINT
from steer.correct.programme import CIRCLE, Limits, Plan, SoftRows
from steer.drivefile import DriveFile
from steer.text import PLANES, TURNS

_ACTIVE = 1e-4  # mm/m or mm by which what is planned may stay from a limit and still be at it
_SHARE = 0.4  # of the larger wanted change: from here on the other plane's is named as well


def bound_by(
    drive: DriveFile,
    limits: Limits,
    joints: SoftRows,
    now: np.ndarray,
    plan: Plan,
    solve_with: Callable[[Limits, SoftRows], Plan],
    worth: float,
) -> str:
    """The limit that holds the machine at `now` (2,), mm/m, in words; empty where none does.

    A limit is named only where the machine stands at it and where the plan of `solve_with` without it would
    turn the machine further beyond it, and would save `worth` (mm² m, the programme's cost) by that.
    """
    m = drive.machine
    step = 1000.0 * m.cylinders.step_mm / m.cylinders.circle_radius_mm  # mm/m: no whole step comes nearer
    at_most = float(np.hypot(*now)) > limits.most * np.cos(np.pi / CIRCLE) - step
    opened = limits.rows @ now
    at_end = (opened > limits.high - m.cylinders.step_mm).astype(float)  # +1 out, -1 in, 0 between
    at_end[opened < limits.low + m.cylinders.step_mm] = -1.0
    # far beyond what any machine has, and still figures that the programme can work with
    larger = replace(limits, most=1e3)
    longer = replace(limits, low=limits.low - 1e4, high=limits.high + 1e4)
    for freed, size, ends in (
        (larger, True, False),
        (longer, False, True),
        (replace(longer, most=1e3), True, True),
    ):
        if (size and not at_most) or (ends and not at_end.any()):
            continue
        wanted = _wanted(solve_with(freed, joints), now, step, worth)
        if wanted is None:
            continue
        out = at_end * (limits.rows @ wanted) > 0.0
        if (size and float(now @ wanted) <= 0.0) or (ends and not out.any()):
            continue
        if size:
            return _articulation(limits.most, now, wanted, step, ", " + _at_ends(out) if ends else "")
        outward = (at_end[out] @ limits.rows[out]) * wanted > 1e-9
        return (
            f"{_at_ends(out)}; the machine cannot be turned further {_ways(np.where(outward, wanted, 0.0))}"
        )
    change = m.max_change_mm_per_m
    edge = (now >= limits.first_high).astype(float) - (now <= limits.first_low)
    if edge.any():
        nearer = replace(limits, first_low=now - change, first_high=now + change)
        wanted = _wanted(solve_with(nearer, joints), now, step, worth)
        if wanted is not None and (edge * wanted > 0.0).any():
            return (
                f"turned further {_ways(np.where(edge * wanted > 0.0, wanted, 0.0))}, it would be more than "
                f"{change:g} mm/m, the largest change a stroke, from what was advised before"
            )
    angle = joints.rows @ plan.articulation.reshape(-1)
    at_joint = ((angle < joints.low + _ACTIVE) | (angle > joints.high - _ACTIVE)).any()
    if at_joint and JOINT not in plan.given_way:
        none = replace(joints, low=joints.low - 1e3, high=joints.high + 1e3)
        wanted = _wanted(solve_with(limits, none), now, step, worth)
        if wanted is not None:
            most = drive.pipe.max_joint_angle_mm_per_m
            return f"turned further {_ways(wanted)}, it would ask more of a joint than its largest angle, {most:g} mm/m"
    return ""


def cut_short(
    drive: DriveFile, limits: Limits, now: np.ndarray, advised: np.ndarray | None, plan: Plan
) -> str:
    """The limits of the machine that the plan's next change, from `now` (2,), mm/m, comes up to, in words; empty where
    it comes up to none. `advised` (2,): what was advised before. The programme stops at a limit only where it would go
    beyond it, so nothing is solved again."""
    best, change = plan.best, plan.best - now
    edge = (best >= limits.first_high - _ACTIVE).astype(float) - (best <= limits.first_low + _ACTIVE)
    stopped = edge * change > _ACTIVE
    parts = []
    if stopped.any():
        planes = " and ".join(plane for plane, cut in zip(PLANES, stopped, strict=True) if cut)
        text = f"on {planes}: change at most {drive.machine.max_change_mm_per_m:g} mm/m a stroke"
        nearer = advised is not None and bool((edge * (advised - now) < -_ACTIVE)[stopped].any())
        parts.append(f"{text}{' from what was advised before' if nearer else ''}")
    angles = 2.0 * np.pi * np.arange(CIRCLE) / CIRCLE
    sides = np.column_stack([np.cos(angles), np.sin(angles)])
    inner = limits.most * np.cos(np.pi / CIRCLE)
    if ((sides @ best > inner - _ACTIVE) & (sides @ change > _ACTIVE)).any():
        parts.append(f"by the machine's largest articulation, {limits.most:g} mm/m")
    opened, moved = limits.rows @ best, limits.rows @ change
    out = (opened > limits.high - _ACTIVE) & (moved > _ACTIVE)
    out |= (opened < limits.low + _ACTIVE) & (moved < -_ACTIVE)
    if out.any():
        parts.append(f"as {_at_ends(out, 'come', 'to')}")
    return ", and ".join(parts)


def _wanted(free: Plan, now: np.ndarray, step: float, worth: float) -> np.ndarray | None:
    """The change (2,) that a plan would make; None where it is not worth making once whole steps have missed it by
    half of a `step` in each plane."""
    change = free.best - now
    saved = 0.5 * float(change @ free.hessian @ change - 0.25 * step**2 * np.trace(free.hessian))
    return change if free.solved and saved >= worth else None


def _ways(wanted: np.ndarray) -> str:
    """`left`, `left and down`: the larger change first, the other where it counts beside it."""
    order = np.argsort(-np.abs(wanted)).tolist()
    named = [p for p in order if abs(wanted[p]) >= _SHARE * abs(wanted[order[0]])]
    return " and ".join(TURNS[p][0 if wanted[p] > 0 else 1] for p in named)


def _at_ends(out: np.ndarray, verb: str = "stand", where: str = "at") -> str:
    numbers = [str(i + 1) for i in np.flatnonzero(out).tolist()]
    if len(numbers) == 1:
        return f"cylinder {numbers[0]} {verb}s {where} its stroke's end"
    return f"cylinders {', '.join(numbers[:-1])} and {numbers[-1]} {verb} {where} their strokes' ends"


def _articulation(most: float, now: np.ndarray, wanted: np.ndarray, step: float, also: str) -> str:
    outward = np.where(now * wanted > 0.0, wanted, 0.0)
    ways = _ways(outward)
    said = f"the articulation stands at the machine's largest, {most:g} mm/m{also}; it cannot be turned further {ways}"
    plane = int(np.argmax(np.abs(outward)))
    other = 1 - plane
    if " and " in ways or most - abs(now[plane]) <= step or abs(now[other]) < 0.05:
        return said
    # the largest holds for both planes together
    return f"{said} while it stands {abs(now[other]):.1f} mm/m {TURNS[other][0 if now[other] > 0 else 1]}"
