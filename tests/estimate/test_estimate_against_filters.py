"""The filter against published figures and two other libraries, on problems stated in full."""

from __future__ import annotations

import numpy as np
import pytest

from steer.estimate import filter as kalman


def run_ours(phi, q, h, r, x, p, readings):
    """Our own recursion over scalar readings of a stack of one; filtered x, P and predicted x, P."""
    out = []
    x, p = x[None, :], p[None, :, :]
    for k, z in enumerate(readings):
        if k:
            x, p = kalman.predict(x, p, phi[None], np.zeros_like(x), q[None])
        before = (x[0].copy(), p[0].copy())
        for row, var, value in zip(h, r, np.atleast_1d(z), strict=True):
            x, p, _, _ = kalman.update(
                x, p, np.array([value]), row[None], np.array([var]), np.array([np.isfinite(value)])
            )
        out.append((x[0].copy(), p[0].copy(), *before))
    return out


def smoothed(run, phi):
    """Rauch, Tung and Striebel backward over `run_ours`, with the product's own solve."""
    from steer.estimate.smoother import _solve

    x, p = run[-1][0], run[-1][1]
    found = [(x, p)]
    for k in range(len(run) - 2, -1, -1):
        j = _solve(run[k + 1][3][None], (phi @ run[k][1])[None])[0].T
        x = run[k][0] + j @ (x - run[k + 1][2])
        p = run[k][1] + j @ (p - run[k + 1][3]) @ j.T
        found.append((x, p))
    return found[::-1]


def problem(seed=4, steps=40):
    """A stable linear problem of four states and three readings, every third reading missing."""
    rng = np.random.default_rng(seed)
    phi = np.eye(4) + 0.1 * rng.normal(size=(4, 4))
    phi *= 0.98 / np.abs(np.linalg.eigvals(phi)).max()
    a, b = rng.normal(size=(4, 4)), rng.normal(size=(4, 4))
    q, p = 0.1 * a @ a.T, b @ b.T + np.eye(4)
    h, r = rng.normal(size=(3, 4)), np.array([0.5, 1.0, 2.0])
    z = rng.normal(size=(steps, 3)) * 3.0
    return phi, q, h, r, rng.normal(size=4), p, z


def test_state_covariance_and_smoothing_equal_pykalman():
    pykalman = pytest.importorskip("pykalman")
    phi, q, h, r, x, p, z = problem()
    other = pykalman.KalmanFilter(
        transition_matrices=phi, transition_covariance=q, observation_matrices=h,
        observation_covariance=np.diag(r), initial_state_mean=x, initial_state_covariance=p,
    )  # fmt: skip
    means, covariances = other.filter(z)
    ours = run_ours(phi, q, h, r, x, p, z)
    assert np.abs(np.array([o[0] for o in ours]) - means).max() < 1e-8
    assert np.abs(np.array([o[1] for o in ours]) - covariances).max() < 1e-8
    means, covariances = other.smooth(z)
    back = smoothed(ours, phi)
    # the product's solve adds 1e-10 of a scaled unit matrix: that much apart is its price
    assert np.abs(np.array([b[0] for b in back]) - means).max() < 1e-7
    assert np.abs(np.array([b[1] for b in back]) - covariances).max() < 1e-7


def test_state_and_covariance_equal_filterpy_with_missing_readings():
    filterpy = pytest.importorskip("filterpy.kalman")
    phi, q, h, r, x, p, z = problem(seed=9)
    z[::3, 1] = np.nan
    other = filterpy.KalmanFilter(dim_x=4, dim_z=1)
    other.x, other.P, other.F, other.Q = x[:, None].copy(), p.copy(), phi, q
    for k, (row, ours) in enumerate(zip(z, run_ours(phi, q, h, r, x, p, z), strict=True)):
        if k:
            other.predict()
        for i, value in enumerate(row):
            if np.isfinite(value):
                other.update(np.array([[value]]), R=r[i], H=h[i : i + 1])
        assert np.abs(other.x[:, 0] - ours[0]).max() < 1e-8
        assert np.abs(other.P - ours[1]).max() < 1e-8


def test_nile_flow():
    """Durbin and Koopman, Time Series Analysis by State Space Methods, 2nd ed. 2012, pp. 37 and 40: local
    level, R = 15099.0, Q = 1469.1; data from statsmodels (public domain); values computed three ways."""
    one = np.ones((1, 1))
    run = run_ours(
        one, 1469.1 * one, one, np.array([15099.0]), np.array([NILE[0]]), 15099.0 * one,
        [np.nan, *NILE[1:]],
    )  # fmt: skip
    assert run[1898 - 1871][0][0] == pytest.approx(1133.12629, abs=1e-4)
    assert run[-1][0][0] == pytest.approx(798.37029, abs=1e-4)
    assert run[-1][1][0, 0] == pytest.approx(4032.1579, abs=1e-3)
    assert run[-1][3][0, 0] / (run[-1][3][0, 0] + 15099.0) == pytest.approx(0.26704801, abs=1e-7)
    back = smoothed(run, one)
    assert back[0][0][0] == pytest.approx(1111.66832, abs=1e-3)
    assert back[1898 - 1871][0][0] == pytest.approx(999.58522, abs=1e-3)
    assert back[1921 - 1871][1][0, 0] == pytest.approx(2326.7569, abs=1e-2)


@pytest.mark.parametrize(
    ("index", "alpha", "beta"),
    [(0.1, 0.36, 0.08), (0.5, 0.628373, 0.304806), (1.0, 0.75, 0.5), (2.0, 0.854102, 0.763932)],
)
def test_steady_gains_of_the_tracking_index(index, alpha, beta):
    """Kalata, The tracking index, IEEE Trans. Aerospace 20(2), 1984 (from memory; figures computed with
    scipy's Riccati solver): constant velocity, piecewise constant acceleration, T = 1."""
    phi = np.array([[1.0, 1.0], [0.0, 1.0]])
    q = index**2 * np.array([[0.25, 0.5], [0.5, 1.0]])
    h = np.array([[1.0, 0.0]])
    run = run_ours(phi, q, h, np.ones(1), np.zeros(2), 10.0 * np.eye(2), np.zeros(400))
    before = run[-1][3]
    gain = before[:, 0] / (before[0, 0] + 1.0)
    assert gain[0] == pytest.approx(alpha, abs=1e-6)
    assert gain[1] == pytest.approx(beta, abs=1e-6)


def test_ten_heights():
    """kalmanfilter.net, example 5, inputs as copied in two places; results computed."""
    heights = [48.54, 47.11, 55.01, 55.15, 49.89, 40.85, 46.72, 50.05, 51.27, 49.95]
    one = np.ones((1, 1))
    run = run_ours(one, 0.0 * one, one, np.array([25.0]), np.array([60.0]), 225.0 * one, heights)
    assert run[0][0][0] == pytest.approx(49.686, abs=5e-4)
    assert run[0][1][0, 0] == pytest.approx(22.5)
    assert run[-1][0][0] == pytest.approx(49.57, abs=5e-3)
    assert run[-1][1][0, 0] == pytest.approx(2.473, abs=5e-3)


def test_covariance_stays_symmetric_and_positive_for_20000_steps():
    phi, q, h, r, x, p, _ = problem(seed=2)
    x, p, phi, q = x[None], p[None], phi[None], 1e-6 * q[None]
    rng = np.random.default_rng(0)
    for _ in range(20_000):
        x, p = kalman.predict(x, p, phi, np.zeros_like(x), q)
        k = int(rng.integers(3))
        x, p, _, _ = kalman.update(
            x, p, rng.normal(size=1), h[k][None], 1e-6 * r[k : k + 1], np.ones(1, bool)
        )
    assert (p == np.swapaxes(p, 1, 2)).all()
    assert np.linalg.eigvalsh(p[0]).min() > 0.0
    assert np.isfinite(x).all()


def test_nothing_enters_where_a_reading_is_missing():
    _, _, h, _, x, p, _ = problem()
    x2, p2 = np.stack([x, x]), np.stack([p, p])
    use = np.array([False, True])
    after, cov, _, _ = kalman.update(
        x2, p2, np.array([np.nan, 1.0]), np.stack([h[0], h[0]]), np.array([np.nan, 1.0]), use
    )
    assert (after[0] == x).all() and (cov[0] == p).all()
    assert np.isfinite(after).all() and np.isfinite(cov).all()


def test_a_bound_moves_the_rest_by_what_is_known_of_both():
    """Conditioning on the bounded state being at its bound: x_j moves by P_ji/P_ii of the step (normal
    regression, any text)."""
    x = np.array([[1.0, 5.0]])
    p = np.array([[[4.0, 2.0], [2.0, 9.0]]])
    held = kalman.hold_within(x, p, 0, 0.0, 0.5)
    assert held[0].tolist() == [0.5, 4.75]
    assert kalman.hold_within(x, p, 0, 0.0, 2.0) is x


NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958,
    1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020,
    1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796,
    1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874,
    848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718,
    714, 740,
]  # fmt: skip
