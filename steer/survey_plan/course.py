"""The estimator's covariance along a drive that nobody has driven yet.

Cells that say exactly what the estimate expects change no mean, only the covariance: the standard
deviations that come out are those the estimator will give, by its own models and constants.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate import sensors
from steer.estimate.cells import Cell, cell_length
from steer.estimate.estimator import Estimator
from steer.estimate.geometry import Reference, setback
from steer.estimate.motion import RD, RO, Y
from steer.estimate.nodes import Node, Setting
from steer.estimate.shots import Shot

READING_EVERY_M = 0.1  # readings that count as independent along the advance; own choice, no source
MOST_CELLS = 400


@dataclass(frozen=True)
class Survey:
    """A check survey with the face at `chainage_m`: standard deviations of its line and level, mm."""

    chainage_m: float
    line_sd_mm: float
    level_sd_mm: float


@dataclass(frozen=True)
class Course:
    """How well the face's line and level are known (1 sd, mm) at chainages (n,)."""

    chainage_m: np.ndarray
    line_sd_mm: np.ndarray
    level_sd_mm: np.ndarray


class Rehearsal:
    """The drive folded through the estimator cell by cell, with surveys where they are planned.

    `anew`: chainages of the target at which the reference is set anew, with the covariance (2, 2, 2) of each.
    `course` is what will be known; `nodes` the cells' nodes; `arrival_sd_mm` (2,) line, level where the
    face comes out (see `arriving`).
    """

    def __init__(
        self, drive: DriveFile, surveys: Iterable[Survey] = (), anew: Iterable[tuple[float, np.ndarray]] = ()
    ) -> None:
        self.drive = drive
        self.estimator = Estimator(drive)
        axis = drive.axis
        length = axis.end_chainage_m - axis.start_chainage_m
        cell = max(cell_length(drive.drive.stroke_m), length / MOST_CELLS)
        count = max(2, math.ceil(length / cell - 1e-6))
        ends = axis.start_chainage_m + length * np.arange(1, count + 1) / count
        self.until_m = axis.end_chainage_m - min(drive.machine.length_m, 0.5 * length)
        waiting = sorted(surveys, key=lambda survey: survey.chainage_m)
        settings = sorted(anew, key=lambda setting: setting[0])
        self.source_m = axis.start_chainage_m  # where the reference that is read now starts
        places, sds, self.nodes = [axis.start_chainage_m], [_sd(self.estimator.start)], list[Node]()
        self.arriving = self.estimator.start
        self.straight = True  # so far: then every mean is 0, and so is what the readings will show
        for i, s in enumerate(ends.tolist()):
            node = self._cell(i + 1, s, length / count)
            places.append(s)
            sds.append(_sd(node))
            while waiting and waiting[0].chainage_m <= s + 1e-6:
                node = self._survey(waiting.pop(0), s)
                places.append(s)
                sds.append(_sd(node))
            while settings and settings[0][0] <= s + length / count - drive.target.behind_face_m:
                self.nodes.append(node)
                node = self._set_anew(*settings.pop(0), s)
            if s <= self.until_m + 1e-6:
                self.arriving = node
            self.nodes.append(node)
        line, level = np.array(sds).T
        self.course = Course(np.array(places), line, level)
        # What is seen within a machine's length of the end comes too late to be steered for.
        self.arriving = self.estimator.ahead(self.arriving, axis.end_chainage_m, self.arriving.articulation)
        self.arrival_sd_mm = np.array(_sd(self.arriving))

    def _cell(self, number: int, s: float, advance_m: float) -> Node:
        estimator, drive = self.estimator, self.drive
        held = self._articulation(s, advance_m)
        self.straight = self.straight and float(np.abs(held).max()) < 1e-9
        expected = np.zeros(4) if self.straight else self._expected(s, held)
        readings = max(1, round(advance_m / READING_EVERY_M))
        distance = max(s - self.source_m - drive.target.behind_face_m, 0.0)
        estimator.put(
            Cell(
                s_m=s,
                key=(0, number),
                first=number,
                chainage_m=np.full(readings, s),
                values=np.tile(expected, (readings, 1)),
                distance_m=distance,
                advance_mm_per_m=held,
                now_mm_per_m=held,
                station=np.arange(readings),
            )
        )
        estimator.run()
        return estimator.last

    def _expected(self, s: float, held: np.ndarray) -> np.ndarray:
        """What the four channels of a cell will show at `s` by the mean of the models: (4,)."""
        estimator = self.estimator
        mean = estimator.ahead(estimator.last, s, held).blend()[0]
        a = held[estimator.stack.plane] * estimator.stack.signs
        none = np.zeros(len(estimator.stack.plane))
        back = setback(self.drive.axis, self.drive.axis.at(s), estimator.stack.body.target_m)[
            estimator.stack.plane
        ]
        spot, spot_0 = sensors.target_row(estimator.stack.body, a, 0.0, none, back)
        head, head_0 = sensors.heading_row(estimator.stack.body, a, 0.0, none, 0.0, np.zeros(len(none), bool))
        return np.array(
            [
                float(row[plane] @ mean[plane] + const[plane])
                for row, const in ((spot, spot_0), (head, head_0))
                for plane in (0, 1)
            ]
        )

    def _survey(self, survey: Survey, s: float) -> Node:
        known = self.estimator.last.blend()[0][:, Y]
        covariance = np.diag([survey.line_sd_mm**2, survey.level_sd_mm**2])
        self.estimator.put(Shot(s, len(self.estimator.items), "face", known, covariance))
        self.estimator.run()
        return self.estimator.last

    def _set_anew(self, source_m: float, covariance: np.ndarray, s: float) -> Node:
        """The reference is set anew, from a source at `source_m`, before the next cell."""
        self.source_m = source_m
        self.estimator.put(Setting(s, len(self.estimator.items), Reference.of(self.drive)))
        self.estimator.run()
        node = self.estimator.last
        states = [RO, RD]
        for b, plane in enumerate(self.estimator.stack.plane):
            node.p[b][np.ix_(states, states)] = covariance[plane]
        return node

    def _articulation(self, s: float, advance_m: float) -> np.ndarray:
        """What the design curve over the cell asks for, by the response expected before it is learned."""
        before, after = self.drive.axis.at(s - advance_m), self.drive.axis.at(s)
        turn = np.array(
            [
                1000.0 * (float(after.bearing_rad) - float(before.bearing_rad)),
                float(after.grade_mm_per_m) - float(before.grade_mm_per_m),
            ]
        )
        asked = turn / advance_m / self.estimator.stack.motion.gain_prior_per_m
        size, most = float(np.hypot(*asked)), self.drive.machine.max_articulation_mm_per_m
        found: np.ndarray = asked * min(1.0, most / size) if size > 0.0 else asked
        return found


def _sd(node: Node) -> tuple[float, float]:
    variance = node.blend()[1][:, Y, Y]
    return float(np.sqrt(variance[0])), float(np.sqrt(variance[1]))
