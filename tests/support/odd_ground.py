"""A machine in ground of another structure than the practice ground's: its own few lines of physics (invented).

Straight axis, one stroke after the other, readings every 15 cm, a check shot of the target every 25 m. Per plane

    curvature of the bore    lags (once or twice) what the articulation, past its play, asks a dead distance later
    direction of the bore    grows by that curvature and a tendency that wanders
    face                     goes that way, plus a crab that wanders, plus half of what the front body turned at once
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.ground.presets import DRIVE

STEP_M = 0.05
LENGTH_M = 120.0


@dataclass(frozen=True)
class Kind:
    """`lag_m` once or (`twice`) two times in a row, after `delay_m`; `gain` of rigid guides; `answer_left` of it to
    the left and down; `turned_deg` the planes against each other; `waves_mm_per_m` of crab, 9 m long."""

    lag_m: float = 4.0
    twice: bool = False
    delay_m: float = 0.0
    gain: float = 0.65
    gain_waves: float = 0.0
    play_mm_per_m: float = 0.5
    share: float = 0.3
    answer_left: float = 1.0
    turned_deg: float = 0.0
    waves_mm_per_m: float = 0.0
    tendency_sd: float = 0.1
    stroke_m: float = 1.0


KINDS = {
    "plain": Kind(),
    "quiet": Kind(tendency_sd=0.02),
    "two lags": Kind(lag_m=3.0, twice=True),
    "dead 2 m": Kind(lag_m=3.0, delay_m=2.0),
    "dead 3.5 m": Kind(lag_m=2.0, delay_m=3.5),
    "dead 5 m": Kind(lag_m=1.0, delay_m=5.0),
    "slow, weak, loose": Kind(lag_m=8.0, gain=0.3, play_mm_per_m=2.0, stroke_m=1.5),
    "weak to the left": Kind(answer_left=0.35),
    "gain in waves": Kind(gain_waves=0.45),
    "weak": Kind(gain=0.2),
    "strong": Kind(gain=1.17),
    "loose": Kind(play_mm_per_m=3.0),
    "planes turned": Kind(turned_deg=15.0),
    "layers": Kind(waves_mm_per_m=5.0),
    "turns at once": Kind(lag_m=0.3, share=0.8),
    "stroke 3 m": Kind(stroke_m=3.0),
}


def _wander(rng: np.random.Generator, n: int, planes: int, sd: float, length_m: float) -> np.ndarray:
    keep = np.exp(-STEP_M / length_m)
    draw = rng.normal(size=(n, planes))
    out = np.empty((n, planes))
    out[0] = draw[0]
    for i in range(1, n):
        out[i] = keep * out[i - 1] + np.sqrt(1.0 - keep * keep) * draw[i]
    return sd * out


def _turned(degrees: float) -> np.ndarray:
    t = np.radians(degrees)
    return np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])


class OddDrive:
    """One drive; `toml` describes it. `start`, `advance(cylinder_mm)` and `shots` as a simulation has them."""

    def __init__(self, kind: Kind, seed: int) -> None:
        self.kind, rng = kind, np.random.default_rng([seed, 99])
        self.rng = rng
        self.toml: dict[str, Any] = copy.deepcopy(DRIVE)
        self.toml["drive"]["stroke_m"] = kind.stroke_m
        self.toml["axis"]["horizontal"] = [{"kind": "line", "length_m": LENGTH_M + 20.0}]
        self.toml["axis"]["vertical"] = [
            {"kind": "grade", "length_m": LENGTH_M + 20.0, "grade_mm_per_m": 4.0}
        ]
        self.machine, self.target = self.toml["machine"], self.toml["target"]
        n = round((LENGTH_M + 20.0) / STEP_M)
        self.s = np.arange(n) * STEP_M
        self.crab = _wander(rng, n, 2, 1.5, 12.0) + rng.normal(size=2) * 2.0
        if kind.waves_mm_per_m:
            phase = rng.uniform(0.0, 2.0 * np.pi, 2)
            self.crab = self.crab + kind.waves_mm_per_m * np.sin(2.0 * np.pi * self.s[:, None] / 9.0 + phase)
        self.tendency = _wander(rng, n, 2, kind.tendency_sd, 15.0)
        self.gain = np.full((n, 2), kind.gain) * (1.0 + 0.1 * rng.normal(size=2))
        self.gain *= 1.0 + kind.gain_waves * np.sin(2.0 * np.pi * self.s / 25.0)[:, None]
        self.roll = _wander(rng, n, 1, 0.6, 20.0)[:, 0]
        self.face, self.heading, self.asked = np.zeros((n, 2)), np.zeros((n, 2)), np.zeros((n, 2))
        self.face[0], self.direction = 3.0 * rng.normal(size=2), 1.0 * rng.normal(size=2)
        self.heading[0] = self.direction
        self.reference = 1.5 * rng.normal(size=2) + np.outer(self.s, 0.02 * rng.normal(size=2))
        self.pitch_zero = 0.3 * rng.normal()
        self.bend, self.before, self.acting, self.front = (np.zeros(2) for _ in range(4))
        self.cylinder_mm = np.full(
            len(self.machine["cylinders"]["positions_deg"]), self.machine["cylinders"]["neutral_mm"], float
        )
        self.k, self.last_shot_m = 0, 0.0

    @property
    def chainage_m(self) -> float:
        return float(self.s[self.k])

    @property
    def finished(self) -> bool:
        return self.chainage_m >= LENGTH_M - 1e-6

    def articulation(self, cylinder_mm: np.ndarray) -> np.ndarray:
        """(2,) mm/m at the present roll, by least squares."""
        cylinders = self.machine["cylinders"]
        t = np.radians(np.array(cylinders["positions_deg"], float) + self.roll[self.k])
        rows = -cylinders["circle_radius_mm"] / 1000.0 * np.column_stack([np.sin(t), np.cos(t)])
        return np.linalg.lstsq(rows, np.asarray(cylinder_mm, float) - cylinders["neutral_mm"], rcond=None)[0]

    def start(self) -> list[dict[str, Any]]:
        return [self._reading() for _ in range(5)]

    def advance(self, cylinder_mm: np.ndarray) -> list[dict[str, Any]]:
        self.cylinder_mm = np.asarray(cylinder_mm, float)
        out = []
        for _ in range(round(self.kind.stroke_m / STEP_M)):
            self._step()
            if self.k % 3 == 0:
                out.append(self._reading())
        return out

    def _step(self) -> None:
        kind, k = self.kind, self.k
        self.asked[k] = self.articulation(self.cylinder_mm)
        late = self.asked[k - round(kind.delay_m / STEP_M)] if self.s[k] >= kind.delay_m else np.zeros(2)
        play = kind.play_mm_per_m
        self.acting = np.clip(self.acting, late - play, late + play)
        self.front = np.clip(self.front, self.asked[k] - play, self.asked[k] + play)
        acting = np.where(self.acting < 0.0, kind.answer_left * self.acting, self.acting)
        wanted = 2.0 * self.gain[k] / self._length() * (_turned(kind.turned_deg) @ acting)
        if kind.twice:
            self.before = self.before + (wanted - self.before) * STEP_M / kind.lag_m
            wanted = self.before
        self.bend = self.bend + (wanted - self.bend) * STEP_M / kind.lag_m
        self.direction = self.direction + (self.bend + self.tendency[k]) * STEP_M
        turn = 0.5 * kind.share * self.front
        self.face[k + 1] = self.face[k] + (self.direction + self.crab[k] + turn) * STEP_M
        self.heading[k + 1] = self.direction + turn
        self.k += 1

    def _length(self) -> float:
        return float(self.machine["front_length_m"] + self.machine["rear_length_m"])

    def _target(self) -> np.ndarray:
        arm = _turned(self.roll[self.k]) @ [self.target["right_mm"], self.target["up_mm"]]
        found: np.ndarray = self.face[self.k] - self.heading[self.k] * self.target["behind_face_m"] + arm
        return found

    def _reading(self) -> dict[str, Any]:
        rng, k = self.rng, self.k
        runs = self.reference[k] + [self.toml["reference"]["right_mm"], self.toml["reference"]["up_mm"]]
        spot = _turned(-self.roll[k]) @ (runs - self._target())
        spot = spot + rng.normal(size=2) * (1.5 + 0.0075 * self.s[k])
        beam = (self.reference[1] - self.reference[0])[0] / STEP_M
        pitch = self.heading[k, 1] + 4.0 + self.pitch_zero
        return {
            "kind": "reading",
            "chainage_m": round(self.chainage_m, 3),
            "spot_right_mm": round(float(spot[0]), 1),
            "spot_up_mm": round(float(spot[1]), 1),
            "yaw_mm_per_m": round(float(self.heading[k, 0] - beam + 0.7 * rng.normal()), 2),
            "pitch_mm_per_m": round(float(pitch + 0.5 * rng.normal()), 2),
            "roll_deg": round(float(self.roll[k] + 0.05 * rng.normal()), 2),
            "cylinder_mm": [round(float(c + 0.3 * rng.normal()), 1) for c in self.cylinder_mm],
        }

    def shots(self) -> list[dict[str, Any]]:
        if self.chainage_m - self.last_shot_m < 25.0:
            return []
        self.last_shot_m = self.chainage_m
        line, level = self._target() + 2.0 * self.rng.normal(size=2)
        return [
            {
                "kind": "check_shot",
                "chainage_m": round(self.chainage_m, 3),
                "point": "target",
                "line_mm": round(float(line), 1),
                "level_mm": round(float(level), 1),
                "sd_mm": 2.0,
            }
        ]

    def driven(self) -> np.ndarray:
        """Offsets (n, 2) of the face after the first 15 m."""
        return self.face[round(15.0 / STEP_M) : self.k + 1]
