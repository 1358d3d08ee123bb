"""`reduce_network`: the adjusted survey as records that screens, JSON and the check shots read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from steer.errors import InputRefused
from steer.survey.changed_over import changed_over
from steer.survey.mistaken_units import mistaken_units
from steer.survey.network import USUAL_REFRACTION, Contradiction, Fit, Network, fitted, prepared
from steer.survey.observations import ARC_SECOND, ControlPoint, Observation
from steer.survey.snooping import Suspects, suspects
from steer.survey.wrong_control import wrong_control

PASSES_ABOVE = 0.05  # the global test passes when chance alone gives this bad a fit more often than 5 %
_TRUSTED_REDUNDANCY = 0.1
_HOPELESS = 1e4  # variance factor: residuals a hundred times their sd are no blunder of one sight
AXES = ("easting", "northing", "level")


@dataclass(frozen=True)
class ReducedPoint:
    """Coordinates in m and their a priori covariance (3, 3) in mm², order easting, northing, level.

    level_m None and NaN in its row and column: the sights give this point no level. fixed: held at its
    control coordinates, so its covariance is zero. control: it stood in the control."""

    point: str
    easting_m: float
    northing_m: float
    level_m: float | None
    covariance_mm2: np.ndarray
    fixed: bool
    control: bool

    @property
    def sd_mm(self) -> tuple[float, float, float]:
        return tuple(float(s) for s in np.sqrt(np.diag(self.covariance_mm2)))  # type: ignore[return-value]


@dataclass(frozen=True)
class Residual:
    """Adjusted minus observed, in sec (direction, zenith) or mm (slope, distance). standardised: over its own
    sd, None when nothing else controls the observation (redundancy 0). suspect: data snooping found this one,
    not only another observation of its row."""

    row: int
    station: str
    target: str
    observation: str
    residual: float
    unit: Literal["sec", "mm"]
    standardised: float | None
    redundancy: float
    suspect: bool


@dataclass(frozen=True)
class ControlResidual:
    """Adjusted minus given coordinate of a control point with an sd, mm."""

    point: str
    coordinate: str
    residual_mm: float
    standardised: float | None
    redundancy: float
    suspect: bool


@dataclass(frozen=True)
class WithoutSuspects:
    """How the network stands when the suspects are left out (they never are in the results above)."""

    degrees_of_freedom: int
    variance_factor: float | None
    probability: float | None
    points: tuple[ReducedPoint, ...]


@dataclass(frozen=True)
class ReducedNetwork:
    """variance_factor: square sum of residuals over their sd, per degree of freedom; None without any.
    probability: that chance alone gives a fit this bad or worse (upper tail of chi-square); None likewise.
    suspect_rows: file lines found by data snooping, the most suspect first. notes: for a person to read.
    hint: a slip of the whole survey, or a control point, that explains why it does not fit."""

    points: tuple[ReducedPoint, ...]
    residuals: tuple[Residual, ...]
    control_residuals: tuple[ControlResidual, ...]
    degrees_of_freedom: int
    variance_factor: float | None
    probability: float | None
    suspect_rows: tuple[int, ...]
    without_suspects: WithoutSuspects | None
    refraction: float | None
    notes: tuple[str, ...]
    hint: str | None = None

    @property
    def suspect_sights(self) -> tuple[str, ...]:
        """The suspect rows with the observations in them that are suspect: `row 17 direction`, the most suspect first."""
        return tuple(
            f"row {row} {' and '.join(r.observation for r in self.residuals if r.row == row and r.suspect)}"
            for row in self.suspect_rows
        )

    @property
    def passed(self) -> bool | None:
        """The global test at 95 %, one-sided: residuals too large fail it, residuals too small do not."""
        return None if self.probability is None else self.probability >= PASSES_ABOVE

    def point(self, name: str) -> ReducedPoint:
        return next(p for p in self.points if p.point == name)


def reduce_network(
    observations: list[Observation],
    control: list[ControlPoint],
    refraction: float | None = USUAL_REFRACTION,
) -> ReducedNetwork:
    """Adjusts the network by least squares and tests it.

    refraction: coefficient K, or None to leave out earth curvature and refraction both. No first coordinates
    are needed. Raises InputRefused, naming what is missing, when the sights do not determine every point.
    All observations count in the result, the suspect ones too: taking one out is a person's decision."""
    network = prepared(observations, control, refraction)
    try:
        fit = fitted(network)
    except Contradiction as problem:
        hint = _gross(observations, control, refraction) or wrong_control(observations, control, refraction)
        raise InputRefused([*problem.problems, *([hint] if hint else [])]) from None
    found = suspects(network, fit)
    factor, probability = _global_test(fit)
    hint = None
    if factor is not None and factor > _HOPELESS:
        hint = _gross(observations, control, refraction)
    failed = probability is not None and probability < PASSES_ABOVE
    # One suspect says it all, as control that itself is suspect does.
    if failed and hint is None and len(found.observations) != 1 and not found.control:
        hint = wrong_control(observations, control, refraction)
    return ReducedNetwork(
        points=_points(network, fit),
        residuals=_residuals(network, fit, found),
        control_residuals=_control_residuals(network, fit, found),
        degrees_of_freedom=fit.degrees_of_freedom,
        variance_factor=factor,
        probability=probability,
        suspect_rows=tuple(dict.fromkeys(network.observations[i].row for i in found.observations)),
        without_suspects=_without(network, found),
        refraction=refraction,
        notes=tuple(_notes(network, fit, found, probability)),
        hint=hint,
    )


def _gross(
    observations: list[Observation], control: list[ControlPoint], refraction: float | None
) -> str | None:
    """The slip of the whole survey that explains why nothing fits."""
    return mistaken_units(observations, control, refraction) or changed_over(
        observations, control, refraction
    )


def _global_test(fit: Fit) -> tuple[float | None, float | None]:
    from scipy.special import chdtrc

    if fit.degrees_of_freedom <= 0:
        return None, None
    square_sum = fit.solution.square_sum
    return square_sum / fit.degrees_of_freedom, float(chdtrc(fit.degrees_of_freedom, square_sum))


def _points(network: Network, fit: Fit) -> tuple[ReducedPoint, ...]:
    control = {c.point: c for c in network.control}
    reduced = []
    for i, name in enumerate(network.points):
        easting, northing, level = (float(x) for x in fit.solution.position[i])
        known = control.get(name)
        block = fit.blocks[i] * 1e6
        has_level = name in network.ties.absolute
        if not has_level:
            block = block.copy()
            block[2, :] = block[:, 2] = np.nan
        reduced.append(
            ReducedPoint(
                point=name,
                easting_m=easting,
                northing_m=northing,
                level_m=level if has_level else None,
                covariance_mm2=block,
                fixed=known is not None and known.sd_mm == 0.0,
                control=known is not None,
            )
        )
    return tuple(reduced)


def _residuals(network: Network, fit: Fit, found: Suspects) -> tuple[Residual, ...]:
    standardised = fit.standardised
    listed = []
    for i, o in enumerate(network.observations):
        angular = o.kind in ("direction", "zenith")
        size = float(fit.solution.residual[i]) * o.sd
        w = float(standardised[i])
        listed.append(
            Residual(
                row=o.row,
                station=o.station,
                target=o.target,
                observation=o.kind,
                residual=size / ARC_SECOND if angular else size * 1e3,
                unit="sec" if angular else "mm",
                standardised=w if np.isfinite(w) else None,
                redundancy=min(max(float(fit.redundancy[i]), 0.0), 1.0),
                suspect=i in found.observations,
            )
        )
    return tuple(listed)


def _control_residuals(network: Network, fit: Fit, found: Suspects) -> tuple[ControlResidual, ...]:
    rows = len(network.observations)
    standardised = fit.standardised
    listed = []
    for k, (i, axis) in enumerate(zip(*fit.problem.weighted, strict=True)):
        w = float(standardised[rows + k])
        listed.append(
            ControlResidual(
                point=network.points[i],
                coordinate=AXES[axis],
                residual_mm=float(fit.solution.residual[rows + k] * fit.problem.known_sd[i, axis] * 1e3),
                standardised=w if np.isfinite(w) else None,
                redundancy=min(max(float(fit.redundancy[rows + k]), 0.0), 1.0),
                suspect=(int(i), int(axis)) in found.control,
            )
        )
    return tuple(listed)


def _without(network: Network, found: Suspects) -> WithoutSuspects | None:
    if found.without is None:
        return None
    factor, probability = _global_test(found.without)
    points = _points(network, found.without)
    return WithoutSuspects(found.without.degrees_of_freedom, factor, probability, points)


def _notes(network: Network, fit: Fit, found: Suspects, probability: float | None) -> list[str]:
    notes = []
    alone: dict[tuple[str, str], list[Observation]] = {}
    for o in network.observations:
        if o.kind == "direction":
            alone.setdefault((o.station, o.set), []).append(o)
    single = [sights[0] for sights in alone.values() if len(sights) == 1]
    for o in single[:5]:
        notes.append(
            f"row {o.row}: the only direction of station {o.station}, set {o.set or '(unnamed)'}; alone it "
            "orients nothing and counts for nothing"
        )
    if len(single) > 5:
        notes.append(f"and {len(single) - 5} more sets with one direction only")
    flat = [p for p in network.points if p not in network.ties.absolute]
    if flat and len(flat) < len(network.points):
        names = ", ".join(flat[:8]) + (" …" if len(flat) > 8 else "")
        notes.append(f"no level for {names}: no zenith angle ties them to a known level")
    sighted = {name for o in network.observations for name in (o.station, o.target)}
    unused = [c.point for c in network.control if c.point not in sighted]
    if unused:
        notes.append(f"control that no sight uses: {', '.join(unused[:8])}{' …' if len(unused) > 8 else ''}")
    open_ones = int((fit.redundancy[: len(network.observations)] < _TRUSTED_REDUNDANCY).sum())
    if fit.degrees_of_freedom == 0:
        notes.append("no degrees of freedom: nothing checks these observations, and a blunder would not show")
    elif open_ones:
        notes.append(
            f"{open_ones} of {len(network.observations)} observations are hardly checked by the others "
            f"(redundancy below {_TRUSTED_REDUNDANCY}): a blunder there would not show"
        )
    if probability is not None and probability > 0.975:
        notes.append("the fit is better than the sd lead to expect: they may be too large")
    if (
        probability is not None
        and probability < PASSES_ABOVE
        and not found.observations
        and not found.control
    ):
        notes.append("the global test fails but no single observation stands out: the sd may be too small")
    if found.observations and found.without is None:
        notes.append(
            "the suspect rows cannot be told apart: without them the rest does not determine every point"
        )
    by_chance = 0.001 * len(network.observations)
    if found.observations and by_chance >= 1.0:
        notes.append(
            f"of {len(network.observations)} good observations about {by_chance:.0f} look suspect by chance"
        )
    if not found.finished:
        notes.append(
            "more observations are suspect than were searched for: the network as a whole is in doubt"
        )
    return notes
