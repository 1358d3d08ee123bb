"""A drive on the simulated ground, stroke by stroke: cylinders in, readings and check shots out, the truth
beside.

    simulation = Simulation(scenario)
    readings = simulation.start()                      # machine standing in the launch
    while not simulation.finished:
        readings = simulation.advance(cylinder_mm)     # one stroke
        shots = simulation.shots()                     # check shots that have come in

Same scenario and same settings give the same drive; ground and noise do not depend on how it is steered.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.ground.bodies import body_of
from steer.ground.course import Course
from steer.ground.instruments import Instruments, articulation_of
from steer.ground.scenario import Scenario
from steer.ground.thrust import String, cutting_torque

_DAYS = np.datetime64("2031-03-03T06:00:00")


@dataclass(frozen=True)
class Truth:
    """What really happened, one row a simulation step; planes (line, level).

    chainage_m (n,) · face_mm (n, 2) from the design axis · heading (n, 2) of the front body and direction (n,
    2) of the bore at the face, both against the axis tangent, mm/m · crab (n, 2) what the ground imposed,
    mm/m · articulation (n, 2) really acting, mm/m · gain (n, 2) · roll_deg (n,).
    """

    chainage_m: np.ndarray
    face_mm: np.ndarray
    heading: np.ndarray
    direction: np.ndarray
    crab: np.ndarray
    articulation: np.ndarray
    gain: np.ndarray
    roll_deg: np.ndarray


def _wander(
    rng: np.random.Generator, n: int, planes: int, step_m: float, sd: float, length_m: float
) -> np.ndarray:
    """Ornstein-Uhlenbeck paths (n, planes): stationary sd, correlation length. The chance is drawn every
    metre and joined by straight lines, so that a finer step meets the same ground."""
    metres = int(np.ceil(n * step_m)) + 2
    keep = np.exp(-1.0 / length_m)
    out = np.empty((metres, planes))
    draw = rng.normal(size=(metres, planes))
    out[0] = draw[0]
    for i in range(1, metres):
        out[i] = keep * out[i - 1] + np.sqrt(1.0 - keep**2) * draw[i]
    at = np.arange(n) * step_m
    return sd * np.column_stack([np.interp(at, np.arange(metres), out[:, k]) for k in range(planes)])


class Simulation:
    """One drive under way. `advance` refuses a wrong number of cylinders with ValueError."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        drive, ground, step = scenario.drive, scenario.ground, scenario.step_m
        machine = drive["machine"]
        self.machine, self.step_m = machine, step
        self.stroke_m, self.start_m = float(drive["drive"]["stroke_m"]), scenario.start_m
        self.front_m, self.rear_m = float(machine["front_length_m"]), float(machine["rear_length_m"])
        self._body = body_of(ground, self.front_m, self.rear_m, step)
        self._back = max(self._body.back, round((self.front_m + self.rear_m) / step)) + 8
        ahead = round(scenario.length_m / step)
        self._along = (np.arange(self._back + ahead + 1) - self._back) * step
        self.course = Course(drive["axis"], self._along)
        self.instruments = Instruments(scenario, self.course)
        self._last = len(self._along) - 1
        self._now = self._back

        rng = np.random.default_rng([scenario.seed, 1])
        n = ahead + 1
        starts = np.array([s.start_m for s in ground.stretches])
        chainage = self.start_m + np.arange(n) * step
        which = np.clip(np.searchsorted(starts, chainage, side="right") - 1, 0, None)

        def each(field: str) -> np.ndarray:
            return np.array([getattr(s, field) for s in ground.stretches], float)[which]

        self._stretch = which
        self._gain = each("gain")
        self._crab = each("crab_mm_per_m") + _wander(
            rng, n, 2, step, ground.crab_sd_mm_per_m, ground.crab_length_m
        )
        self._tendency = each("tendency_mm_per_m2") + _wander(
            rng, n, 2, step, ground.tendency_sd_mm_per_m2, ground.tendency_length_m
        )
        self._roll = np.clip(
            _wander(rng, n, 1, step, ground.roll_sd_deg, ground.roll_length_m)[:, 0], -2.0, 2.0
        )
        self._pressure = each("face_pressure_kpa")
        self._string = String(
            drive, ground.bend_mu, each("friction_kpa"), each("face_pressure_kpa"), self._back, step
        )
        self._answer = np.ones((n, 2))
        for fault in scenario.faults:
            if fault.kind == "reversed":
                turned = (chainage >= fault.chainage_m)[:, None] & (np.array(fault.value) > 0)
                self._answer[turned] = -1.0

        sd = drive["sd"]
        at, towards = rng.normal(0.0, sd["launch_mm"], 2), rng.normal(0.0, sd["launch_mm_per_m"], 2)
        self._bore = np.zeros((len(self._along), 2))
        self._bore[: self._back + 1] = at + towards * self._along[: self._back + 1, None]
        self._heading = np.zeros((n, 2))
        self._cut = np.zeros((n, 2))
        self._acting = np.zeros((n, 2))
        self._heading[0] = self._cut[0] = towards
        self._standing = np.zeros(2)  # articulation after play
        self.stroke = 0
        self.cylinder_mm = np.full(
            len(machine["cylinders"]["positions_deg"]), float(machine["cylinders"]["neutral_mm"])
        )
        self._shots: list[tuple[int, dict[str, Any]]] = []
        self._next_shot = self.start_m + scenario.shots.every_m
        self._clock = _DAYS
        self._lubricant = 0.0

    # -- where it is
    # ------------------------------------------------------------------------------------------

    @property
    def chainage_m(self) -> float:
        return float(self.start_m + self._along[self._now])

    @property
    def finished(self) -> bool:
        return self._now >= self._last

    @property
    def roll_deg(self) -> float:
        return float(self._roll[self._now - self._back])

    @property
    def standing(self) -> np.ndarray:
        """Articulation (2,) mm/m that acts, after play."""
        return self._standing.copy()

    @property
    def stretch(self) -> int:
        """Number of the stretch of ground at the face."""
        return int(self._stretch[self._now - self._back])

    # -- driving
    # ----------------------------------------------------------------------------------------------

    def start(self) -> list[dict[str, Any]]:
        """Readings of the machine standing in the launch, before the first stroke."""
        rng = np.random.default_rng([self.scenario.seed, 100])
        return self._read(rng, np.full(5, self._now), np.zeros(5), self._heading[0], np.zeros(2))

    def advance(self, cylinder_mm: Any, length_m: float | None = None) -> list[dict[str, Any]]:
        """One stroke with the cylinders held at `cylinder_mm`; the readings on the way (contract's
        fields)."""
        wanted = np.asarray(cylinder_mm, float)
        if wanted.shape != self.cylinder_mm.shape or not np.isfinite(wanted).all():
            raise ValueError(f"{len(self.cylinder_mm)} cylinder extensions wanted, got {cylinder_mm!r}")
        scenario, guidance = self.scenario, self.scenario.guidance
        rng = np.random.default_rng([scenario.seed, 101 + self.stroke])
        low, high = self.machine["cylinders"]["range_mm"]
        noise = rng.normal(0.0, scenario.ground.setting_sd_mm, len(wanted))
        self.cylinder_mm = np.clip(wanted + noise, low, high)
        begin = self._now
        end = min(begin + round((length_m or self.stroke_m) / self.step_m), self._last)
        first_heading = self._run(begin, end)
        every = max(round(guidance.reading_every_m / self.step_m), 1)
        rebound = rng.uniform(*guidance.rebound_mm) / 1000.0
        on_the_way = np.arange(begin + every, end + 1, every)
        at = np.concatenate([[begin, begin], on_the_way, np.full(guidance.standing_readings, end)])
        back = np.zeros(len(at))
        back[0], back[1] = rebound, rebound / 2.0
        readings = self._read(rng, at, back, first_heading, self._acting[end - self._back])
        self.stroke += 1
        self._take_shot(rng)
        return readings

    def shots(self) -> list[dict[str, Any]]:
        """Check shots that came in since the last call."""
        ready = [shot for due, shot in self._shots if due <= self.stroke]
        self._shots = [(due, shot) for due, shot in self._shots if due > self.stroke]
        return ready

    def _run(self, begin: int, end: int) -> np.ndarray:
        body, bore, back, step = self._body, self._bore, self._back, self.step_m
        play = np.asarray(self.scenario.ground.play_mm_per_m) / 2.0
        reach = max(body.back, 1) + 1
        first, last_cut, middle = None, None, 0.5 * (self._crab[:-1] + self._crab[1:])
        set_at, roll_at, wanted = None, 0.0, np.zeros(2)
        for i in range(begin, end):
            k = i - back
            if set_at is None or abs(self._roll[k] - roll_at) > 0.05:
                roll_at, set_at = self._roll[k], k
                wanted = articulation_of(self.machine, self.cylinder_mm, roll_at)
            turned = wanted * self._answer[k]
            self._standing = np.minimum(np.maximum(self._standing, turned - play), turned + play)
            heading, cut = body.heading(bore[i + 1 - reach : i + 1], self._standing, self._gain[k])
            body.step(self._standing, self._gain[k], self._tendency[k])
            # second order (Adams-Bashforth); the first step after the cylinders moved starts afresh
            ahead = cut if last_cut is None else 1.5 * cut - 0.5 * last_cut
            bore[i + 1] = bore[i] + step * (ahead + middle[k])
            last_cut, direction = cut, cut + self._crab[k]
            if first is None:
                first = heading
            self._heading[k + 1], self._cut[k + 1], self._acting[k + 1] = heading, direction, self._standing
        self._now = end
        return np.zeros(2) if first is None else first

    def _read(
        self,
        rng: np.random.Generator,
        at: np.ndarray,
        back_m: np.ndarray,
        first: np.ndarray,
        acting: np.ndarray,
    ) -> list[dict[str, Any]]:
        """Readings at grid points, `back_m` behind them where the string has rebounded (heading then
        `first`)."""
        k = at - self._back
        along = self._along[at] - back_m
        face = np.column_stack([np.interp(along, self._along, self._bore[:, p]) for p in (0, 1)])
        heading = self._heading[k].copy()
        heading[back_m > 0.0] = first
        readings = self.instruments.read(
            rng, along, face, heading, np.broadcast_to(acting, face.shape), self._roll[k], self.cylinder_mm
        )
        self._add_force(rng, readings, k, back_m)
        return readings

    def _add_force(
        self, rng: np.random.Generator, readings: list[dict[str, Any]], k: np.ndarray, back_m: np.ndarray
    ) -> None:
        """Jacking force = face pressure × face area + skin friction × pipe surface, more at breaking away, and
        more for the bends of the path (see `thrust`)."""
        at_the_face, skin = self._string.at_jacks(self._bore[: self._now + 1], k)
        standing = np.concatenate([[True], np.diff(self._along[k + self._back] - back_m) <= 0.0])
        torque = cutting_torque(
            np.random.default_rng([self.scenario.seed, 51, self.stroke]), self._pressure[k],
            self.machine["outer_diameter_mm"], self._roll[k] / max(self.scenario.ground.roll_sd_deg, 1e-9),
        )  # fmt: skip
        for i, reading in enumerate(readings):
            force = at_the_face[i] + skin[i] * (1.15 if back_m[i] > 0 else 1.0)
            if standing[i]:
                self._clock = self._clock + np.timedelta64(240 if back_m[i] > 0 else 20, "s")
                force *= 0.3 if back_m[i] > 0 else 0.9
                speed = 0.0
            else:
                speed = 60.0
                self._clock = self._clock + np.timedelta64(50, "s")
                self._lubricant += 60.0 * self._string.girth_m * 0.05 / 3.0
            reading["time"] = f"{self._clock}Z"
            reading["jacking_force_kn"] = round(float(force * (1.0 + 0.03 * rng.normal())), 1)
            reading["face_pressure_kpa"] = round(float(self._pressure[k[i]] + rng.normal(0.0, 3.0)), 1)
            reading["torque_knm"] = 0.0 if standing[i] else round(float(torque[i]), 1)
            reading["advance_mm_per_min"] = speed
            reading["lubricant_l"] = round(self._lubricant, 1)

    def string_force_kn(self) -> np.ndarray:
        """Axial force (n,) in the string at every chainage of `truth`, the machine standing where it does: what
        a joint there has to carry, without the readings' noise."""
        return self._string.along(self._bore[: self._now + 1])

    def _take_shot(self, rng: np.random.Generator) -> None:
        shots = self.scenario.shots
        if self.chainage_m + 1e-6 < self._next_shot or shots.every_m <= 0:
            return
        self._next_shot += shots.every_m
        k = self._now - self._back
        place = self._bore[self._now] - self.course.offset[self._now]
        if shots.point == "target":
            behind = float(self.scenario.drive["target"]["behind_face_m"])
            heading, rear = self._heading[k], self._heading[k] - self._acting[k]
            place = (
                self._bore[self._now]
                - heading * min(behind, self.front_m)
                - rear * max(behind - self.front_m, 0.0)
            )
            at = self._along[self._now] - behind
            place = place - [np.interp(at, self._along, self.course.offset[:, p]) for p in (0, 1)]
            place = place + self._target_on_axis(k)
        measured = place + rng.normal(0.0, shots.sd_mm, 2)
        shot = {
            "kind": "check_shot",
            "time": f"{self._clock}Z",
            "chainage_m": round(self.chainage_m, 4),
            "point": shots.point,
            "line_mm": round(float(measured[0]), 2),
            "level_mm": round(float(measured[1]), 2),
            "sd_mm": shots.sd_mm,
        }
        self._shots.append((self.stroke + shots.late_strokes, shot))

    def _target_on_axis(self, k: int) -> np.ndarray:
        """Where the target's centre sits from the machine axis, unrolled (right, up) mm."""
        target, turn = self.scenario.drive["target"], np.radians(self._roll[k])
        right, up = float(target["right_mm"]), float(target["up_mm"])
        for fault in self.scenario.faults:
            if fault.kind == "target_knock" and self.chainage_m >= fault.chainage_m:
                right, up = right + fault.value[0], up + fault.value[1]
        return np.array([right * np.cos(turn) + up * np.sin(turn), -right * np.sin(turn) + up * np.cos(turn)])

    # -- looking in from outside
    # --------------------------------------------------------------------------------

    def truth(self) -> Truth:
        """Everything up to the face as it stands now."""
        k = np.arange(self._now - self._back + 1)
        i = k + self._back
        tangent = self.course.direction[i]
        return Truth(
            chainage_m=self.start_m + self._along[i],
            face_mm=self._bore[i] - self.course.offset[i],
            heading=self._heading[k] - tangent,
            direction=self._cut[k] - tangent,
            crab=self._crab[k],
            articulation=self._acting[k],
            gain=self._gain[k],
            roll_deg=self._roll[k],
        )

    def preview(self, articulation: np.ndarray, strokes: int, foreseen: bool = False) -> np.ndarray:
        """Offsets (strokes, 2) mm at the ends of the next strokes if the acting articulation were held at
        `articulation` (2,), in the ground that is to come (`foreseen`) or if today's ground went on: for
        yardsticks that are told the ground."""
        per = round(self.stroke_m / self.step_m)
        factor = next(f for f in (5, 4, 3, 2, 1) if per % f == 0 and f * self.step_m <= 0.25 + 1e-9)
        per, step, k = per // factor, self.step_m * factor, self._now - self._back
        body = self._body.coarser(factor)
        reach = max(body.back, 1) + 1
        path = np.empty((reach + strokes * per, 2))
        at = self._along[self._now] - step * np.arange(reach - 1, -1, -1)
        for plane in (0, 1):
            path[:reach, plane] = np.interp(at, self._along, self._bore[:, plane])
        n = strokes * per
        fine = np.arange(n * factor) if foreseen else np.zeros(n * factor, int)
        there = np.minimum(k + fine, len(self._gain) - 1).reshape(n, factor)
        gain, crab, tendency = (v[there].mean(axis=1) for v in (self._gain, self._crab, self._tendency))
        last = None
        for j, i in enumerate(range(reach - 1, reach + n - 1)):
            _, cut = body.heading(path[i + 1 - reach : i + 1], articulation, gain[j])
            body.step(articulation, gain[j], tendency[j])
            path[i + 1] = path[i] + step * (crab[j] + (cut if last is None else 1.5 * cut - 0.5 * last))
            last = cut
        ends = self._now + per * factor * np.arange(1, strokes + 1)
        inside = np.minimum(ends, self._last)
        design = self.course.offset[inside]
        design = design + self.course.direction[inside] * ((ends - inside) * self.step_m)[:, None]
        result: np.ndarray = path[reach - 1 + per * np.arange(1, strokes + 1)] - design
        return result
