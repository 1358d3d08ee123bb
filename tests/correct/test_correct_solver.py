"""The programme's optimum against an outside solver (clarabel, interior point), on random problems.

The outside problem is written as it stands in the docstring of `within`, with its slack, by itself.
"""

from __future__ import annotations

import numpy as np
import pytest

from steer.correct.programme import GIVE_WAY, Limits, hard_rows, kept, within

clarabel = pytest.importorskip("clarabel")
sparse = pytest.importorskip("scipy.sparse")


def outside(big, small, rows, low, high, firm):
    """x and d by clarabel: least ½xᵀPx + qx (scaled) + GIVE_WAY·(d + d²/2), d >= 0."""
    k = len(small)
    scale = 1.0 / np.abs(np.diag(big)).max()
    p = np.zeros((k + 1, k + 1))
    p[:k, :k], p[k, k] = big * scale, GIVE_WAY
    q = np.append(small * scale, GIVE_WAY)
    gives = np.where(np.arange(len(rows)) >= firm, 1.0, 0.0)[:, None]
    a = np.vstack(
        [np.hstack([rows, -gives]), np.hstack([-rows, -gives]), np.append(np.zeros(k), -1.0)[None, :]]
    )
    b = np.concatenate([high, -low, [0.0]])
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-11
    settings.max_iter = 500
    solution = clarabel.DefaultSolver(
        sparse.triu(sparse.csc_matrix(p)).tocsc(), q, sparse.csc_matrix(a), b,
        [clarabel.NonnegativeConeT(len(b))], settings,
    ).solve()  # fmt: skip
    x = np.array(solution.x)
    return x[:k], float(x[k]), p, q


def problem(seed: int):
    """A cost as the programme has it (smooth answers, changes weighed), with limits of any kind."""
    rng = np.random.default_rng([seed, 6])
    n = int(rng.integers(2, 25))
    strokes = np.arange(n)
    column = np.cumsum(np.cumsum(rng.uniform(0.05, 0.6) * (1 - np.exp(-strokes / rng.uniform(0.3, 5)))))
    lower = np.where(
        np.subtract.outer(strokes, strokes) >= 0, column[np.abs(np.subtract.outer(strokes, strokes))], 0
    )
    change = np.eye(n) - np.eye(n, k=-1)
    big, small = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    for plane in (0, 1):
        part = slice(plane * n, plane * n + n)
        big[part, part] = 2 * (lower.T @ lower + 10 ** rng.uniform(-3, 3) * change.T @ change)
        free = rng.normal() * 40 + rng.normal() * 3 * strokes
        small[part] = 2 * lower.T @ free
    big += 1e-9 * np.trace(big) / n * np.eye(2 * n)
    now = rng.normal(size=2) * 12
    most, limit = rng.uniform(5, 40), rng.uniform(1, 12)
    cylinders = int(rng.choice([3, 4, 6, 8]))
    angle = np.arange(cylinders) * 2 * np.pi / cylinders + rng.uniform(0, 2 * np.pi)
    reach = rng.uniform(0.3, 1.2) * most * 0.5
    kind = ("plain", "infeasible", "degenerate")[seed % 3]
    if kind == "infeasible":  # stands far outside what one stroke can mend
        now = now / np.hypot(*now) * (most + 1.5 * limit + 5)
    limits = Limits(
        most, limit, np.stack([np.sin(angle), np.cos(angle)], -1) * 0.5,
        np.full(cylinders, -reach), np.full(cylinders, reach), now - limit, now + limit,
    )  # fmt: skip
    rows, low, high = hard_rows(limits, n)
    firm = 2 * n
    if kind == "degenerate":  # the same rows twice, and some that leave one value only
        rows = np.vstack([rows, rows[firm:], rows[firm::7]])
        low, high = (
            np.concatenate([low, low[firm:], low[firm::7]]),
            np.concatenate([high, high[firm:], high[firm::7]]),
        )
        at = int(rng.integers(n))
        mid = np.clip(now[0], now[0] - limit * (at + 1), now[0] + limit * (at + 1)) * 0.3
        row = np.zeros((1, 2 * n))
        row[0, at] = 1.0
        rows, low, high = np.vstack([rows, row]), np.append(low, mid), np.append(high, mid)
    return kind, big, small, rows, low, high, firm


@pytest.mark.parametrize("kind", ["plain", "infeasible", "degenerate"])
def test_optimum_is_the_outside_solver_s(kind: str) -> None:
    """500 problems in all; the objective, slack included, agrees to 1e-6 of its size."""
    gave = count = 0
    for seed in range(501):
        name, big, small, rows, low, high, firm = problem(seed)
        if name != kind:
            continue
        count += 1
        x, solved, passed = within(big, small, rows, low, high, firm)
        assert solved, seed
        assert kept(x, rows[:firm], low[:firm], high[:firm], 1e-6)
        assert kept(x, rows, low - passed, high + passed, 2e-5)
        theirs, slack, p, q = outside(big, small, rows, low, high, firm)
        ours_z, theirs_z = np.append(x, passed), np.append(theirs, slack)
        ours_cost, theirs_cost = (0.5 * z @ p @ z + q @ z for z in (ours_z, theirs_z))
        size = 0.5 * theirs_z @ p @ theirs_z + np.abs(q * theirs_z).sum()
        assert abs(ours_cost - theirs_cost) <= 1e-6 * max(size, 1.0), (seed, ours_cost, theirs_cost)
        gave += passed > 1e-6
    assert count == 167
    assert gave > 100 if kind == "infeasible" else True


def test_a_known_optimum_by_hand() -> None:
    """½·(x − 3)² + ½·y² with x <= 1 firm and y >= 2: x = 1, y = 2; y >= 2 and y <= 1: y = 1.5, each by 0.5
    (the slack is dear, so it is shared evenly)."""
    big, small = np.eye(2), np.array([-3.0, 0.0])
    rows = np.array([[1.0, 0.0], [0.0, 1.0]])
    x, solved, passed = within(big, small, rows, np.array([-1e30, 2.0]), np.array([1.0, 1e30]), 1)
    assert solved and passed == 0.0
    np.testing.assert_allclose(x, [1.0, 2.0], atol=1e-9)
    rows = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])
    x, solved, passed = within(big, small, rows, np.array([-1e30, 2.0, -1e30]), np.array([1.0, 1e30, 1.0]), 1)
    assert solved
    np.testing.assert_allclose([*x, passed], [1.0, 1.5, 0.5], atol=1e-6)
