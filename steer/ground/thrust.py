"""The force in the pipe string (face pressure, friction, what the bends of the path add) and cutting torque.

At a joint turned by β the axial force N presses the pipes sideways with N·β, and friction μ takes μ·N·β of the
thrust. With pipes of length L and skin friction q a metre, from the shaft (s = 0) towards the face,

    −dN/ds = q(s) + μ·β(s)/L · N        hence, with B(s) = ∫ μ·β/L ds over the joints from the shaft on,
    N(s) = [F·exp(B(face)) + ∫ from s to the face of q·exp(B) ds] / exp(B(s)),

which for q = 0 is the belt equation N(0) = F·exp(μ·Σβ) (Euler 1762, Eytelwein 1808; any text on statics).
So who steers in sharp bends pays for it in thrust, over the whole string. μ is invented.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def joint_angles(path_mm: np.ndarray, pipe_steps: int, step_m: float) -> np.ndarray:
    """Angles (n,) in mm/m of pipes `pipe_steps` long that follow a path (n, 2) at even steps, by second
    differences, both planes together; 0 where a pipe on either side would lie beyond the path's ends."""
    angle = np.zeros(len(path_mm))
    p = pipe_steps
    if len(path_mm) > 2 * p:
        turn = (path_mm[2 * p :] - 2.0 * path_mm[p:-p] + path_mm[: -2 * p]) / (p * step_m)
        angle[p:-p] = np.hypot(turn[:, 0], turn[:, 1])
    return angle


def bends(angle_mm_per_m: np.ndarray, pipe_m: float, step_m: float, mu: float) -> np.ndarray:
    """B (n,) at the grid points of the module's text, from joint angles (n,) in mm/m; 0 at the first point."""
    rate = mu * angle_mm_per_m / 1000.0 / pipe_m
    return np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2.0) * step_m])


def along(face_kn: float, friction_kn_per_m: np.ndarray, bend: np.ndarray, step_m: float) -> np.ndarray:
    """N (n,) in kN at grid points from the shaft to the face: `friction_kn_per_m` (n,) and B (n,)."""
    grown = np.exp(bend)
    each = friction_kn_per_m * grown
    skin = np.concatenate([[0.0], np.cumsum((each[1:] + each[:-1]) / 2.0) * step_m])
    found: np.ndarray = (face_kn * grown[-1] + skin[-1] - skin) / grown
    return found


def cutting_torque(
    rng: np.random.Generator, pressure_kpa: np.ndarray, diameter_mm: float, rolled_sds: np.ndarray
) -> np.ndarray:
    """Torque (m,) kNm at the cutter, with noise. The machine turns against its cutter: by one sd of its roll
    (`rolled_sds`) for each quarter that the torque is over its mean."""
    radius = diameter_mm / 2000.0
    # pressure times face times two thirds of the radius, and the share of it that resists turning (invented)
    mean = 0.4 * pressure_kpa * np.pi * radius**2 * 2.0 / 3.0 * radius
    noise = 1.0 + 0.03 * rng.normal(size=len(pressure_kpa))
    found: np.ndarray = mean * np.maximum(1.0 + 0.25 * rolled_sds, 0.1) * noise
    return found


class String:
    """The pipes behind one machine. Grid points are numbered from the shaft (0); a driven path is given from
    `before` points ahead of the shaft (the bore's straight run-up) to the face."""

    def __init__(
        self,
        drive: dict[str, Any],
        mu: float,
        friction_kpa: np.ndarray,
        pressure_kpa: np.ndarray,
        before: int,
        step_m: float,
    ) -> None:
        machine, pipe = drive["machine"], drive["pipe"]
        self.girth_m = np.pi * float(pipe["outer_diameter_mm"]) / 1000.0
        self._area_m2 = np.pi * (float(machine["outer_diameter_mm"]) / 2000.0) ** 2
        self._pipe_m, self._step_m, self._mu, self._before = float(pipe["length_m"]), step_m, mu, before
        self._friction, self._pressure = friction_kpa * self.girth_m, pressure_kpa
        # the first joint lies a pipe behind the machine's tail
        length = float(machine["front_length_m"]) + float(machine["rear_length_m"])
        self._behind = round((length + self._pipe_m) / step_m)

    def _bends(self, path_mm: np.ndarray) -> np.ndarray:
        """B (n,) up to the face; beyond the first joint it stays as it is there."""
        angle = joint_angles(path_mm, max(round(self._pipe_m / self._step_m), 1), self._step_m)
        angle = angle[self._before :]
        angle[max(len(angle) - self._behind, 0) :] = 0.0
        return bends(angle, self._pipe_m, self._step_m, self._mu)

    def at_jacks(self, path_mm: np.ndarray, face: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Thrust at the jacks (m,) kN with the face at grid points `face` (m,) along a driven path: the face's
        share and the skin's."""
        grown = np.exp(self._bends(path_mm))
        q = self._friction[: len(grown)]
        last = np.clip(face - self._behind, 0, None)
        bare, bent = (
            np.concatenate([[0.0], np.cumsum((v[1:] + v[:-1]) / 2.0) * self._step_m]) for v in (q, q * grown)
        )
        skin = bent[last] + grown[last] * (bare[face] - bare[last])
        return self._pressure[face] * self._area_m2 * grown[last], skin

    def along(self, path_mm: np.ndarray) -> np.ndarray:
        """N (n,) kN from the shaft to the face at the end of a driven path."""
        bend = self._bends(path_mm)
        n = len(bend)
        return along(float(self._pressure[n - 1]) * self._area_m2, self._friction[:n], bend, self._step_m)
