"""What of a snapshot the person may see: the proposal shown, hidden, or hidden until they have chosen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from steer.advice import Correction, Snapshot


def shown(snapshot: Snapshot, proposal: str, decision: dict[str, Any] | None) -> Snapshot:
    """The snapshot with what is hidden taken out. `proposal` as in `PROPOSAL`, `decision` as
    `Session.decision` gives it.

    Before the person has chosen, "hidden" in `extra` says why there is no proposal. Afterwards, with "hidden", the
    own setting stands where a proposal would.
    """
    advice = snapshot.advice
    if advice is None or proposal == "shown" or (proposal == "after" and decision is not None):
        return snapshot
    # Forecast, arrival, joints, reason and broken limits would tell the proposal: the forecast with the
    # cylinders left alone stays.
    masked = replace(
        advice,
        forecast=(),
        reason="",
        eye_probability=None,
        at_reception=None,
        joint="",
        notices=tuple(n for n in advice.notices if n.code not in ("limit_gave_way", "joint_force_over")),
    )
    extra = dict(snapshot.extra)
    if decision is None:
        extra["hidden"] = "You practise without the proposal." if proposal == "hidden" else (
            "The proposal is shown once you have chosen."
        )  # fmt: skip
        own = Correction(
            advice.now_right_mm_per_m, advice.now_up_mm_per_m, advice.cylinder_now_mm or (), True
        )
        alone = replace(masked, correction=own, forecast=advice.forecast_unchanged)
        return replace(snapshot, advice=alone, extra=extra)
    own = Correction(
        float(decision["right_mm_per_m"]), float(decision["up_mm_per_m"]),
        tuple(decision["cylinder_mm"]), False,
    )  # fmt: skip
    return replace(snapshot, advice=replace(masked, correction=own), extra=extra)
