"""The motion model's closed forms against general-purpose numerics, and the sensors against geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from support_matched import straight_drive

from steer.estimate import sensors
from steer.estimate.geometry import Columns, Reference, reduce
from steer.estimate.motion import N_STATES, RD, RO, RR, B, C, D, G, H, K, P, T, Y
from steer.estimate.tuning import MODELS, motion_of

DRIVE = straight_drive(3)
MODEL = motion_of(DRIVE)
# without forgetting, what is left is one constant matrix: dx/ds = A·x + B·κ
NONE = np.zeros(len(MODELS))
CONSTANT = replace(MODEL, learn_memory_m=1e15, tendency_fade_m=1e15)


def rates(k, articulation):
    """The equations of the module's docstring as a matrix (12, 12), written out once more."""
    a = np.zeros((N_STATES, N_STATES))
    a[Y, T] = a[Y, C] = 1.0
    a[Y, D] = articulation
    a[T, P] = a[T, K] = 1.0
    a[T, C] = MODEL.crab_coupling_per_m[k]
    a[C, C] = -1.0 / MODEL.crab_fade_m[k]
    a[P, P] = -1.0 / MODEL.lag_m[k]
    a[P, G] = articulation / MODEL.lag_m[k]
    return a


@pytest.mark.parametrize("k", range(len(MODELS)))
@pytest.mark.parametrize("ds", [0.05, 0.5, 3.0])
def test_transition_is_the_matrix_exponential(k, ds):
    phi = CONSTANT.transition(ds, np.full(len(MODELS), 7.0))[k]
    assert np.abs(phi - expm(rates(k, 7.0) * ds)).max() < 1e-9


@pytest.mark.parametrize("k", range(len(MODELS)))
def test_design_curvature_enters_as_known_input(k):
    """Integrated by scipy with the axis turning away below the machine; forgetting off."""
    x0 = np.linspace(1.0, 2.0, N_STATES)
    a = rates(k, -4.0)
    bend = np.zeros(N_STATES)
    bend[T] = -1.7

    def slope(s, x):
        return a @ x + bend

    exact = solve_ivp(slope, (0.0, 0.8), x0, rtol=1e-11, atol=1e-12).y[:, -1]
    phi = CONSTANT.transition(0.8, np.full(len(MODELS), -4.0))[k]
    ours = phi @ x0 + CONSTANT.known_input(0.8, np.full(len(MODELS), 1.7))[k]
    assert np.abs(ours - exact).max() < 1e-8


def test_a_machine_that_holds_the_design_curve_stays_on_it():
    """Steering and design curve of the same curvature: the offset does not move."""
    x = np.zeros((len(MODELS), N_STATES))
    x[:, P] = 2.0
    x[:, G] = 0.25
    phi = CONSTANT.transition(1.0, np.full(len(MODELS), 8.0))
    after = np.einsum("bij,bj->bi", phi, x) + CONSTANT.known_input(1.0, np.full(len(MODELS), 2.0))
    assert np.abs(after[:, [Y, T]]).max() < 1e-12


def polynomial_noise(k):
    """q of the white noises, each with the states it drives."""
    q = np.zeros((N_STATES, N_STATES))
    q[C, C], q[K, K] = MODEL.crab_noise[k] ** 2, MODEL.tendency_noise[k] ** 2
    q[T, T], q[Y, Y] = MODEL.direction_noise**2, MODEL.offset_noise**2
    for state, sd in ((RO, MODEL.reference_offset_noise), (RD, MODEL.reference_direction_noise),
                      (RR, MODEL.reference_curvature_noise)):  # fmt: skip
        q[state, state] = sd**2
    return q


@pytest.mark.parametrize("k", range(len(MODELS)))
@pytest.mark.parametrize("ds", [0.25, 1.0])
def test_process_noise_is_van_loans(k, ds):
    """Van Loan, Computing integrals involving the matrix exponential, IEEE Trans. Automatic Control 23(3),
    1978 (method, from memory), by scipy's expm."""
    a, q = rates(k, 0.0), polynomial_noise(k)
    block = expm(np.block([[-a, q], [np.zeros_like(a), a.T]]) * ds)
    exact = block[N_STATES:, N_STATES:].T @ block[:N_STATES, N_STATES:]
    assert np.abs(CONSTANT.process_noise(ds)[k] - exact).max() < 1e-9


@pytest.mark.parametrize("k", range(len(MODELS)))
def test_process_noise_solves_its_lyapunov_equation(k):
    """dQ/ds = A·Q + Q·Aᵀ + q, put back by differences."""
    a, q, ds, step = rates(k, 0.0), polynomial_noise(k), 0.7, 3e-5
    slope = (CONSTANT.process_noise(ds + step)[k] - CONSTANT.process_noise(ds - step)[k]) / (2.0 * step)
    here = CONSTANT.process_noise(ds)[k]
    assert np.abs(slope - (a @ here + here @ a.T + q)).max() < 1e-8


def test_noise_goes_with_distance_not_with_steps():
    whole = CONSTANT.process_noise(1.0)
    parts = np.zeros_like(whole)
    phi = CONSTANT.transition(0.1, NONE)
    for _ in range(10):
        parts = phi @ parts @ np.swapaxes(phi, 1, 2) + CONSTANT.process_noise(0.1)
    assert np.abs(parts - whole).max() < 1e-9


def test_what_is_learned_returns_to_its_prior():
    """Without readings gain and shares go back to the prior's mean and spread, whatever they were."""
    x = np.full((len(MODELS), N_STATES), 3.0)
    p = np.zeros((len(MODELS), N_STATES, N_STATES))
    for _ in range(60):
        phi = MODEL.transition(50.0, NONE)
        x = np.einsum("bij,bj->bi", phi, x) + MODEL.known_input(50.0, NONE)
        p = phi @ p @ np.swapaxes(phi, 1, 2) + MODEL.process_noise(50.0)
    assert x[:, H] == pytest.approx(MODEL.share_prior, rel=1e-3)
    assert x[:, G] == pytest.approx(MODEL.gain_prior_per_m, rel=1e-3)
    assert np.sqrt(p[:, G, G]) == pytest.approx(MODEL.gain_prior_sd_per_m, rel=1e-3)
    assert np.abs(p[:, H : D + 1, H : D + 1] - MODEL.share_covariance()).max() < 1e-3


def body(target_m):
    return sensors.Body(2.0, 3.0, target_m, MODEL.crab_coupling_per_m, MODEL.crab_fade_m)


@pytest.mark.parametrize("target_m", [1.2, 2.0, 3.5])
def test_target_row_is_the_place_on_the_bodies(target_m):
    """Face at Y, front body at heading T + H·A, rear body at that less A: exact for small angles."""
    x = np.linspace(-2.0, 3.0, N_STATES)
    a = 6.0
    row, const = sensors.target_row(body(target_m), np.full(len(MODELS), a), 0.0, NONE, NONE)
    heading = x[T] + x[H] * a
    on_front, on_rear = min(target_m, 2.0), max(target_m - 2.0, 0.0)
    expected = x[Y] - on_front * heading - on_rear * (heading - a)
    assert np.abs(row @ x + const - expected).max() < 1e-12


def test_tail_row_is_the_end_of_the_rear_body():
    x = np.linspace(-2.0, 3.0, N_STATES)
    row, const = sensors.tail_row(body(1.0), np.full(len(MODELS), 6.0), NONE, NONE)
    heading = x[T] + x[H] * 6.0
    assert np.abs(row @ x + const - (x[Y] - 2.0 * heading - 3.0 * (heading - 6.0))).max() < 1e-12


@pytest.mark.parametrize("k", range(len(MODELS)))
def test_a_value_before_the_node_is_carried_forward(k):
    """Driven 0.2 m by the matrix exponential, the row at the end gives back the start to second order:
    halving the distance divides what is left by about eight."""
    x0 = np.linspace(1.0, 2.0, N_STATES)
    left = []
    for d in (0.2, 0.1):
        x = expm(rates(k, 5.0) * d) @ x0
        offset, c0, heading, h0 = sensors.carried_back(body(1.0), np.full(len(MODELS), 5.0), d, NONE)
        left.append((offset[k] @ x + c0[k] - x0[Y], heading[k] @ x + h0[k] - (x0[T] + x0[H] * 5.0)))
    assert abs(left[0][0]) < 0.02 and abs(left[1][0]) < 0.2 * abs(left[0][0]) + 1e-12
    assert abs(left[1][1]) < 0.35 * abs(left[0][1]) + 1e-12


def test_reference_errors_enter_as_a_bent_line():
    """Offset, direction, curvature of the reference at 80 m: y = o + d·80 + c·80²/2, slope d + c·80."""
    x = np.zeros(N_STATES)
    x[[RO, RD, RR]] = 2.0, 0.05, 3e-4
    row, _ = sensors.target_row(body(1.0), NONE, 0.0, NONE, NONE)
    spot = sensors.add_reference(row, 80.0)
    assert spot @ x == pytest.approx(-(2.0 + 0.05 * 80.0 + 3e-4 * 3200.0))
    yaw, _ = sensors.heading_row(
        body(1.0),
        NONE,
        0.0,
        NONE,
        80.0,
        np.arange(len(MODELS)) % 2 == 0,
    )
    assert (yaw @ x)[:2] == pytest.approx([-(0.05 + 3e-4 * 80.0), 0.0])
    x[B] = 0.3
    assert (yaw @ x)[1] == pytest.approx(0.3)


@pytest.mark.parametrize("missing", ["right", "up"])
def test_one_spot_channel_alone_tells_its_plane(missing):
    """At 1.5 degrees of roll with the target hundreds of mm off the axis the lost channel must not count
    as zero; what is left of its absence is sin(roll) times the machine's own offset."""

    def columns(right, up):
        one = np.array([40.0])
        nan = np.array([np.nan])
        return Columns(one, np.array([right]), np.array([up]), nan, nan, nan, nan, np.array([1.5]))

    reference = Reference.of(DRIVE)
    whole, _ = reduce(DRIVE, reference, columns(-6.0, 9.0))
    right, up = (np.nan, 9.0) if missing == "right" else (-6.0, np.nan)
    part, _ = reduce(DRIVE, reference, columns(right, up))
    plane = 1 if missing == "right" else 0
    assert np.isnan(part[0, 1 - plane])
    off = np.hypot(whole[0, 0], whole[0, 1])
    assert part[0, plane] == pytest.approx(whole[0, plane], abs=np.sin(np.radians(1.5)) * off + 1e-6)
