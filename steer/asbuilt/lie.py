"""Where the pipe lies: the machine's smoothed path, and the surveys of laid pipes, which win over it.

A survey stands for half a pipe either side. From there its difference from the machine's path fades out
over BRIDGE_PIPES pipes, or goes over in a straight line into that of a neighbouring survey within that
distance; the uncertainty grows from the survey's own to the path's. Elsewhere the path stands, with
`string_sd_mm` of drive.toml for how far the pipes may lie from it. Of surveys at one place (half a pipe)
the last counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from steer.asbuilt.doubt import Doubt, doubt_mm

BRIDGE_PIPES = 5.0
PATH, NEAR, SURVEY = 0, 1, 2
SOURCE_WORDS = ("machine's path", "near a pipe survey", "pipe survey")


class SmoothedArrays(Protocol):
    """What is asked of `steer.estimate.smoother.SmoothedPath`: arrays (n,) over ascending chainage."""

    @property
    def chainage_m(self) -> np.ndarray: ...
    @property
    def line_mm(self) -> np.ndarray: ...
    @property
    def level_mm(self) -> np.ndarray: ...
    @property
    def line_sd_mm(self) -> np.ndarray: ...
    @property
    def level_sd_mm(self) -> np.ndarray: ...


@dataclass(frozen=True)
class PipeSurvey:
    """A survey of a laid pipe: offsets (line, level) and their sds, mm; NaN for a plane not surveyed."""

    number: int
    chainage_m: float
    value_mm: tuple[float, float]
    sd_mm: tuple[float, float]
    time: str | None = None


@dataclass(frozen=True)
class Difference:
    """How far a surveyed pipe lies from the path that the machine took by all but the surveys of pipes: line
    and level, mm, and their sd; NaN for a plane not surveyed."""

    survey: PipeSurvey
    moved_mm: tuple[float, float]
    sd_mm: tuple[float, float]


def differences(laid: Laid, machine: SmoothedArrays) -> tuple[Difference, ...]:
    """Of each survey that counts, against the machine's own path."""
    own = Laid(machine, (), laid.pipe_m, 0.0, laid.doubts)
    offset, sd = own.machine_path(np.array([s.chainage_m for s in laid.surveys]))
    return tuple(
        Difference(
            s,
            (s.value_mm[0] - float(o[0]), s.value_mm[1] - float(o[1])),
            (float(np.hypot(s.sd_mm[0], e[0])), float(np.hypot(s.sd_mm[1], e[1]))),
        )
        for s, o, e in zip(laid.surveys, offset, sd, strict=True)
    )


@dataclass(frozen=True)
class Lie:
    """Places (n,): offset and sd (n, 2) for line and level, mm, and `source` (n, 2) of
    PATH, NEAR, SURVEY."""

    chainage_m: np.ndarray
    offset_mm: np.ndarray
    sd_mm: np.ndarray
    source: np.ndarray


class Laid:
    """The laid pipe along the drive, from `first_m` to `last_m`; `lie(at)` gives it at chainages."""

    def __init__(
        self,
        path: SmoothedArrays,
        surveys: tuple[PipeSurvey, ...],
        pipe_m: float,
        string_sd_mm: float,
        doubts: tuple[Doubt, ...] = (),
    ) -> None:
        self.path = path
        self.doubts = doubts
        self.pipe_m = pipe_m
        self.string_sd_mm = string_sd_mm
        self.first_m, self.last_m = float(path.chainage_m[0]), float(path.chainage_m[-1])
        self.surveys = tuple(
            s for s in _last_of_each_place(surveys, pipe_m) if self.first_m <= s.chainage_m <= self.last_m
        )

    def machine_path(self, at_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Offset and sd (n, 2) of the machine's path alone, with what check shots that disagree leave open."""
        p = self.path
        columns = (p.line_mm, p.level_mm), (p.line_sd_mm, p.level_sd_mm)
        offset, sd = (np.stack([np.interp(at_m, p.chainage_m, c) for c in pair], axis=1) for pair in columns)
        return offset, np.hypot(sd, doubt_mm(self.doubts, at_m))

    def _moved(self) -> list[tuple[PipeSurvey, tuple[float, float]]]:
        """Each survey that counts with what it adds to the path (line, level), mm."""
        at = np.array([s.chainage_m for s in self.surveys])
        offset, _ = self.machine_path(at)
        return [
            (s, (s.value_mm[0] - float(o[0]), s.value_mm[1] - float(o[1])))
            for s, o in zip(self.surveys, offset, strict=True)
        ]

    def lie(self, at_m: np.ndarray) -> Lie:
        """Offset, sd and source at chainages (n,)."""
        at = np.asarray(at_m, float)
        offset, path_sd = self.machine_path(at)
        sd = np.hypot(path_sd, self.string_sd_mm)
        source = np.full(offset.shape, PATH)
        moved = self._moved()
        for plane in (0, 1):
            here = [
                (s.chainage_m, d[plane], s.sd_mm[plane]) for s, d in moved if np.isfinite(s.value_mm[plane])
            ]
            if here:
                self._apply(at, here, plane, offset, sd, source)
        return Lie(at, offset, sd, source)

    def _apply(
        self,
        at: np.ndarray,
        surveys: list[tuple[float, float, float]],
        plane: int,
        offset: np.ndarray,
        sd: np.ndarray,
        source: np.ndarray,
    ) -> None:
        where, moved, own = (np.array(column) for column in zip(*surveys, strict=True))
        half, reach = 0.5 * self.pipe_m, BRIDGE_PIPES * self.pipe_m
        before = np.searchsorted(where, at, side="right") - 1
        left, right = np.maximum(before, 0), np.minimum(before + 1, len(where) - 1)
        # what each neighbour counts: 1 on its own pipe, fading over `reach` beyond it
        there = [
            np.maximum(1.0 - np.maximum(np.abs(at - where[k]) - half, 0.0) / reach, 0.0)
            for k in (left, right)
        ]
        there[0] = np.where(before >= 0, there[0], 0.0)
        there[1] = np.where(before + 1 < len(where), there[1], 0.0)
        # between two that are near one another the one takes over from the other in a straight line
        gap = where[right] - where[left]
        bridged = (before >= 0) & (before + 1 < len(where)) & (gap <= reach + 2.0 * half + 1e-9)
        free = np.where(gap > 2.0 * half, gap - 2.0 * half, np.where(gap > 0.0, gap, 1.0))
        edge = np.where(gap > 2.0 * half, half, 0.0)
        u = np.clip((at - where[left] - edge) / free, 0.0, 1.0)
        one, other = np.where(bridged, 1.0 - u, there[0]), np.where(bridged, u, there[1])
        offset[:, plane] += one * moved[left] + other * moved[right]
        most = np.maximum(one, other)
        of_surveys = (one * own[left]) ** 2 + (other * own[right]) ** 2
        sd[:, plane] = np.sqrt(of_surveys + (1.0 - most**2) * sd[:, plane] ** 2)
        source[most > 0.0, plane] = NEAR
        source[most >= 1.0 - 1e-9, plane] = SURVEY


def _last_of_each_place(surveys: tuple[PipeSurvey, ...], pipe_m: float) -> list[PipeSurvey]:
    kept: list[PipeSurvey] = []
    for survey in sorted(surveys, key=lambda s: s.number, reverse=True):
        if all(abs(survey.chainage_m - other.chainage_m) > 0.5 * pipe_m for other in kept):
            kept.append(survey)
    return sorted(kept, key=lambda s: s.chainage_m)
