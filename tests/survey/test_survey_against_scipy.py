"""Random networks against scipy.optimize.least_squares, numerical derivatives and another forward model."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from steer.survey import reduce_network
from steer.survey.inverse import inverse_blocks


def reference(made, control):
    """(coordinates by point, residual vector, dof) by a general-purpose solver, started at the truth."""
    observations = made.observations
    known = {c.point: c for c in control}
    names = [p for p in made.places if any(p in (o.station, o.target) for o in observations)]
    touched = {p for o in observations if o.kind in ("zenith", "slope") for p in (o.station, o.target)}
    unknown = []
    for p in names:
        for axis in range(3):
            level_wanted = p in touched or (p in known and known[p].level_m is not None)
            if p in known and (known[p].sd_mm == 0.0 or (axis == 2 and not level_wanted)):
                continue
            if axis < 2 or level_wanted:
                unknown.append((p, axis))
    sets = sorted({(o.station, o.set) for o in observations if o.kind == "direction"})
    start = [made.places[p][axis] for p, axis in unknown] + [made.zero[s] for s in sets]
    centre = np.array(start)
    k = 0.0 if made.k is None else (1.0 - made.k) / (2.0 * 6_371_000.0)

    def residuals(x):
        at = {p: list(made.places[p]) for p in names}
        for (p, axis), value in zip(unknown, centre[: len(unknown)] + x[: len(unknown)], strict=True):
            at[p][axis] = value
        zero = dict(zip(sets, centre[len(unknown) :] + x[len(unknown) :] * 1e-3, strict=True))
        out = []
        for o in observations:
            e, n, h = (b - a for a, b in zip(at[o.station], at[o.target], strict=True))
            h += o.target_height_m - o.instrument_height_m
            d = math.sqrt(e * e + n * n)
            if o.kind == "direction":
                v = math.remainder(math.atan2(e, n) - zero[o.station, o.set] - o.value, 2.0 * math.pi)
            elif o.kind == "zenith":
                v = math.pi / 2 - math.atan((h - k * d * d) / d) - o.value
            elif o.kind == "slope":
                v = math.sqrt(d * d + h * h) - o.value
            else:
                v = d - o.value
            out.append(v / o.sd)
        for c in control:
            if c.sd_mm:
                given = (c.easting_m, c.northing_m, c.level_m)
                out += [
                    (at[c.point][a] - given[a]) / (c.sd_mm * 1e-3) for a in range(3) if given[a] is not None
                ]
        return np.array(out)

    found = least_squares(
        residuals, np.zeros(len(start)), jac="3-point", x_scale="jac", xtol=1e-15, ftol=1e-15
    )
    at = {p: list(made.places[p]) for p in names}
    for (p, axis), value in zip(unknown, centre[: len(unknown)] + found.x[: len(unknown)], strict=True):
        at[p][axis] = value
    variance = np.linalg.inv(found.jac.T @ found.jac).diagonal()
    sd = {key: 1e3 * math.sqrt(v) for key, v in zip(unknown, variance, strict=False)}
    return at, sd, found.fun, len(found.fun) - len(start)


@pytest.mark.parametrize("seed", range(6))
def test_same_coordinates_sd_and_fit(shape, seed):
    made, control = shape(seed)
    result = reduce_network(made.observations, control, made.k)
    at, sd, residuals, freedom = reference(made, control)
    assert result.degrees_of_freedom == freedom
    if freedom:
        assert result.variance_factor * freedom == pytest.approx(residuals @ residuals, rel=1e-4, abs=1e-8)
    for point in result.points:
        values = (point.easting_m, point.northing_m, point.level_m)
        for axis, value in enumerate(values):
            if value is None:
                continue
            assert value == pytest.approx(at[point.point][axis], abs=2e-5), (point.point, axis)
            assert point.sd_mm[axis] == pytest.approx(sd.get((point.point, axis), 0.0), rel=0.002)
    for residual, other in zip(result.residuals, residuals, strict=False):
        o = next(o for o in made.observations if (o.row, o.kind) == (residual.row, residual.observation))
        unit = math.radians(1 / 3600) if residual.unit == "sec" else 1e-3
        assert residual.residual * unit / o.sd == pytest.approx(other, abs=0.02)


def test_the_wanted_part_of_the_inverse_is_the_full_inverse_there():
    from scipy import sparse

    random = np.random.default_rng(5)
    rows = []
    for _ in range(400):
        row = np.zeros(120)
        start = random.integers(0, 110)
        row[start + random.choice(10, 4, replace=False)] = random.standard_normal(4)
        row[random.integers(0, 120)] = random.standard_normal()
        rows.append(row)
    design = sparse.csr_matrix(np.array(rows))
    normal = sparse.csc_matrix(design.T @ design)
    full = np.linalg.inv(normal.toarray())
    met = []
    for groups, unknowns, block in inverse_blocks(normal, design):
        np.testing.assert_allclose(block, full[np.ix_(unknowns, unknowns)], rtol=1e-8, atol=1e-10)
        for group in groups:
            assert set(design[group].indices) <= set(unknowns)
            met.append(group)
    assert sorted(met) == list(range(400))
