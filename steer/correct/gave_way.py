"""Which limit gives way, by how much, and why, in words."""

from __future__ import annotations

import numpy as np

from steer.correct.path_limits import JOINT
from steer.correct.programme import Plan, SoftRows
from steer.correct.settings import Chosen
from steer.drivefile import DriveFile


def gave_way(
    drive: DriveFile,
    now: np.ndarray,
    now_mm: np.ndarray | None,
    chosen: Chosen,
    plan: Plan,
    joints: SoftRows,
    chainage_m: np.ndarray,
    forecast_mm: np.ndarray,
    offset_mm: np.ndarray,
    near: int,
) -> list[str]:
    """A sentence a limit that the setting `chosen` or the path ahead does not keep.

    `now` (2,) the articulation as it stands, `forecast_mm` (2, n) with the correction, `offset_mm` (2,) the
    face now. Tolerance is looked at in the first `near` strokes: what lies beyond them later corrections, by
    then surer of the machine's answer, still take out.
    """
    m = drive.machine
    said = []
    size, most = float(np.hypot(*now)), m.max_articulation_mm_per_m
    low, high = m.cylinders.range_mm
    if chosen.most_over > 0.0:
        why = (
            f"it stands at {size:.1f}, and {m.max_change_mm_per_m:g} mm/m a stroke brings it back no faster"
            if size > most
            else "the change per stroke and whole cylinder steps leave nothing inside it"
        )
        said.append(
            f"articulation of {most:g} mm/m gives way by {max(chosen.most_over, 0.1):.1f} mm/m: {why}"
        )
    if chosen.change_over > 0.0:
        outside = now_mm is not None and (now_mm.min() < low - 1e-6 or now_mm.max() > high + 1e-6)
        why = (
            f"cylinders read outside their range of {low:g} to {high:g} mm"
            if outside
            else f"whole steps of {m.cylinders.step_mm:g} mm leave nothing inside it from here"
        )
        said.append(
            f"change of {m.max_change_mm_per_m:g} mm/m a stroke gives way by {max(chosen.change_over, 0.1):.1f} mm/m: {why}"
        )
    if JOINT in plan.given_way:
        n = len(chainage_m)
        x = plan.articulation.reshape(-1)
        angle = np.hypot(*((joints.rows @ x - 0.5 * (joints.low + joints.high))[: 2 * n].reshape(2, n)))
        at = int(np.argmax(angle))
        said.append(
            f"joint angle of {drive.pipe.max_joint_angle_mm_per_m:g} mm/m gives way: {angle[at]:.1f} mm/m near "
            f"{chainage_m[at] - drive.pipe.length_m:.1f} m, because the bore driven so far and the machine's "
            "limits leave no gentler path"
        )
    said.extend(_tolerance(drive, chainage_m[:near], forecast_mm[:, :near], offset_mm))
    return said


def _tolerance(
    drive: DriveFile, chainage_m: np.ndarray, forecast_mm: np.ndarray, offset_mm: np.ndarray
) -> list[str]:
    said = []
    for plane, (name, most, sides) in enumerate(
        (
            ("line", drive.tolerance.line_mm, ("right", "left")),
            ("level", drive.tolerance.level_mm, ("high", "low")),
        )
    ):
        out = np.abs(forecast_mm[plane])
        at = int(np.argmax(out))
        if out[at] <= most:
            continue
        side = sides[0] if forecast_mm[plane, at] > 0 else sides[1]
        why = (
            "the face is there already"
            if abs(offset_mm[plane]) > most
            else "the face is heading there faster than a correction takes hold"
        )
        said.append(
            f"tolerance in {name} of {most:g} mm gives way: {out[at]:.0f} mm {side} expected at "
            f"{chainage_m[at]:.1f} m, because {why}"
        )
    return said
