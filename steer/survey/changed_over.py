"""Control whose easting and northing were changed over: recognised by the sights that fit once it is put right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from steer.errors import InputRefused
from steer.survey.network import Effort, fitted, prepared
from steer.survey.observations import ControlPoint, Observation

MOST_SIGHTS = 400  # beyond, adjusting again for each control point takes too long to be a hint
MOST_CONTROL = 12
FITS = 1e-3  # chance of a sum of squares so large or larger


def changed_over(
    observations: Sequence[Observation], control: Sequence[ControlPoint], refraction: float | None
) -> str | None:
    """A line that says it, for a survey that does not hold together as it is; None when it is not that."""
    from scipy.special import chdtrc

    if len(observations) > MOST_SIGHTS:
        return None
    effort = Effort.for_hint(len(observations))
    for who, tried in _tries(control):
        try:
            fit = fitted(prepared(list(observations), tried, refraction), effort)
        except InputRefused:
            continue
        dof = fit.degrees_of_freedom
        if dof > 0 and float(chdtrc(dof, fit.solution.square_sum)) > FITS:
            return f"with easting and northing of {who} the other way round the sights fit: they are changed over"
    return None


def _tries(control: Sequence[ControlPoint]) -> Iterator[tuple[str, list[ControlPoint]]]:
    swapped = [replace(c, easting_m=c.northing_m, northing_m=c.easting_m) for c in control]
    yield "all control", swapped
    for i in range(min(len(control), MOST_CONTROL)):
        yield f"control point {control[i].point}", [*control[:i], swapped[i], *control[i + 1 :]]
