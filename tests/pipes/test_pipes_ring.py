"""The ring joint against a published table, numerical integration and its exact ends."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from steer.drivefile import TEMPLATE, parse_drive
from steer.pipes import RingJoint
from steer.pipes.ring import pressed_moment, pressed_volume

# Standard for design of high-rising structures (China, GB 50135), appendix H, table H.0.1, as transcribed in
# a public repository, to three decimals: r/R, e/R, contact depth/R, N/(p·R²).
TABLE = [
    (0.00, 0.25, 2.000, 1.571), (0.00, 0.30, 1.820, 1.421), (0.00, 0.40, 1.513, 1.143),
    (0.00, 0.50, 1.234, 0.883),
    (0.50, 0.40, 1.750, 1.023), (0.50, 0.50, 1.463, 0.848),
    (0.70, 0.40, 1.929, 0.772), (0.70, 0.50, 1.665, 0.668), (0.70, 0.60, 1.320, 0.550),
    (0.80, 0.45, 1.905, 0.538), (0.80, 0.50, 1.777, 0.504),
    (0.80, 0.60, 1.445, 0.427), (0.80, 0.64, 1.294, 0.393),
    (0.85, 0.45, 1.955, 0.426), (0.85, 0.55, 1.683, 0.374), (0.85, 0.65, 1.324, 0.313),
    (0.90, 0.50, 1.891, 0.283), (0.90, 0.60, 1.578, 0.246), (0.90, 0.67, 1.317, 0.217),
]  # fmt: skip
# Edge stress over mean stress, by numerical integration of the stated law (independent of this project).
EDGE_OVER_MEAN = [
    (0.8, 0.50, 2.2427), (0.8, 0.60, 2.6465), (0.8, 0.70, 3.3472),
    (0.9, 0.50, 2.1111), (0.9, 0.60, 2.4295), (0.9, 0.70, 2.9351),
]  # fmt: skip


def volume_and_moment(inner: float, depth: float) -> tuple[float, float]:
    """Of a ring with outer radius 1."""
    part = [
        f(1.0, 1.0, depth) - (f(inner, 1.0, depth) if inner else 0.0)
        for f in (pressed_volume, pressed_moment)
    ]
    return float(part[0]), float(part[1])


def depth_for(inner: float, eccentricity: float) -> float:
    def off(depth: float) -> float:
        volume, moment = volume_and_moment(inner, depth)
        return moment / volume - eccentricity

    return float(brentq(off, 0.3, 2.0 + 1e-3, xtol=1e-12))


@pytest.mark.parametrize(("inner", "eccentricity", "depth", "force"), TABLE)
def test_contact_and_force_as_tabulated(
    inner: float, eccentricity: float, depth: float, force: float
) -> None:
    found = depth_for(inner, eccentricity)
    assert found == pytest.approx(depth, abs=1.1e-3)
    assert volume_and_moment(inner, found)[0] / found == pytest.approx(force, abs=1.1e-3)


@pytest.mark.parametrize(("inner", "eccentricity", "ratio"), EDGE_OVER_MEAN)
def test_edge_over_mean_stress(inner: float, eccentricity: float, ratio: float) -> None:
    depth = depth_for(inner, eccentricity)
    mean = volume_and_moment(inner, depth)[0] / depth / (math.pi * (1 - inner**2))
    assert 1.0 / mean == pytest.approx(ratio, abs=1e-4)


@pytest.mark.parametrize("inner", [0.0, 0.3, 0.8, 0.95])
def test_edge_of_the_kern_gives_twice_the_mean(inner: float) -> None:
    """(R² + r²)/(4R), elementary statics."""
    volume, moment = volume_and_moment(inner, 2.0)
    assert moment / volume == pytest.approx((1 + inner**2) / 4, rel=1e-12)
    assert volume / 2.0 == pytest.approx(math.pi * (1 - inner**2) / 2, rel=1e-12)


RING = RingJoint(717.5, 617.5, 15.0, 100.0, 18.0)


def integrated_kn(ring: RingJoint, angle_mm_per_m: float) -> float:
    """The same force by adding up stress over angle and radius with scipy.integrate.quad."""
    depth = ring.max_stress_mpa * ring.thickness_mm / (ring.modulus_mpa * angle_mm_per_m / 1000.0)
    edge = ring.outer_radius_mm - depth

    def at(radius: float) -> float:
        turn = math.acos(max(min(edge / radius, 1.0), -1.0))
        # stress along an arc, integrated over -turn to turn in closed form
        return 2.0 * radius * (radius * math.sin(turn) - edge * turn) * ring.max_stress_mpa / depth

    kinks = [abs(edge)] if ring.inner_radius_mm < abs(edge) < ring.outer_radius_mm else None
    total, _ = quad(
        at, ring.inner_radius_mm, ring.outer_radius_mm, points=kinks, epsabs=1e-6, epsrel=1e-11, limit=400
    )
    return total / 1000.0


@pytest.mark.parametrize(
    "angle", [0.05, 0.5, 1.0, 1.8815, 1.9, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0, 15.0, 40.0, 200.0]
)
def test_closed_form_against_integration(angle: float) -> None:
    assert float(RING.permissible_kn(angle)) == pytest.approx(integrated_kn(RING, angle), rel=1e-7)


def test_straight_joint_carries_the_whole_area() -> None:
    area = math.pi * (717.5**2 - 617.5**2)
    assert float(RING.permissible_kn(0.0)) == pytest.approx(18.0 * area / 1000.0, rel=1e-14)
    assert float(RING.share_of_straight(1e-6)) == pytest.approx(1.0, abs=1e-5)


def test_half_is_left_when_contact_reaches_the_far_edge() -> None:
    angle = 1000.0 * 18.0 * 15.0 / (100.0 * 2.0 * 717.5)
    assert RING.opens_at_mm_per_m == pytest.approx(angle, rel=1e-14)
    assert float(RING.share_of_straight(angle)) == pytest.approx(0.5, rel=1e-12)
    assert float(RING.contact_mm(angle)) == pytest.approx(1435.0, rel=1e-12)


def test_thin_ring_half_open_has_pi_times_the_mean_stress() -> None:
    """V. Chu, A Self-Learning Manual, pp. 328 and 329: "about 3 times"; a thin ring gives pi exactly."""
    thin = RingJoint(700.0, 699.9, 15.0, 100.0, 18.0)
    half_open = 1000.0 * 18.0 * 15.0 / (100.0 * 700.0)
    assert 1.0 / float(thin.share_of_straight(half_open)) == pytest.approx(math.pi, rel=3e-4)


def test_less_force_with_every_mm_per_m_and_the_same_for_both_signs() -> None:
    angles = np.linspace(0.0, 60.0, 2001)
    force = RING.permissible_kn(angles)
    assert (np.diff(force) < 0).all()
    assert np.array_equal(RING.permissible_kn(-angles), force)


def test_an_unknown_angle_permits_no_statement() -> None:
    assert np.isnan(RING.permissible_kn(np.array([np.nan, 1.0]))).tolist() == [True, False]


def test_ring_of_the_drive_file_is_centred_on_the_wall() -> None:
    ring = RingJoint.of(parse_drive(TEMPLATE).pipe)
    assert ring is not None
    assert (ring.outer_radius_mm, ring.inner_radius_mm) == (1060.0, 920.0)
    assert ring.outer_radius_mm + ring.inner_radius_mm == pytest.approx((2160 + 1800) / 2)


def test_without_packer_keys_there_is_no_ring() -> None:
    pipe = parse_drive(TEMPLATE).pipe.model_copy(update={"max_joint_stress_mpa": None})
    assert RingJoint.of(pipe) is None
