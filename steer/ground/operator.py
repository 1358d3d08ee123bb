"""The practised operator: steers by rule of thumb from what the guidance shows."""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.ground.course import Course
from steer.ground.instruments import articulation_of
from steer.ground.limits import Limits


class RuleOfThumb:
    """A practised operator: reads the target, corrects it by the last check shot, works out where the nose is
    and where it is going, wants to be back on line within `back_m`, and sets the articulation a little
    towards that every `act_m` metres; through curves he starts from the articulation that the curve needs on
    paper.

    The habits (back within two machine lengths, pointing at most 6 mm/m across, a hand on the cylinders every
    1.5 m) are those of a calm operator: common practice, no source. His three gains were searched on drives
    of other seeds than the tables use (`python tests/bench/tune_rule.py`). Searched without the habits, the
    same rule turns into a nervous regulator that holds 5 to 20 mm by moving the cylinders at every stroke.
    """

    name = "rule"

    def __init__(
        self,
        drive: dict[str, Any],
        back_lengths: float = 2.0,
        most_mm_per_m: float = 6.0,
        quick: float = 1.2,
        slow: float = 0.27,
        act_m: float = 1.5,
        lead_lengths: float = 0.75,
    ) -> None:
        self.drive, self.limits = drive, Limits(drive["machine"])
        machine = drive["machine"]
        self.length = machine["front_length_m"] + machine["rear_length_m"]
        self.back_m, self.most, self.quick, self.slow, self.act_m = (
            back_lengths * self.length, most_mm_per_m, quick, slow, act_m,
        )  # fmt: skip
        total = sum(part["length_m"] for part in drive["axis"]["horizontal"])
        self.start = drive["axis"]["start"]["chainage_m"]
        self.course = Course(drive["axis"], np.arange(-10.0, total + 20.0, 0.25))
        self.lead_m = lead_lengths * self.length
        self.directions: list[tuple[float, np.ndarray]] = []
        self.recent: list[tuple[float, np.ndarray, np.ndarray, float]] = []
        self.track: list[tuple[float, np.ndarray]] = []
        self.shift = np.zeros(2)
        self.before: np.ndarray | None = None
        self.acted = -1e9
        self.now_cylinders = np.full(
            len(machine["cylinders"]["positions_deg"]), machine["cylinders"]["neutral_mm"]
        )
        self.curve = np.zeros(2)
        self.roll = 0.0

    def _design(self, along: float, what: np.ndarray) -> np.ndarray:
        return np.array([np.interp(along, self.course.along_m, what[:, k]) for k in (0, 1)])

    def reading(self, reading: dict[str, Any]) -> None:
        if reading.get("roll_deg") is not None:
            self.roll += 0.2 * (reading["roll_deg"] - self.roll)
        if reading.get("spot_right_mm") is None or reading.get("yaw_mm_per_m") is None:
            return
        target, reference = self.drive["target"], self.drive["reference"]
        turn = np.radians(self.roll)
        right = target["right_mm"] + reading["spot_right_mm"]
        up = target["up_mm"] + reading["spot_up_mm"]
        rolled = np.array(
            [right * np.cos(turn) + up * np.sin(turn), -right * np.sin(turn) + up * np.cos(turn)]
        )
        along = reading["chainage_m"] - self.start
        behind = target["behind_face_m"]
        runs = np.array([reference["right_mm"], reference["up_mm"]], float)
        lean = np.zeros(2)
        tangent = self._design(along - behind, self.course.direction)
        if reference["kind"] == "beam":
            lean = np.array([reference["right_mm_per_m"], reference["up_mm_per_m"]])
            runs = runs + lean * (along - behind) - self._design(along - behind, self.course.offset)
            lean = lean - tangent
        at_target = runs - rolled
        nose = np.array([
            reading["yaw_mm_per_m"] + lean[0],
            reading["pitch_mm_per_m"] - self.course.grade_mm_per_m - tangent[1],
        ])  # fmt: skip
        face = at_target + nose * behind + self._design(along, self.course.curvature) * -(behind**2) / 2
        self.recent.append((along, face, nose, along))
        self.recent = [r for r in self.recent if r[0] > along - 1.0]

    def _seen(self) -> tuple[np.ndarray, np.ndarray]:
        face = np.median([r[1] for r in self.recent], axis=0) + self.shift
        return face, np.median([r[2] for r in self.recent], axis=0)

    def shot(self, shot: dict[str, Any]) -> None:
        if not self.recent:
            return
        seen, nose = self._seen()
        found = np.array([shot["line_mm"], shot["level_mm"]])
        if shot["point"] == "target":
            target, turn = self.drive["target"], np.radians(self.roll)
            right, up = target["right_mm"], target["up_mm"]
            found = found - [
                right * np.cos(turn) + up * np.sin(turn),
                -right * np.sin(turn) + up * np.cos(turn),
            ]
            found = found + nose * target["behind_face_m"]
        self.shift = self.shift + (found - seen)
        self.track = [(at, place + (found - seen)) for at, place in self.track]

    def _soon(self, along: float, direction: np.ndarray) -> np.ndarray:
        """Where the nose will point `lead_m` on if it goes on turning as over the last machine length."""
        self.directions.append((along, direction))
        self.directions = [d for d in self.directions if d[0] > along - max(self.length, 2.5)]
        at = np.array([d[0] for d in self.directions])
        if len(at) < 3:
            return direction
        ways = np.array([d[1] for d in self.directions])
        turning = ((at - at.mean()) @ (ways - ways.mean(axis=0))) / ((at - at.mean()) @ (at - at.mean()))
        ahead: np.ndarray = direction + self.lead_m * turning
        return ahead

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        if not self.recent:
            return self.now_cylinders
        along = chainage_m - self.start
        face, nose = self._seen()
        middle = float(np.mean([r[0] for r in self.recent]))
        self.track.append((middle, face))
        self.track = [t for t in self.track if t[0] > middle - 3.0]
        direction = nose
        if len(self.track) > 2 and middle - self.track[0][0] > 1.0:
            at = np.array([t[0] for t in self.track])
            places = np.array([t[1] for t in self.track])
            slope = ((at - at.mean()) @ (places - places.mean(axis=0))) / (
                (at - at.mean()) @ (at - at.mean())
            )
            direction = 0.5 * (nose + slope)
        face = face + direction * (along - middle)
        direction = self._soon(along, direction)
        now = articulation_of(self.drive["machine"], self.now_cylinders, self.roll)
        curve = self._design(along + 0.3 * self.length, self.course.curvature) * self.length / 2.0 / 0.55
        miss = np.clip(-face / self.back_m, -self.most, self.most) - direction
        change = curve - self.curve
        acts = along - self.acted >= self.act_m - 1e-6
        if acts:
            change = change + self.quick * (miss - (self.before if self.before is not None else 0.0))
            change = change + self.slow * miss
        if np.abs(change).max() > 0.5:  # less is not worth touching the cylinders for
            self.now_cylinders = self.limits.settings(now + change, now, self.roll)
            self.curve = curve
            if acts:
                self.before, self.acted = miss, along
        return self.now_cylinders
