"""A control point that the rest of the survey contradicts: recognised by the sights that fit without it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from steer.errors import InputRefused
from steer.survey.changed_over import FITS, MOST_CONTROL, MOST_SIGHTS
from steer.survey.network import Effort, fitted, prepared
from steer.survey.observations import ControlPoint, Observation

_WAYS = (("east", "west"), ("north", "south"), ("up", "down"))


def wrong_control(
    observations: Sequence[Observation], control: Sequence[ControlPoint], refraction: float | None
) -> str | None:
    """A line that names it and how far off it seems; None when no one point explains a survey that does not hold
    together. Of several that would, each is named."""
    from scipy.special import chdtrc

    if len(observations) > MOST_SIGHTS:
        return None
    found = []
    effort = Effort.for_hint(len(observations))
    sighted = {name for o in observations for name in (o.station, o.target)}
    for point in [c for c in control if c.point in sighted][:MOST_CONTROL]:
        network = prepared(list(observations), [c for c in control if c is not point], refraction)
        try:
            fit = fitted(network, effort)
        except InputRefused:
            continue
        dof = fit.degrees_of_freedom
        if dof > 0 and float(chdtrc(dof, fit.solution.square_sum)) > FITS:
            place = fit.solution.position[list(network.points).index(point.point)]
            level = place[2] if point.level_m is None else point.level_m
            found.append((point.point, place - np.array([point.easting_m, point.northing_m, level])))
    if not found:
        return None
    if len(found) > 1:
        names = " or ".join(name for name, _ in found)
        return f"without control point {names} the sights fit: one of them may be wrong, moved or mistaken"
    name, off = found[0]
    parts = [
        f"{abs(size):.3f} m {way[0] if size > 0 else way[1]}"
        for size, way in zip(off.tolist(), _WAYS, strict=True)
        if abs(size) >= 5e-4
    ]
    return (
        f"without control point {name} the sights fit: by them it lies {', '.join(parts)} of where the control "
        "has it; is it wrong, moved or mistaken?"
    )
