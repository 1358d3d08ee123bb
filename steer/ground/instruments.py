"""What the guidance shows of a machine that truly is somewhere: spot, yaw, pitch, roll, cylinders, with every
error.

Geometry as the contract states it, written apart from `steer.machine` on purpose so that a fault there shows.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.ground.course import Course
from steer.ground.scenario import Scenario


def articulation_of(machine: dict[str, Any], cylinder_mm: np.ndarray, roll_deg: float) -> np.ndarray:
    """(right, up) mm/m of the front body from extensions (n,), least squares, at the true roll."""
    cylinders = machine["cylinders"]
    angle = np.radians(np.asarray(cylinders["positions_deg"], float) + roll_deg)
    plane = np.column_stack([np.ones_like(angle), -np.sin(angle), -np.cos(angle)])
    plane[:, 1:] *= cylinders["circle_radius_mm"] / 1000.0
    drawn_in = np.asarray(cylinder_mm, float) - cylinders["neutral_mm"]
    if len(angle) < 3:
        raise ValueError("a machine has at least three steering cylinders")
    solution: np.ndarray = np.linalg.lstsq(plane, drawn_in, rcond=None)[0]
    return solution[1:]


def cylinders_for(machine: dict[str, Any], right_up_mm_per_m: np.ndarray, roll_deg: float) -> np.ndarray:
    """Extensions (n,) mm that make an articulation at a roll, unrounded and unlimited."""
    cylinders = machine["cylinders"]
    angle = np.radians(np.asarray(cylinders["positions_deg"], float) + roll_deg)
    right, up = right_up_mm_per_m
    drawn_in: np.ndarray = (
        cylinders["circle_radius_mm"] * (right * np.sin(angle) + up * np.cos(angle)) / 1000.0
    )
    return cylinders["neutral_mm"] - drawn_in


class Instruments:
    """Readings of one drive. The constant errors are drawn once from the drive file's sds; every stroke has
    its own stream of chance, so that two controllers on the same scenario meet the same noise."""

    def __init__(self, scenario: Scenario, course: Course) -> None:
        self._scenario, self._course = scenario, course
        drive = scenario.drive
        self.machine, self.target = drive["machine"], drive["target"]
        self.reference, self._sd = drive["reference"], drive["sd"]
        rng = np.random.default_rng([scenario.seed, 11])
        sd = self._sd
        self.reference_offset = rng.normal(0.0, sd["reference_mm"], 2)
        self.reference_direction = rng.normal(0.0, sd["reference_mm_per_m"], 2)
        self.pitch_bias = rng.normal(0.0, sd["pitch_bias_mm_per_m"])
        steps = len(course.along_m)
        step = course.along_m[1] - course.along_m[0]
        walk = scenario.guidance.reference_walk_mm_per_m * np.sqrt(step / 100.0)
        self._walk = np.cumsum(rng.normal(0.0, 1.0, (steps, 2)) * walk, axis=0)
        self._ahead = np.zeros(4)  # state of the correlated noise: right, up, yaw, pitch
        self._stuck: dict[str, float] = {}

    def reference_at(self, along_m: np.ndarray, now_m: float) -> tuple[np.ndarray, np.ndarray]:
        """True reference offset from the axis (n, 2) mm and direction against the start's tangent (n, 2) mm/m
        at distances (n,) from the start, with the knocks that have happened by `now_m` (from the start)."""
        reference, course = self.reference, self._course
        beam = reference["kind"] == "beam"
        index = np.clip(np.searchsorted(course.along_m, along_m), 0, len(course.along_m) - 1)
        along = along_m[:, None]
        stated = np.array([reference["right_mm"], reference["up_mm"]], float)
        offset = stated + self.reference_offset
        direction = self.reference_direction + self._walk[min(index[-1], len(self._walk) - 1)]
        if beam:
            stated_direction = [reference.get(key, 0.0) for key in ("right_mm_per_m", "up_mm_per_m")]
            direction = direction + np.array(stated_direction, float)
        start = self._scenario.start_m
        for fault in self._scenario.faults:
            if fault.kind == "beam_knock" and now_m + start >= fault.chainage_m:
                offset = offset + np.array(fault.value[:2])
                direction = direction + np.array(fault.value[2:4])
            if fault.kind == "reference_drift" and now_m + start > fault.chainage_m:
                direction = direction + np.array(fault.value) * (now_m + start - fault.chainage_m)
        bend = np.asarray(self._scenario.guidance.refraction_k_per_m)
        place = offset + direction * along + 0.5e-3 * bend * along**2
        heading = direction + 1e-3 * bend * along
        at = np.column_stack([np.interp(along_m, course.along_m, course.offset[:, k]) for k in (0, 1)])
        tangent = np.column_stack(
            [np.interp(along_m, course.along_m, course.direction[:, k]) for k in (0, 1)]
        )
        return (place - at, heading) if beam else (place, heading + tangent)

    def read(
        self,
        rng: np.random.Generator,
        along_m: np.ndarray,
        face_mm: np.ndarray,
        heading: np.ndarray,
        articulation: np.ndarray,
        roll_deg: np.ndarray,
        cylinder_mm: np.ndarray,
    ) -> list[dict[str, Any]]:
        """Readings with the face at `along_m` (n,) from the start, `face_mm` (n, 2) from the start's tangent,
        front body at `heading` (n, 2), rear body at heading − articulation."""
        scenario, n = self._scenario, len(along_m)
        guidance, sd, now = scenario.guidance, self._sd, float(np.max(along_m))
        behind, front = self.target["behind_face_m"], self.machine["front_length_m"]
        course, chainage = self._course, along_m + scenario.start_m
        at_target = along_m - behind
        on_axis = face_mm - heading * min(behind, front) - (heading - articulation) * max(behind - front, 0.0)
        design = np.column_stack([np.interp(at_target, course.along_m, course.offset[:, k]) for k in (0, 1)])
        reference, direction = self.reference_at(at_target, now)
        apart = reference - (on_axis - design)
        turn = np.radians(roll_deg)
        cos, sin = np.cos(turn), np.sin(turn)
        centre = np.array([self.target["right_mm"], self.target["up_mm"]], float)
        yaw_knock = 0.0
        for fault in scenario.faults:
            if fault.kind == "target_knock" and now + scenario.start_m >= fault.chainage_m:
                centre = centre + np.array(fault.value[:2])
                yaw_knock += fault.value[2]
        # the reference seen from the rolled target: turn back by the roll, then take the target's place off
        right = apart[:, 0] * cos - apart[:, 1] * sin - centre[0]
        up = apart[:, 0] * sin + apart[:, 1] * cos - centre[1]
        yaw = heading[:, 0] - direction[:, 0] + yaw_knock
        pitch = heading[:, 1] + course.grade_mm_per_m + self.pitch_bias

        spot_sd = np.hypot(sd["spot_mm"], sd["spot_mm_per_100m"] * np.maximum(at_target, 0.0) / 100.0)
        scale = guidance.noise_scale
        noise = self._noise(rng, along_m)
        right, up = right + scale * spot_sd * noise[:, 0], up + scale * spot_sd * noise[:, 1]
        yaw = yaw + scale * sd["yaw_mm_per_m"] * noise[:, 2]
        pitch = pitch + scale * sd["pitch_mm_per_m"] * noise[:, 3]
        roll = roll_deg + rng.normal(0.0, guidance.roll_sd_deg, n)
        cylinders = cylinder_mm + rng.normal(0.0, guidance.cylinder_sd_mm, (n, len(cylinder_mm)))
        lost = rng.random(n) < guidance.dropout_share
        for begin, end in guidance.beam_lost:
            lost |= (chainage >= begin) & (chainage <= end)
        wild, which = rng.random(n) < guidance.wild_share, rng.integers(0, 4, n)
        far = rng.choice([-1.0, 1.0], n) * rng.uniform(10.0, 60.0, n)
        right, up = right + far * (wild & (which == 0)), up + far * (wild & (which == 1))
        yaw, pitch = yaw + far * (wild & (which == 2)), pitch + far * (wild & (which == 3))
        for fault in scenario.faults:
            after = chainage >= fault.chainage_m
            if fault.kind == "cylinder_misread":
                cylinders[after, int(fault.value[0]) - 1] += fault.value[1]
            elif fault.kind in ("yaw_stuck", "pitch_stuck") and after.any():
                channel = yaw if fault.kind == "yaw_stuck" else pitch
                channel[after] = self._stuck.setdefault(fault.kind, float(channel[np.argmax(after)]))

        def cell(value: float, digits: int, missing: bool = False) -> float | None:
            return None if missing else round(float(value), digits)

        return [
            {
                "kind": "reading",
                "chainage_m": round(float(chainage[i]), 4),
                "spot_right_mm": cell(right[i], 2, lost[i]),
                "spot_up_mm": cell(up[i], 2, lost[i]),
                "yaw_mm_per_m": cell(yaw[i], 3, lost[i]),
                "pitch_mm_per_m": cell(pitch[i], 3),
                "roll_deg": cell(roll[i], 3),
                "cylinder_mm": [round(float(v), 2) for v in cylinders[i]],
            }
            for i in range(n)
        ]

    def _noise(self, rng: np.random.Generator, along_m: np.ndarray) -> np.ndarray:
        """Unit noise (n, 4), part of it correlated over distance."""
        n, share = len(along_m), self._scenario.guidance.correlated_share
        white = rng.normal(size=(n, 4))
        if share <= 0.0:
            return white
        slow = np.empty((n, 4))
        driven = rng.normal(size=(n, 4))
        gaps = np.abs(np.diff(along_m, prepend=along_m[0]))
        for i in range(n):
            keep = np.exp(-gaps[i] / self._scenario.guidance.correlation_m)
            self._ahead = keep * self._ahead + np.sqrt(1.0 - keep**2) * driven[i]
            slow[i] = self._ahead
        mixed: np.ndarray = np.sqrt(1.0 - share) * white + np.sqrt(share) * slow
        return mixed
