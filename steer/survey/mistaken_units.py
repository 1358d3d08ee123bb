"""Sights in another unit than their column's: recognised by fitting once they are converted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from steer.errors import InputRefused
from steer.survey.changed_over import FITS, MOST_SIGHTS
from steer.survey.network import Effort, fitted, prepared
from steer.survey.observations import ControlPoint, Observation

_FOOT_M = 0.3048
_GON_DEG = 0.9
_SLIPS: tuple[tuple[str, Callable[[Observation], float]], ...] = (
    ("distances taken as feet", lambda o: _FOOT_M if o.kind in ("slope", "distance") else 1.0),
    ("directions taken as gon", lambda o: _GON_DEG if o.kind == "direction" else 1.0),
    ("all angles taken as gon", lambda o: _GON_DEG if o.kind in ("direction", "zenith") else 1.0),
    ("directions taken as degrees", lambda o: 1.0 / _GON_DEG if o.kind == "direction" else 1.0),
    ("all angles taken as degrees", lambda o: 1.0 / _GON_DEG if o.kind in ("direction", "zenith") else 1.0),
)


def mistaken_units(
    observations: Sequence[Observation], control: Sequence[ControlPoint], refraction: float | None
) -> str | None:
    """A line that says it, for a survey that does not hold together as it is; None when it is not that."""
    from scipy.special import chdtrc

    if len(observations) > MOST_SIGHTS:
        return None
    effort = Effort.for_hint(len(observations))
    for words, factor in _SLIPS:
        tried = [replace(o, value=o.value * factor(o)) for o in observations]
        if all(a.value == b.value for a, b in zip(tried, observations, strict=True)):
            continue
        try:
            fit = fitted(prepared(tried, list(control), refraction), effort)
        except InputRefused:
            continue
        dof = fit.degrees_of_freedom
        if dof > 0 and float(chdtrc(dof, fit.solution.square_sum)) > FITS:
            return f"with {words} the sights fit: they stand in a column of another unit"
    return None
