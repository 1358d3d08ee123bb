"""The newest jacking force against what may push, what may be pushed against, and the joints ahead."""

from __future__ import annotations

from steer.advice import Notice
from steer.drivefile import DriveFile
from steer.pipes.cost import KinkCost

JOINT_CODE = "joint_force_over"
# a falling force may end what is said with it, and no note has to: nothing has been done to a joint
NOT_THERE = "That joint is not there yet, so not overloaded: this ends when the force falls."


CODE = "force_over"


def allowed(drive: DriveFile) -> dict[str, float]:
    """What the drive file lets the jacking force be (kN), by what would have to bear it."""
    limits = drive.limits
    named = {"main jacks": limits.main_jack_kn, "thrust wall": limits.thrust_wall_kn, "pipe": limits.pipe_kn}
    return {name: kn for name, kn in named.items() if kn is not None}


def force_over(drive: DriveFile, force_kn: float, at_m: float, cost: KinkCost | None) -> tuple[Notice, ...]:
    """What a force (kN) read at a chainage passes: `force_over` for limits of the drive file, and
    `joint_force_over` for the sharpest joint that the path ahead makes. Joints further back are looked
    at in the as-built account: they take the whole path."""
    passed = [f"{name} {kn:.0f} kN" for name, kn in allowed(drive).items() if force_kn > kn]
    read = f"Jacking force {force_kn:.0f} kN at {at_m:.1f} m"
    found = []
    if passed:
        text = f"{read} is beyond what drive.toml allows: {', '.join(passed)}. Stop and have it looked into."
        found.append(Notice(CODE, text, at_m))
    if cost is not None and cost.permissible_kn is not None and force_kn > cost.permissible_kn:
        text = (
            f"{read} is more than {cost.permissible_kn:.0f} kN: a joint will turn {cost.angle_mm_per_m:.1f} mm/m at "
            f"{cost.chainage_m:.1f} m if steered as proposed, and may carry no more then. {NOT_THERE} Ease the force "
            "or steer less sharply; ask the engineer."
        )
        found.append(Notice(JOINT_CODE, text, at_m))
    return tuple(found)
