"""A check shot as the fold takes it: what was surveyed, where on the machine, and against what it counts.

A shot sees a point of the machine: the face, the tail, or a prism with a lever arm, `behind_m` behind the
face and `arm_mm` off the machine axis in the machine's own frame. Roll of that moment turns the arm, the
heading of that moment (a state) carries it forward to the face.

Whether a shot counts is a pure function of the log: one that `asks` (it came from a file) counts while it
agrees with the estimate at its chainage, and waits for a person's word when it does not, or when it `repeats`
another one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any
from zlib import crc32

import numpy as np

from steer.axis import Axis
from steer.drivefile import DriveFile
from steer.estimate import sensors
from steer.estimate.geometry import frame, place, setback
from steer.machine.target import to_gravity

DISAGREES = 3.2905  # sd of a normal that 99.9 % lie within
REACHED_M = 0.3  # a shot so far beyond the furthest reading is still one of the face where it stands
ROLL_SD_DEG = 0.1  # of the roll at the moment of the shot; common practice, no source
_ARM_CLEARLY = 20.0  # chi-square by which a target's offsets fit the machine axis better than the target


@dataclass(frozen=True)
class Shot:
    """A check shot: `values_mm` (2,) line, level of the point (NaN: not given) and their covariance."""

    s_m: float  # the face's chainage when it was taken; of a pipe the point's own
    sequence: int
    point: str
    values_mm: np.ndarray
    covariance_mm2: np.ndarray  # (2, 2)
    behind_m: float = 0.0
    arm_mm: tuple[float, float] | None = None  # right, up of the machine axis, in the machine's frame
    arm_certain: bool = True  # False: the offsets may have the arm off already
    roll_deg: float | None = None  # measured with the shot; None: as the readings say
    asks: bool = False  # waits for a word while it disagrees
    word: str | None = None  # "accepted", "rejected" or "withdrawn"
    time: str | None = None
    repeats: int | None = None  # it looks like this other shot, given again: waits for a word

    @cached_property
    def order(self) -> int:
        """Places shots of one chainage by what they say, so that the order of arrival changes nothing; those
        that count whatever they say come first."""
        certain = self.word == "accepted" or not self.asks
        said = self.values_mm.tobytes() + self.covariance_mm2.tobytes() + self.point.encode()
        return crc32(said) + (0 if certain else 1 << 32)


@dataclass
class ShotReport:
    """A shot against the estimate before it (shot minus estimate), per plane; NaN where not given."""

    shot: Shot
    innovation: np.ndarray
    innovation_sd: np.ndarray
    opened: bool  # it counted though it disagrees: the reference was opened for it
    face_before: np.ndarray = field(default_factory=lambda: np.zeros(2))
    counts: bool = True
    reached: bool = True  # False: the face has not been there yet
    disagrees: np.ndarray = field(default_factory=lambda: np.zeros(2, bool))
    values_mm: np.ndarray = field(default_factory=lambda: np.zeros(2))  # lever arm taken off
    covariance_mm2: np.ndarray = field(default_factory=lambda: np.zeros((2, 2)))
    arm_taken_mm: np.ndarray = field(default_factory=lambda: np.zeros(2))  # in gravity's frame

    @property
    def verdict(self) -> str:
        """agrees, disagrees, waiting, withdrawn or rejected."""
        if self.shot.word in ("withdrawn", "rejected"):
            return self.shot.word
        if not self.counts:
            return "waiting"
        return "disagrees" if self.opened else "agrees"


@dataclass(frozen=True)
class Sighting:
    """A shot as a measurement of the stack: z, r (b,), row (b, n), and its innovation per plane."""

    row: np.ndarray
    z: np.ndarray
    r: np.ndarray
    use: np.ndarray
    innovation: np.ndarray  # (2,) of the mixture
    innovation_sd: np.ndarray  # (2,)
    values_mm: np.ndarray
    covariance_mm2: np.ndarray
    arm_mm: np.ndarray
    each: np.ndarray  # (b,) innovation of each plane of the stack

    @property
    def disagrees(self) -> np.ndarray:
        """(2,) beyond what 99.9 % of sound shots err by."""
        known = np.isfinite(self.innovation)
        found: np.ndarray = known & (
            np.abs(np.where(known, self.innovation, 0.0)) > DISAGREES * self.innovation_sd
        )
        return found


def shot_of(drive: DriveFile, sequence: int, body: Mapping[str, Any]) -> Shot | None:
    """A stored check shot; None when it tells no chainage."""
    point = str(body["point"])
    s = None if body.get("chainage_m") is None else float(body["chainage_m"])
    behind = {"target": drive.target.behind_face_m, "tail": drive.machine.length_m}.get(point, 0.0)
    behind = float(body.get("prism_behind_face_m") or behind)
    arm, certain = None, True
    own = (body.get("prism_right_mm"), body.get("prism_up_mm"))
    if own != (None, None):
        arm = (float(own[0] or 0.0), float(own[1] or 0.0))
    elif point == "target":
        arm, certain = (drive.target.right_mm, drive.target.up_mm), False
    values = np.array([np.nan if body.get(n) is None else float(body[n]) for n in ("line_mm", "level_mm")])
    if body.get("easting_m") is not None:
        at = (float(body["easting_m"]), float(body["northing_m"]), float(body["level_m"]))
        found = float(drive.axis.locate(*at).chainage_m)
        s = found if s is None else s
        values = square_offset(drive.axis, found if point == "pipe" else s - behind, at)
    if s is None:
        return None
    if body.get("covariance_mm2") is not None:
        cov = np.array(body["covariance_mm2"], float)
    else:
        sd = [float(body.get(f"sd_{n}_mm") or body.get("sd_mm") or 3.0) for n in ("line", "level")]
        cov = np.diag(np.square(sd))
    if point == "pipe":
        # the pipe lies within the overcut of the bore that the face cut there
        play = 0.25 * (drive.machine.outer_diameter_mm - drive.pipe.outer_diameter_mm)
        cov = cov + np.eye(2) * max(play, 2.0) ** 2
    return Shot(
        s, sequence, point, values, cov, behind, arm, certain,
        None if body.get("roll_deg") is None else float(body["roll_deg"]),
        bool(body.get("asks")), None, body.get("time"),
        None if body.get("repeats") is None else int(body["repeats"]),
    )  # fmt: skip


def square_offset(axis: Axis, chainage_m: float, at: tuple[float, float, float]) -> np.ndarray:
    """Line and level (2,) in mm of easting, northing, level (m) in the plane square to the axis."""
    own = axis.at(chainage_m)
    _, right, up = frame(own)
    delta = np.array(at, float) - place(own)
    return np.array([1000.0 * float(right @ delta), 1000.0 * float(up @ delta)])


def sighting(
    shot: Shot, body: sensors.Body, axis: Axis, articulation: np.ndarray, plane: np.ndarray, roll_deg: float,
    x: np.ndarray, p: np.ndarray, weights: np.ndarray, roll_doubt: float = 0.0,
) -> Sighting:  # fmt: skip
    """The shot against a predicted stack at its chainage: x (b, n), p (b, n, n), weights (m,); `roll_doubt`
    is the variance (rad²) of a roll that nobody read.

    A target's offsets mean its centre unless they fit the machine axis beyond doubt: the arm is usually
    hundreds of mm, so the estimate tells which of the two a file means.
    """
    here = replace(body, target_m=shot.behind_m)
    back = setback(axis, axis.at(shot.s_m), shot.behind_m) if shot.behind_m else np.zeros(2)
    row, const = sensors.target_row(here, articulation, 0.0, np.zeros(len(plane)), back[plane])
    m2 = 2 * len(weights)
    predicted = np.einsum("bi,bi->b", row, x) + const
    own = np.einsum("bi,bij,bj->b", row, p, row)
    middle = weights @ predicted[:m2].reshape(-1, 2)
    spread = weights @ (own[:m2].reshape(-1, 2) + (predicted[:m2].reshape(-1, 2) - middle) ** 2)

    def against(values: np.ndarray, cov: np.ndarray) -> float:
        return float(np.nansum((values - middle) ** 2 / (spread + np.diag(cov))))

    values, cov, arm = shot.values_mm, shot.covariance_mm2, np.zeros(2)
    if shot.arm_mm is not None:
        roll = 0.0 if shot.point == "pipe" else roll_deg if shot.roll_deg is None else shot.roll_deg
        arm = np.array(to_gravity(*shot.arm_mm, roll))
        doubt = roll_doubt if shot.roll_deg is None and shot.point != "pipe" else 0.0
        turned = np.sqrt(np.radians(ROLL_SD_DEG) ** 2 + doubt) * np.array([arm[1], -arm[0]])
        off, off_cov = values - arm, cov + np.outer(turned, turned)
        if not shot.arm_certain and against(values, cov) + _ARM_CLEARLY < against(off, off_cov):
            arm = np.zeros(2)
        else:
            values, cov = off, off_cov
    z = values[plane] - const
    use = np.isfinite(z)
    innovation = values - middle
    return Sighting(
        row, z, np.diag(cov)[plane], use, innovation,
        np.where(np.isfinite(innovation), np.sqrt(spread + np.diag(cov)), np.nan), values, cov, arm,
        np.where(use, values[plane] - predicted, 0.0),
    )  # fmt: skip
