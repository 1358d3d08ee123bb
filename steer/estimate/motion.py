"""Motion of an articulated machine in one plane, as a linear model with a known input.

State, per plane (line or level), against the design axis:

    Y   mm      offset of the face
    T   mm/m    direction of the bore behind the face: what the bodies lie in
    C   mm/m    crab: direction of travel minus heading, imposed by the ground
    K   mm/m²   tendency: curvature that the ground adds
    P   mm/m²   curvature that the articulation has built up so far
    H   -       share of the articulation by which the front body turns at once
    D   -       share of the articulation by which the direction of travel turns at once
    G   1/m     steady path curvature per articulation (the learned gain)
    RO  mm      reference offset error (actual minus set)
    RD  mm/m    reference direction error
    RR  mm/m²   reference curvature (refraction): offset error RR·d²/2 at distance d
    B   mm/m    zero error of the angle channel (inclinometer in level, yaw sensor in line)

With A the articulation held over the advance (known), A(s − delay) what was held a dead distance behind (0 in
most models), heading = T + H·A, and

    dY/ds = T + D·A + C
    dT/ds = P + K + c·C − κ_design
    dP/ds = (G·A(s − delay) − P)/lag
    dC/ds = −C/crab_fade + white noise (most models: no fade), dK/ds = −K/fade + white noise,
    H, D, G drift slowly back to their prior.

Sources. Two bodies ride in the bore the face has cut: with the tail on the bore, the front body's
heading is share·A plus the mean direction of the bore over the machine length L (plane geometry of
two chords); the mean direction follows the direction of travel as (dir(s) − dir(s−L))/L, whose
first-order (Padé) form is dT/ds = (2/L)·(dir − T). Hence the crab's coupling c = 2·η/L and the
rigid gain 2·rear/L²; rigid guides that hold all three points would give 2/L (circle through three
points: the articulation angle is L/(2R)). Ground gives less than either, so the gain is learned.
κ_design enters as known input, so a design curve is not mistaken for a disturbance.

Discretisation over an advance ds is in closed form (P and C decay while others integrate them; K's fade
is applied after the step, exact to first order in ds/fade). The noise is the integral of Φ(s)·q·Φ(s)ᵀ
over the advance (van Loan's integral: the crab's by Gauss's six points, the rest in closed form from the
polynomial part of Φ), so it goes with distance advanced and not with the number of readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

Y, T, C, K, P, H, D, G, RO, RD, RR, B = range(12)
N_STATES = 12

_CRAB = np.array([Y, T, C])  # what a crab moves
_GAUSS = np.polynomial.legendre.leggauss(6)

ANSWER_DOUBT = 0.4  # relative, per root metre


@lru_cache(maxsize=64)
def unit_answer(ds_m: float) -> np.ndarray:
    """Covariance (12, 12) that unit white noise of P's rate leaves over `ds_m`: it enters T and Y as a
    tendency does."""
    response = np.zeros((N_STATES, 3))
    response[P, 0] = response[T, 1] = 1.0
    response[Y, 2] = 0.5
    powers = np.arange(3)
    order = powers[:, None] + powers[None, :] + 1
    found: np.ndarray = response @ (ds_m**order / order) @ response.T
    found.setflags(write=False)
    return found


@dataclass(frozen=True, eq=False)
class MotionModel:
    """Constants of a stack of models of one machine; lengths in m, units as in the module's table.

    Fields that are arrays have shape (b,), one entry a model of the stack; the rest is shared.
    D's prior is `travel_of_share`·H with sd `travel_tie_sd`.
    `…_noise` are standard deviations gained over one metre (random walks: they grow with the square
    root of the advance).
    """

    length_m: float
    lag_m: np.ndarray
    delay_m: np.ndarray
    crab_coupling_per_m: np.ndarray
    share_prior: float
    share_prior_sd: float
    travel_of_share: np.ndarray
    travel_tie_sd: np.ndarray
    share_bounds: tuple[float, float]
    gain_prior_per_m: float
    gain_prior_sd_per_m: float
    gain_bounds_per_m: tuple[float, float]
    crab_sd: float
    crab_noise: np.ndarray
    crab_fade_m: np.ndarray
    tendency_sd: float
    tendency_noise: np.ndarray
    tendency_fade_m: float
    offset_noise: float
    direction_noise: float
    learn_memory_m: float
    reference_offset_noise: float
    reference_direction_noise: float
    reference_curvature_noise: float

    def transition(self, ds_m: float, articulation: np.ndarray, late: np.ndarray | None = None) -> np.ndarray:
        """Φ over `ds_m` for the articulation (mm/m) of each model of the stack: (b,) -> (b, 12, 12).

        `late` (b,) is the articulation held a model's delay behind; left out, as it is now.
        """
        a = np.asarray(articulation, float)
        late = a if late is None else np.asarray(late, float)
        phi = np.zeros((len(self.lag_m), N_STATES, N_STATES))
        phi[:, range(N_STATES), range(N_STATES)] = 1.0
        lag = self.lag_m
        decay = np.exp(-ds_m / lag)
        once = lag * (1.0 - decay)  # ∫ of a decaying P
        twice = lag * (ds_m - once)  # ∫∫ of a decaying P
        half = 0.5 * ds_m * ds_m
        phi[:, Y, T] = ds_m
        phi[:, Y, C], phi[:, T, C], phi[:, C, C] = self._of_crab(np.array([ds_m]))[..., 0]
        phi[:, Y, K] = half
        phi[:, Y, P] = twice
        phi[:, Y, D] = a * ds_m
        phi[:, Y, G] = late * (half - twice)
        phi[:, T, K] = ds_m
        phi[:, T, P] = once
        phi[:, T, G] = late * (ds_m - once)
        phi[:, P, P] = decay
        phi[:, P, G] = late * (1.0 - decay)
        phi[:, K, K] = math.exp(-ds_m / self.tendency_fade_m)
        memory = math.exp(-ds_m / self.learn_memory_m)
        phi[:, H, H] = phi[:, D, D] = phi[:, G, G] = memory
        return phi

    def _of_crab(self, ds_m: np.ndarray) -> np.ndarray:
        """(Y, T, C) after the advances (k,) that began with one mm/m of crab: (3, b, k)."""
        found = np.empty((3, len(self.lag_m), len(ds_m)))
        once, twice, left = found
        once[:], twice[:], left[:] = ds_m, 0.5 * ds_m * ds_m, 1.0
        fades = np.isfinite(self.crab_fade_m)
        if fades.any():
            fade = self.crab_fade_m[fades, None]
            left[fades] = np.exp(-ds_m / fade)
            once[fades] = fade * (1.0 - left[fades])
            twice[fades] = fade * (ds_m - once[fades])
        coupling = self.crab_coupling_per_m[:, None]
        found[0], found[1] = once + coupling * twice, coupling * once
        return found

    def known_input(self, ds_m: float, curvature: np.ndarray) -> np.ndarray:
        """What is added to Φ·x over `ds_m` under a design curvature κ (mm/m²): (b,) -> (b, 12).

        The axis turns away: Y loses κ·ds²/2, T loses κ·ds. H, D and G return towards their prior.
        """
        k = np.asarray(curvature, float)
        u = np.zeros((*k.shape, N_STATES))
        u[..., Y] = -0.5 * k * ds_m * ds_m
        u[..., T] = -k * ds_m
        back = 1.0 - math.exp(-ds_m / self.learn_memory_m)
        u[..., H] = back * self.share_prior
        u[..., D] = back * self.share_prior * self.travel_of_share
        u[..., G] = back * self.gain_prior_per_m
        return u

    def share_covariance(self) -> np.ndarray:
        """Prior covariance (b, 2, 2) of (H, D)."""
        v, t = self.share_prior_sd**2, self.travel_of_share
        one = np.full_like(t, v)
        return np.stack(
            [np.stack([one, t * v], -1), np.stack([t * v, t * t * v + self.travel_tie_sd**2], -1)], -2
        )

    def process_noise(self, ds_m: float) -> np.ndarray:
        """Q over `ds_m`, (b, 12, 12): ∫ Φ(s)·q·Φ(s)ᵀ ds with each noise's polynomial response."""
        b = len(self.lag_m)
        q = np.zeros((b, N_STATES, N_STATES))
        powers = np.arange(3)
        moments = ds_m ** (powers[:, None] + powers[None, :] + 1) / (powers[:, None] + powers[None, :] + 1)
        crab = self._of_crab(0.5 * ds_m * (1.0 + _GAUSS[0]))
        crab_q = np.einsum("ibk,jbk,k->bij", crab, crab, 0.5 * ds_m * _GAUSS[1])
        q[:, _CRAB[:, None], _CRAB] = (self.crab_noise**2)[:, None, None] * crab_q
        tendency = np.zeros((1, N_STATES, 3))
        tendency[:, K, 0] = tendency[:, T, 1] = 1.0
        tendency[:, Y, 2] = 0.5
        direction = np.zeros((1, N_STATES, 3))
        direction[:, T, 0] = direction[:, Y, 1] = 1.0
        for response, sd in (
            (tendency, self.tendency_noise),
            (direction, self.direction_noise),
        ):
            variance = np.broadcast_to(np.square(sd), (b,))[:, None, None]
            q += variance * (response @ moments @ np.swapaxes(response, 1, 2))
        forgotten = 1.0 - math.exp(-2.0 * ds_m / self.learn_memory_m)
        q[:, H : D + 1, H : D + 1] += forgotten * self.share_covariance()
        q[:, G, G] += forgotten * self.gain_prior_sd_per_m**2
        q[:, Y, Y] += self.offset_noise**2 * ds_m
        q[:, RO, RO] += self.reference_offset_noise**2 * ds_m
        q[:, RD, RD] += self.reference_direction_noise**2 * ds_m
        q[:, RR, RR] += self.reference_curvature_noise**2 * ds_m
        return q

    def answer_noise(self, ds_m: float, x: np.ndarray, articulation: np.ndarray) -> np.ndarray:
        """Noise of the built-up curvature over `ds_m`, (b, 12, 12), in proportion to how fast it is on its
        way at state x (b, 12): a lag or a gain that is wrong by a third errs by a third of that."""
        rate = ANSWER_DOUBT * np.abs(x[:, G] * articulation - x[:, P]) / self.lag_m
        found: np.ndarray = (rate * rate)[:, None, None] * unit_answer(ds_m)
        return found
