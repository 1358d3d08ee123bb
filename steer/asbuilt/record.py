"""The as-built record of a drive: all that page, tables, drawings and report are made from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from steer import __version__
from steer.advice import Advice, Notice, ShotView
from steer.asbuilt.conformance import outside_probability, verdicts, worse
from steer.asbuilt.doubt import Doubt, doubts
from steer.asbuilt.falls import Falls, Grades, falls, grades
from steer.asbuilt.joints import Joints, joints_of
from steer.asbuilt.lie import Difference, Laid, Lie, PipeSurvey, SmoothedArrays, differences
from steer.asbuilt.string import Force, force_of
from steer.asbuilt.strokes import StrokeRow, stroke_rows
from steer.asbuilt.tolerances import arrived, tolerance_mm
from steer.asbuilt.totals import Counted, Figures, count, figures
from steer.drivefile import DriveFile
from steer.errors import InputRefused
from steer.estimate.follow import Follower
from steer.estimate.possible import Possible
from steer.log import Event, Log
from steer.log.verify import verify

_FINE_M = 0.1
COUNTED = ("agrees", "disagrees")  # of a check shot; else it waits for a word, or is rejected or withdrawn
_SAID = ("note", "reference_set", "withdrawn", "restored", "chainage_set", "overridden", "undone")


class Smoothed(SmoothedArrays, Protocol):
    """`steer.estimate.smoother.SmoothedPath`."""

    @property
    def yaw_mm_per_m(self) -> np.ndarray: ...
    @property
    def pitch_mm_per_m(self) -> np.ndarray: ...
    @property
    def gain_per_m(self) -> np.ndarray: ...
    @property
    def gain_sd_per_m(self) -> np.ndarray: ...


class DriveRead(Protocol):
    """What is asked of `steer.drive.Drive`."""

    @property
    def file(self) -> DriveFile: ...
    @property
    def log(self) -> Log: ...
    def events(self) -> Iterator[Event]: ...
    def smoothed(self) -> Smoothed: ...
    def path_without_pipe_surveys(self) -> SmoothedArrays: ...
    def possible_paths(self) -> Possible: ...
    def shots(self) -> tuple[ShotView, ...]: ...
    def advice(self) -> Advice | None: ...
    @property
    def follower(self) -> Follower: ...
    @property
    def decisions(self) -> list[Event]: ...


@dataclass(frozen=True)
class Judged:
    """Places with their verdicts: arrays (n,) and, for line and level, (n, 2). `outside` is the
    probability of lying outside the tolerance; `both` the verdict of the two planes together."""

    lie: Lie
    tolerance_mm: np.ndarray
    outside: np.ndarray
    verdict: np.ndarray
    both: np.ndarray
    easting_m: np.ndarray
    northing_m: np.ndarray
    level_m: np.ndarray

    @property
    def naive_outside(self) -> np.ndarray:
        """(n, 2): the value alone beyond the tolerance."""
        beyond: np.ndarray = np.abs(self.lie.offset_mm) > self.tolerance_mm
        return beyond


@dataclass(frozen=True)
class Plane:
    """Totals of line or level."""

    counted: Counted
    figures: Figures


@dataclass(frozen=True)
class Eye:
    """The reception eye. Arrived: offset, sd and verdict there, (line, level); else the forecast's
    probability of arriving inside."""

    tolerance_mm: tuple[float, float]
    arrived: bool
    offset_mm: tuple[float, float] | None
    sd_mm: tuple[float, float] | None
    verdict: str | None
    probability: float | None


@dataclass(frozen=True)
class LogSeal:
    """What the record was made from: number of events, the last one's hash, whether the chain is whole."""

    events: int
    head: str
    whole: bool
    faults: tuple[str, ...]
    first_time: str | None
    last_time: str | None


@dataclass(frozen=True)
class Gone:
    """A finding that was given with the advice of the strokes from one chainage to another, and holds no more."""

    code: str
    from_m: float
    to_m: float


@dataclass(frozen=True)
class AsBuilt:
    """The record. `metres` are the stations of the per-metre table, `pipes` the joints of the string as
    it lies now (nearest the machine first), `grades` over a pipe and over the moving base."""

    file: DriveFile
    face_m: float
    metres: Judged
    pipes: Judged
    line: Plane
    level: Plane
    both: Counted
    eye: Eye | None
    grade_pipe: Grades
    grade_base: Grades
    falls: Falls | None
    joints: Joints
    force: Force
    surveys: tuple[ShotView, ...]
    survey_times: dict[int, str]
    doubts: tuple[Doubt, ...]
    string_difference: tuple[Difference, ...]
    strokes: tuple[StrokeRow, ...]
    notices: tuple[Notice, ...]
    said: tuple[Event, ...]
    gone: tuple[Gone, ...]
    seal: LogSeal
    version: str = __version__

    @property
    def rule(self) -> float:
        """Conformance probability asked for."""
        return self.file.decision.conformance_probability

    @property
    def overcut_mm(self) -> float:
        """How far the pipe can lie from the middle of the bore."""
        return max(self.file.machine.outer_diameter_mm - self.file.pipe.outer_diameter_mm, 0.0) / 2.0


def assemble(drive: DriveRead) -> AsBuilt:
    """The record of a drive as its log stands. Raises InputRefused when nothing has been driven yet."""
    file, path = drive.file, drive.smoothed()
    if len(path.chainage_m) == 0 or path.chainage_m[-1] - path.chainage_m[0] <= 0.0:
        raise InputRefused(
            "nothing has been driven yet: an as-built record needs readings over some advance "
            "(`steer read` adds them)"
        )
    events = _Bodies(drive)
    surveys = _with_own_sd(drive.shots(), events)
    open_ = doubts(surveys, float(path.chainage_m[0]), float(path.chainage_m[-1]))
    laid = Laid(path, _pipe_surveys(surveys, events), file.pipe.length_m, file.decision.string_sd_mm, open_)
    metres = _judge(file, laid, _stations(file, laid))
    tail = laid.last_m - file.machine.length_m
    joints = joints_of(file, laid, drive.possible_paths())
    ends = np.concatenate([[tail], joints.standing.chainage_m])
    fine = np.arange(laid.first_m, laid.last_m + 1e-9, _FINE_M)
    level = laid.lie(fine).offset_mm[:, 1]
    advice = _advice(drive, path)
    counted = [count(metres.lie.chainage_m, metres.verdict[:, k], metres.naive_outside[:, k]) for k in (0, 1)]
    shown = [
        figures(metres.lie.chainage_m, metres.lie.offset_mm[:, k], metres.lie.sd_mm[:, k]) for k in (0, 1)
    ]
    return AsBuilt(
        file=file,
        face_m=laid.last_m,
        metres=metres,
        pipes=_judge(file, laid, ends[ends >= laid.first_m - 1e-9]),
        line=Plane(counted[0], shown[0]),
        level=Plane(counted[1], shown[1]),
        both=count(metres.lie.chainage_m, metres.both, np.any(metres.naive_outside, axis=1)),
        eye=_eye(file, laid, advice),
        grade_pipe=grades(file.axis, fine, level, file.pipe.length_m),
        grade_base=grades(file.axis, fine, level, file.sewer.grade_base_m),
        falls=falls(file.axis, fine, level, file.pipe.length_m, file.sewer.flat_mm_per_m)
        if file.sewer.flow == "gravity"
        else None,
        joints=joints,
        force=force_of(file, (e.body for e in drive.events() if e.kind == "reading"), laid, joints),
        surveys=surveys,
        survey_times=events.times,
        doubts=open_,
        string_difference=differences(laid, drive.path_without_pipe_surveys()) if laid.surveys else (),
        strokes=stroke_rows(
            file,
            drive.events(),
            path.chainage_m,
            np.column_stack([path.yaw_mm_per_m, path.pitch_mm_per_m]),
            path.gain_per_m,
            path.gain_sd_per_m,
        ),
        notices=_still_true(file, laid, advice),
        said=tuple(events.said),
        gone=_gone(events.advised, {notice.code for notice in advice.notices} if advice else set()),
        seal=_seal(drive.log, events),
    )


class _Bodies:
    """One pass over the log for what people said and surveyed."""

    def __init__(self, drive: DriveRead) -> None:
        self.shots: dict[int, dict[str, Any]] = {}
        self.times: dict[int, str] = {}
        self.said: list[Event] = []
        self.advised: list[tuple[float, frozenset[str]]] = []  # chainage and codes of notices
        self.first: str | None = None
        self.last: str | None = None
        for event in drive.events():
            time = event.body.get("time")
            if event.kind == "check_shot":
                self.shots[event.sequence] = event.body
                if time:
                    self.times[event.sequence] = str(time)
            elif event.kind == "advised":
                codes = frozenset(event.body.get("notices") or ())  # none in logs of older programs
                self.advised.append((float(event.body["chainage_m"]), codes))
            elif event.kind in _SAID:
                self.said.append(event)
            elif event.kind == "reading" and time:
                self.first = min(self.first or str(time), str(time))
                self.last = max(self.last or str(time), str(time))


def _with_own_sd(shots: tuple[ShotView, ...], events: _Bodies) -> tuple[ShotView, ...]:
    """Surveys of laid pipes with their own sd: the estimate adds how far a pipe may lie from the bore."""
    found = []
    for shot in shots:
        body = events.shots.get(shot.number, {})
        if shot.point == "pipe":
            line, level = (body.get(key) or body.get("sd_mm") for key in ("sd_line_mm", "sd_level_mm"))
            shot = replace(
                shot, sd_line_mm=float(line or shot.sd_line_mm), sd_level_mm=float(level or shot.sd_level_mm)
            )
        found.append(shot)
    return tuple(found)


def _pipe_surveys(surveys: tuple[ShotView, ...], events: _Bodies) -> tuple[PipeSurvey, ...]:
    """Surveys of laid pipes that count."""
    return tuple(
        PipeSurvey(
            shot.number,
            shot.chainage_m,
            (shot.line_mm, shot.level_mm),
            (shot.sd_line_mm, shot.sd_level_mm),
            events.times.get(shot.number),
        )
        for shot in surveys
        if shot.point == "pipe" and shot.verdict in COUNTED
    )


def _stations(file: DriveFile, laid: Laid) -> np.ndarray:
    """Every whole metre from the start of the axis that is driven, and both ends."""
    start = file.axis.start_chainage_m
    first, last = int(np.ceil(laid.first_m - start - 1e-6)), int(np.floor(laid.last_m - start + 1e-6))
    whole = start + np.arange(first, last + 1, dtype=float)
    at = np.concatenate([[laid.first_m], whole, [laid.last_m]])
    keep = np.concatenate([np.diff(at) > 1e-3, [True]])
    return at[keep]


def _judge(file: DriveFile, laid: Laid, at_m: np.ndarray) -> Judged:
    lie = laid.lie(at_m)
    tolerance = tolerance_mm(file, at_m)
    outside = outside_probability(lie.offset_mm, lie.sd_mm, -tolerance, tolerance)
    rule = file.decision.conformance_probability
    verdict = verdicts(outside, rule)
    place = file.axis.position(lie.chainage_m, lie.offset_mm[:, 0], lie.offset_mm[:, 1])
    return Judged(lie, tolerance, outside, verdict, worse(verdict[:, 0], verdict[:, 1]), *place)


def _eye(file: DriveFile, laid: Laid, advice: Advice | None) -> Eye | None:
    if file.tolerance.eye is None:
        return None
    eye = (file.tolerance.eye.line_mm, file.tolerance.eye.level_mm)
    if not arrived(file, laid.last_m):
        return Eye(eye, False, None, None, None, advice.eye_probability if advice else None)
    lie = laid.lie(np.array([laid.last_m]))
    limit = np.array([eye])
    outside = outside_probability(lie.offset_mm, lie.sd_mm, -limit, limit)
    each = verdicts(outside, file.decision.conformance_probability)
    offset, sd = lie.offset_mm[0], lie.sd_mm[0]
    return Eye(
        eye, True, (float(offset[0]), float(offset[1])), (float(sd[0]), float(sd[1])),
        worse(each[:, 0], each[:, 1])[0].value, None,
    )  # fmt: skip


def _still_true(file: DriveFile, laid: Laid, advice: Advice | None) -> tuple[Notice, ...]:
    """Notices that hold. Of limits that the next setting would break nothing is left to say on arrival."""
    if advice is None:
        return ()
    there = arrived(file, laid.last_m)
    return tuple(n for n in advice.notices if not (there and n.code == "limit_gave_way"))


def _advice(drive: DriveRead, path: SmoothedArrays) -> Advice | None:
    """The advice with what forces have passed, as every page says it."""
    # not on top: it takes words for this record from a room that imports it
    from steer.asbuilt.force_now import SharpestJoint

    advice = drive.advice()
    if advice is None:
        return None
    return SharpestJoint(drive.file).tell(advice, drive.follower, path, drive.decisions)


def _gone(advised: list[tuple[float, frozenset[str]]], now: set[str]) -> tuple[Gone, ...]:
    """Runs of advices, one after another, that gave a finding; without the run that still goes on."""
    found: list[Gone] = []
    since: dict[str, float] = {}
    last = 0.0
    for at, codes in advised:
        found += [Gone(code, since.pop(code), last) for code in sorted(since.keys() - codes)]
        for code in codes:
            since.setdefault(code, at)
        last = at
    found += [Gone(code, begun, last) for code, begun in sorted(since.items()) if code not in now]
    return tuple(sorted(found, key=lambda g: (g.from_m, g.code)))


def _seal(log: Log, events: _Bodies) -> LogSeal:
    found = verify(log)
    return LogSeal(found.events, found.head, found.whole, tuple(found.faults), events.first, events.last)
