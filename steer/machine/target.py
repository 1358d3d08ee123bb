"""The target: from what it reads to where the machine axis lies at the target's plane, and back.

R(roll) takes a vector (right, up) of the machine's own frame to gravity's frame. Roll is + clockwise,
looking ahead, so a point above the machine axis moves right:

    R = [[ cos, sin],
         [−sin, cos]]

With m the target's centre from the machine axis and the spot where the reference strikes, both in
the machine's frame, the machine axis lies at reference − R·(m + spot). All arguments are floats or
arrays that broadcast; mm, + right and + high; degrees. What is missing is NaN, and so is what needs it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike


def to_gravity(right_mm: ArrayLike, up_mm: ArrayLike, roll_deg: ArrayLike) -> tuple[Any, Any]:
    """R(roll)·(right, up): a vector of the machine's frame, in gravity's frame. Shapes broadcast."""
    angle = np.radians(np.asarray(roll_deg, float))
    return _turned(right_mm, up_mm, np.sin(angle), np.cos(angle))


def to_machine(right_mm: ArrayLike, up_mm: ArrayLike, roll_deg: ArrayLike) -> tuple[Any, Any]:
    """R(roll) transposed: a vector of gravity's frame, in the machine's frame. Shapes broadcast."""
    angle = np.radians(np.asarray(roll_deg, float))
    return _turned(right_mm, up_mm, -np.sin(angle), np.cos(angle))


def axis_offset_from_spot(
    reference_right_mm: ArrayLike,
    reference_up_mm: ArrayLike,
    target_right_mm: ArrayLike,
    target_up_mm: ArrayLike,
    spot_right_mm: ArrayLike,
    spot_up_mm: ArrayLike,
    roll_deg: ArrayLike,
) -> tuple[Any, Any]:
    """Line and level (mm) of the machine axis at the target's plane, from a spot.

    `reference_…` is where the reference runs there, from the design axis; `target_…` is m, the target's
    centre from the machine axis. With one spot channel missing the other plane still comes out at zero
    roll; at any other roll fill the gap with what `spot_from_axis_offset` expects: the error is then
    sin(roll) times the expectation's own.
    """
    right, up = to_gravity(
        np.asarray(spot_right_mm, float) + target_right_mm,
        np.asarray(spot_up_mm, float) + target_up_mm,
        roll_deg,
    )
    return _less(reference_right_mm, right), _less(reference_up_mm, up)


def spot_from_axis_offset(
    reference_right_mm: ArrayLike,
    reference_up_mm: ArrayLike,
    target_right_mm: ArrayLike,
    target_up_mm: ArrayLike,
    line_mm: ArrayLike,
    level_mm: ArrayLike,
    roll_deg: ArrayLike,
) -> tuple[Any, Any]:
    """The spot (right, up; mm) that a machine axis at line and level shows: `axis_offset_from_spot` back."""
    right, up = to_machine(_less(reference_right_mm, line_mm), _less(reference_up_mm, level_mm), roll_deg)
    return _less(right, target_right_mm), _less(up, target_up_mm)


def axis_offset_from_target(
    target_line_mm: ArrayLike,
    target_level_mm: ArrayLike,
    target_right_mm: ArrayLike,
    target_up_mm: ArrayLike,
    roll_deg: ArrayLike,
) -> tuple[Any, Any]:
    """Line and level (mm) of the machine axis at the target's plane, from the target centre's own
    offset from the design axis, of which the roll has not been taken out: target − R(roll)·m."""
    right, up = to_gravity(target_right_mm, target_up_mm, roll_deg)
    return _less(target_line_mm, right), _less(target_level_mm, up)


def _less(value: ArrayLike, other: ArrayLike) -> Any:
    return _plain(np.asarray(value, float) - np.asarray(other, float))


def _turned(right_mm: ArrayLike, up_mm: ArrayLike, sin: np.ndarray, cos: np.ndarray) -> tuple[Any, Any]:
    right, up = np.asarray(right_mm, float), np.asarray(up_mm, float)
    # At zero roll a missing channel must not take the other one with it.
    return (
        _plain(cos * right + np.where(sin == 0, 0.0, sin * up)),
        _plain(cos * up - np.where(sin == 0, 0.0, sin * right)),
    )


def _plain(value: np.ndarray) -> Any:
    return float(value) if np.ndim(value) == 0 else value
