"""How an articulated machine and its ground answer: three structurally different ways behind one interface.

Common to all, per plane, small angles. Y(s) is the centre of the bore at chainage s, in mm from the straight
line along the start; the cutter sits in the bore that it cuts, so the face is at Y(s). x is the distance back
from the face, Lf the front length, Lr the rear length, L = Lf + Lr, φ the heading of the front body, φ − A
that of the rear body, A the articulation that acts (after play), c(s) the crab of the ground. In each,

    dY/ds = u(s) + c(s)

and the kinds differ in heading φ and cutting direction u:

elastic   The bodies lie in the bore on a distributed support k(x) (front 1, rear `rear_stiffness`), pressed
          by their distance from its centre, δ(x) = [Y(s) − Y(s−x)] − φ·x + e·A·(x − Lf)₊, with e the
          stretch's gain (share of the articulation that reaches the ground). Inside the overcut gap the
          stiffness is only `background` of that outside:  f(δ) = b·δ + (1 − b)·(δ − clip(δ, −gap, gap)). The
          face is held by the cutter, so φ follows from the moment about the face, ∫ k·x·f(δ) dx = 0, at every
          step. The cutter is pushed sideways by F = −∫ k·f(δ) dx and gives way: u = φ + side_cut·F/L².
          Steady circle (gap and crab 0, side_cut 0), curvature κ: u = φ is the tangent, the bore is
          Y(s) − Y(s−x) = φ·x − κ·x²/2, hence ∫ k·x·[−κ·x²/2 + e·A·(x − Lf)₊] dx = 0 and
              κ = 2·e·A · ∫ k·x·(x − Lf)₊ dx / ∫ k·x³ dx,
          for uniform k and Lf = Lr: κ = (5/6)·e·A/L, 0.42 of the rigid 2A/L. With side_cut without end F = 0
          as well, and the same two bodies give κ = 1.5·e·A/L. At a change of A the front body turns at once
          by the share e·∫ k·x·(x − Lf)₊ dx / ∫ k·x² dx (5/16 for equal bodies).
guided    The face and the tail follow the bore rigidly: chord = [Y(s) − Y(s−L)]/L. With g the stretch's gain,
          φ = chord + share·g·A and u = chord + g·A. A delay equation. Steady circle: chord = u − κ·L/2, so κ
          = 2·g·A/L. Rigid bodies on the chord alone would give φ = chord + A·Lr/L.
lagged    The bore's curvature answers first order over `lag_m` λ to gain and tendency:
          dκ/ds = (2·g·A/L + tendency − κ)/λ, u = θ, dθ/ds = κ, φ = θ + share·A: the front body turns within
          the overcut, the bore bends only afterwards. Steady: κ = 2·g·A/L + tendency.

Source of the pieces: equilibrium of a rigid body on a Winkler support (any text on beams on elastic
foundation); the rest is our own reasoning from geometry. The parameters are invented.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from steer.ground.scenario import Ground


class Body(Protocol):
    def heading(self, window: np.ndarray, articulation: np.ndarray, gain: np.ndarray) -> tuple:
        """(heading (2,), cutting direction (2,)) in mm/m with the face at window[-1].

        window: bore centre (m, 2) mm on the grid, the newest last, at least `back` + 1 rows.
        """

    def step(self, articulation: np.ndarray, gain: np.ndarray, tendency: np.ndarray) -> None:
        """Advance by one grid step what the body carries besides the bore."""

    def coarser(self, factor: int) -> Body:
        """The same body in the same state on a grid `factor` times as wide (for quick looks ahead)."""

    back: int


def _hat_weights(x: np.ndarray, end: float, split: float, rear: float) -> tuple[np.ndarray, np.ndarray]:
    """∫k·hat_j dx and ∫k·x·hat_j dx over [0, end] for piecewise linear functions on the nodes x."""
    fine = 64
    h = x[1] - x[0]
    points = (np.arange(fine * (len(x) - 1)) + 0.5) * (h / fine)
    stiffness = np.where(points < split, 1.0, rear) * (points < end) * (h / fine)
    cell = np.minimum((points / h).astype(int), len(x) - 2)
    right = points / h - cell
    force, moment = np.zeros(len(x)), np.zeros(len(x))
    for out, weight in ((force, stiffness), (moment, stiffness * points)):
        np.add.at(out, cell, weight * (1.0 - right))
        np.add.at(out, cell + 1, weight * right)
    return force, moment


class ElasticBody:
    def __init__(self, ground: Ground, front_m: float, rear_m: float, step_m: float) -> None:
        length = front_m + rear_m
        self._made_of = (ground, front_m, rear_m, step_m)
        self.back = int(np.ceil(length / step_m - 1e-9))
        self._x = np.arange(self.back + 1) * step_m
        force, moment = _hat_weights(self._x, length, front_m, ground.rear_stiffness)
        self._moment, self._force = moment, force
        self._bend = np.maximum(self._x - front_m, 0.0)
        self._moment_x = float(moment @ self._x)
        self._moment_bend = float(moment @ self._bend)
        self._force_x, self._force_bend = float(force @ self._x), float(force @ self._bend)
        self._side = ground.side_cut / length**2
        self._gap = np.asarray(ground.gap_mm, float)
        self._background = ground.background
        self._last = np.zeros(2)
        # turned round: the window comes oldest first
        self._moment_r, self._force_r, self._x_r = (
            moment[::-1].copy(),
            force[::-1].copy(),
            self._x[::-1].copy(),
        )
        self._bend_r = self._bend[::-1].copy()

    def heading(self, window: np.ndarray, articulation: np.ndarray, gain: np.ndarray) -> tuple:
        part = window[-self.back - 1 :]
        bore = part[-1] - part
        acting = gain * articulation
        heading = (self._moment_r @ bore + acting * self._moment_bend) / self._moment_x
        if self._gap.any():
            return self._with_gap(bore, acting, self._last if self._last.any() else heading)
        if not self._side:
            return heading, heading
        push = -(self._force_r @ bore - heading * self._force_x + acting * self._force_bend)
        return heading, heading + self._side * push

    def _with_gap(self, bore: np.ndarray, acting: np.ndarray, heading: np.ndarray) -> tuple:
        free = bore + self._bend_r[:, None] * acting
        x, gap, b = self._x_r[:, None], self._gap, self._background
        lever = self._moment_r * self._x_r
        for _ in range(12):  # Newton on a rising piecewise linear function: ends after a few rounds
            apart = free - x * heading
            beyond = apart - np.minimum(np.maximum(apart, -gap), gap)
            pressure = b * apart + (1.0 - b) * beyond
            slope = lever @ np.where(beyond != 0.0, 1.0, b)
            change = (self._moment_r @ pressure) / slope
            heading = heading + change
            if abs(change[0]) < 1e-7 and abs(change[1]) < 1e-7:
                break
        self._last = heading
        return heading, heading - self._side * (self._force_r @ pressure)

    def step(self, articulation: np.ndarray, gain: np.ndarray, tendency: np.ndarray) -> None:
        pass

    def coarser(self, factor: int) -> ElasticBody:
        ground, front_m, rear_m, step_m = self._made_of
        body = ElasticBody(ground, front_m, rear_m, step_m * factor)
        body._last = self._last
        return body


class GuidedBody:
    def __init__(self, ground: Ground, front_m: float, rear_m: float, step_m: float) -> None:
        self._made_of = (ground, front_m, rear_m, step_m)
        self._length = front_m + rear_m
        nodes = self._length / step_m
        self.back = int(np.ceil(nodes - 1e-9))
        self._older = 1.0 - (self.back - nodes)  # weight of the node just behind the tail
        self._share = ground.share

    def heading(self, window: np.ndarray, articulation: np.ndarray, gain: np.ndarray) -> tuple:
        tail = self._older * window[-1 - self.back] + (1.0 - self._older) * window[-self.back]
        chord = (window[-1] - tail) / self._length
        turn = gain * articulation
        return chord + self._share * turn, chord + turn

    def step(self, articulation: np.ndarray, gain: np.ndarray, tendency: np.ndarray) -> None:
        pass

    def coarser(self, factor: int) -> GuidedBody:
        ground, front_m, rear_m, step_m = self._made_of
        return GuidedBody(ground, front_m, rear_m, step_m * factor)


class LaggedBody:
    def __init__(self, ground: Ground, front_m: float, rear_m: float, step_m: float) -> None:
        self._made_of = (ground, front_m, rear_m, step_m)
        self.back = 1
        self._length = front_m + rear_m
        self._share = ground.share
        self._step = step_m
        self._decay = float(np.exp(-step_m / ground.lag_m))
        self._curvature = np.zeros(2)
        self._direction = np.zeros(2)
        self._begun = False

    def heading(self, window: np.ndarray, articulation: np.ndarray, gain: np.ndarray) -> tuple:
        if not self._begun:  # the launch gives the first direction
            self._direction = (window[-1] - window[-2]) / self._step
            self._begun = True
        return self._direction + self._share * articulation, self._direction

    def step(self, articulation: np.ndarray, gain: np.ndarray, tendency: np.ndarray) -> None:
        final = 2.0 * gain * articulation / self._length + tendency
        before = self._curvature
        self._curvature = final + (before - final) * self._decay
        self._direction = self._direction + self._step * 0.5 * (before + self._curvature)

    def coarser(self, factor: int) -> LaggedBody:
        ground, front_m, rear_m, step_m = self._made_of
        body = LaggedBody(ground, front_m, rear_m, step_m * factor)
        body._curvature, body._direction, body._begun = self._curvature, self._direction, self._begun
        return body


KINDS: dict[str, type] = {"elastic": ElasticBody, "guided": GuidedBody, "lagged": LaggedBody}


def body_of(ground: Ground, front_m: float, rear_m: float, step_m: float) -> Body:
    """The body of a ground's kind. Raises KeyError for a kind that is not in KINDS."""
    body: Body = KINDS[ground.kind](ground, front_m, rear_m, step_m)
    return body
