"""About the best that can be done: a controller that is told the truth and the ground's answer."""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.ground.instruments import articulation_of
from steer.ground.limits import Limits
from steer.ground.simulator import Simulation


class Informed:
    """A finite-horizon linear-quadratic controller that is told the truth: the bore, the crab and the
    ground's answer at this moment, and with `foreseen` also what is to come. It minimises Σ offset²·stroke + weight·Σ
    change²/stroke over `horizon_lengths` machine lengths, by least squares, and sets the first change inside
    the limits.

    The weight follows from a distance: for a face that answers y'' = b·A, the cost ∫y² + w·(dA/ds)² has its
    closed loop's three poles at the distance ℓ when w = b²·ℓ⁶; ℓ = `return_lengths` machine lengths.
    """

    name = "informed"

    def __init__(
        self,
        simulation: Simulation,
        horizon_lengths: float = 3.5,
        return_lengths: float = 0.5,
        return_strokes: float = 1.0,
        foreseen: bool = False,
    ) -> None:
        self.simulation, self.limits = simulation, Limits(simulation.machine)
        self.length = simulation.front_m + simulation.rear_m
        self.strokes = max(int(np.ceil(horizon_lengths * self.length / simulation.stroke_m)), 6)
        self.return_m = return_lengths * self.length + return_strokes * simulation.stroke_m
        self.foreseen = foreseen
        self.gains: dict[int, tuple[np.ndarray, np.ndarray]] = {}

    def reading(self, reading: dict[str, Any]) -> None:
        pass

    def shot(self, shot: dict[str, Any]) -> None:
        pass

    def _first_change(self, standing: np.ndarray, free: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rows of the least-squares solution that give the first change, per plane (2, strokes)."""
        simulation = self.simulation
        stretch = simulation.stretch
        if stretch not in self.gains or self.foreseen:
            far = 10.0  # past the gap's soft middle
            answer = (self._ahead(standing + far) - free) / far
            rows = np.empty((2, self.strokes))
            n, stroke = self.strokes, simulation.stroke_m
            for plane in (0, 1):
                steps = np.zeros((n, n))
                for j in range(n):
                    steps[j:, j] = answer[: n - j, plane]
                distance = n * stroke
                bend = 2.0 * answer[-1, plane] / distance**2
                weight = bend**2 * self.return_m**6 / stroke**2
                rows[plane] = np.linalg.solve(steps.T @ steps + weight * np.eye(n), steps.T)[0]
            self.gains[stretch] = (rows, answer)
        return self.gains[stretch]

    def _ahead(self, articulation: np.ndarray) -> np.ndarray:
        return self.simulation.preview(articulation, self.strokes, self.foreseen)

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        simulation = self.simulation
        standing = simulation.standing
        free = self._ahead(standing)
        rows, _ = self._first_change(standing, free)
        change = -np.einsum("pk,kp->p", rows, free)
        now = articulation_of(simulation.machine, simulation.cylinder_mm, simulation.roll_deg)
        return self.limits.settings(now + change, now, simulation.roll_deg)
