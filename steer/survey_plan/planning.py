"""The fewest check surveys, and where, so that the drive arrives in the eye with the wanted probability."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate.tuning import motion_of, priors_of
from steer.feasibility.beam import moves
from steer.feasibility.curves import tightest
from steer.survey_plan.course import Course, Rehearsal, Survey
from steer.survey_plan.joint import arrival_variance, joint_covariance
from steer.survey_plan.traverse import base_effect_mm, carried_in, longest_sight_m, survey_of

WANTED = 0.95
LONGEST_M = 5_000.0  # beyond any drive; the rehearsal's cost goes with the length
_PLACES = 40
_APART = 0.1  # of the drive, at least, between surveys: closer ones share their legs. Own choice, no source
_TRY_ALL = 2  # sets of so many are tried one and all, larger ones grow by the best addition
_WORTH_IT = 0.005  # of probability: what surveys must still add where the wanted cannot be reached


@dataclass(frozen=True)
class Source:
    """What one source alone does to the reading of the far end, one sd, mm; None: not in that plane."""

    name: str
    line_mm: float | None
    level_mm: float | None


@dataclass(frozen=True)
class Arrival:
    """Where the face comes out against the eye: 1 sd per plane (mm), and the probability of being inside."""

    line_sd_mm: float
    level_sd_mm: float
    probability: float


@dataclass(frozen=True)
class SurveyPlan:
    """The plan; chainages at the face. `latest_m` is the last at which what a survey shows can be steered out.

    `without` and `with_surveys` are what the estimate will know; at a survey the chainage stands twice,
    before and after it. `enough` tells whether the wanted probability is reached; where only the base in
    the shaft stands in the way, `base_needed_mm_per_m` is the direction that would do. `survey_at_end` and
    `leg_m`: what a check survey is worth at the end, and the longest sight it was counted with. `anew_m`: where
    the target stands when the reference is set anew.
    """

    eye_mm: tuple[float, float]
    wanted: float
    sources: tuple[Source, ...]
    surveys: tuple[Survey, ...]
    without: Course
    with_surveys: Course
    arrival_without: Arrival
    arrival_with: Arrival
    latest_m: float
    base_sd_mm_per_m: float | None
    survey_at_end: Survey
    leg_m: float
    base_needed_mm_per_m: float | None
    tolerance_mm: tuple[float, float]
    anew_m: tuple[float, ...]

    @property
    def enough(self) -> bool:
        """Whether the plan reaches the wanted probability."""
        return self.arrival_with.probability >= self.wanted

    @property
    def doubtful_from_m(self) -> float | None:
        """With the surveys: first chainage at which the face is inside the drive's tolerance with less than
        the wanted probability; None when nowhere."""
        course = self.with_surveys
        for s, line, level in zip(course.chainage_m, course.line_sd_mm, course.level_sd_mm, strict=True):
            if arrival_probability(float(line), float(level), self.tolerance_mm) < self.wanted:
                return float(s)
        return None


def arrival_probability(line_sd_mm: float, level_sd_mm: float, eye_mm: tuple[float, float]) -> float:
    """Both planes inside ± the eye: independent, normal, on the axis in the mean."""
    return math.prod(
        math.erf(half / (sd * math.sqrt(2.0))) if sd > 0.0 else 1.0
        for sd, half in zip((line_sd_mm, level_sd_mm), eye_mm, strict=True)
    )


def survey_plan(drive: DriveFile, wanted: float = WANTED) -> SurveyPlan | None:
    """Rehearses the drive without data, and looks for the fewest surveys that do.

    None for an axis of over 5 km, which no drive has.
    """
    axis = drive.axis
    if axis.end_chainage_m - axis.start_chainage_m > LONGEST_M:
        return None
    eye = drive.tolerance.eye or drive.tolerance
    eye_mm = (eye.line_mm, eye.level_mm)
    anew = [(m, carried_in(drive, m)) for m in moves(drive)]
    bare = done = Rehearsal(drive, anew=anew)
    latest = _latest_m(drive, max(eye_mm))
    chosen: list[Survey] = []
    arrival_without = arrival = _arrival(drive, bare, eye_mm)
    if arrival.probability < wanted:
        for found in _sets(drive, bare, latest, eye_mm, wanted):
            chosen, done = found, Rehearsal(drive, found, anew)
            arrival = _arrival(drive, done, eye_mm)
            if arrival.probability >= wanted:
                break
    needed = None
    if arrival.probability < wanted and drive.survey.base_sd_mm_per_m:
        needed = _base_needed(drive, done, eye_mm, wanted)
    return SurveyPlan(
        eye_mm, wanted, sources(drive), tuple(_by_itself(drive, s) for s in chosen), _with_base(drive, bare.course),
        _with_base(drive, done.course), arrival_without, arrival, latest, drive.survey.base_sd_mm_per_m,
        _by_itself(drive, survey_of(drive, axis.end_chainage_m)), longest_sight_m(drive), needed,
        (drive.tolerance.line_mm, drive.tolerance.level_mm), tuple(m for m, _ in anew),
    )  # fmt: skip


def sources(drive: DriveFile) -> tuple[Source, ...]:
    """Each error source alone at the end of the drive, as the estimator takes it."""
    sd, prior = drive.sd, priors_of(drive)
    behind = drive.target.behind_face_m
    anew = moves(drive)
    source = anew[-1] if anew else drive.axis.start_chainage_m
    distance = max(drive.axis.end_chainage_m - source - behind, 0.0)
    spot = sd.spot_mm + sd.spot_mm_per_100m * distance / 100.0
    bent = 0.5 * prior.reference_curvature * distance**2
    offset = [prior.reference_offset] * 2
    direction = [prior.reference_direction * distance] * 2
    if anew:
        carried = np.sqrt(np.diagonal(carried_in(drive, source), axis1=1, axis2=2))
        offset, direction = carried[:, 0].tolist(), (carried[:, 1] * distance).tolist()
    found = [
        Source("Reference: its offset", *offset),
        Source("Reference: its direction", *direction),
        Source("Refraction", bent, bent),
        Source("One reading of the spot", spot, spot),
        Source("Heading from target to face", sd.yaw_mm_per_m * behind, sd.pitch_mm_per_m * behind),
        Source("Zero of the inclinometer, target to face", None, sd.pitch_bias_mm_per_m * behind),
    ]
    if drive.survey.base_sd_mm_per_m is not None:
        base = _base_sd_mm(drive, drive.axis.end_chainage_m)
        found.insert(0, Source("Base of control in the shaft", base, None))
    return tuple(found)


def _arrival(drive: DriveFile, rehearsal: Rehearsal, eye_mm: tuple[float, float]) -> Arrival:
    line, level = rehearsal.arrival_sd_mm.tolist()
    line = math.hypot(line, _base_sd_mm(drive, drive.axis.end_chainage_m))
    return Arrival(line, level, arrival_probability(line, level, eye_mm))


def _base_sd_mm(drive: DriveFile, chainage_m: float) -> float:
    return float(base_effect_mm(drive.axis, chainage_m, drive.survey.base_sd_mm_per_m or 0.0)[0])


def _with_base(drive: DriveFile, course: Course) -> Course:
    """The course with the error that reference and surveys share."""
    shared = drive.survey.base_sd_mm_per_m
    if not shared:
        return course
    base = base_effect_mm(drive.axis, course.chainage_m, shared)
    return Course(course.chainage_m, np.hypot(course.line_sd_mm, base), course.level_sd_mm)


def _by_itself(drive: DriveFile, survey: Survey) -> Survey:
    """The survey with the error of the shaft's base, which the rehearsal leaves to the end."""
    line = math.hypot(survey.line_sd_mm, _base_sd_mm(drive, survey.chainage_m))
    return Survey(survey.chainage_m, line, survey.level_sd_mm)


def _latest_m(drive: DriveFile, offset_mm: float) -> float:
    """Last chainage from which an offset can be steered out before the end, on half of what is allowed.

    Two opposite curves κ over d shift the path by κ·d²/4; the machine answers within its own length.
    """
    motion = motion_of(drive)
    machine = motion.gain_prior_per_m * drive.machine.max_articulation_mm_per_m
    pipes = drive.pipe.max_joint_angle_mm_per_m / drive.pipe.length_m
    left = max(min(machine, pipes) - tightest(drive.axis).curvature_mm_per_m2, 0.1 * min(machine, pipes))
    needed = math.sqrt(4.0 * offset_mm / (0.5 * left)) + drive.machine.length_m
    length = drive.axis.end_chainage_m - drive.axis.start_chainage_m
    return drive.axis.end_chainage_m - min(needed, 0.5 * length)


def _base_needed(
    drive: DriveFile, rehearsal: Rehearsal, eye_mm: tuple[float, float], wanted: float
) -> float | None:
    """Direction of the shaft's base (mm/m, 1 sd) with which the wanted probability would be reached."""
    line, level = rehearsal.arrival_sd_mm.tolist()
    if arrival_probability(line, level, eye_mm) < wanted:
        return None
    given = drive.survey.base_sd_mm_per_m or 0.0
    full = _base_sd_mm(drive, drive.axis.end_chainage_m)
    good, bad = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (good + bad)
        if arrival_probability(math.hypot(line, middle * full), level, eye_mm) >= wanted:
            good = middle
        else:
            bad = middle
    return good * given


def _places(rehearsal: Rehearsal, latest_m: float) -> list[int]:
    """Numbers of cells at which a survey may be made, evenly spaced up to the latest."""
    at = np.array([node.s_m for node in rehearsal.nodes])
    allowed = np.flatnonzero(at <= min(latest_m, rehearsal.until_m) + 1e-6)
    if not allowed.size:
        return [0]
    return sorted({int(i) for i in np.linspace(0, allowed[-1], min(_PLACES, len(allowed)))})


def _sets(
    drive: DriveFile, bare: Rehearsal, latest_m: float, eye_mm: tuple[float, float], wanted: float
) -> Iterator[list[Survey]]:
    """Sets of surveys worth rehearsing, the smallest first: those that should reach the wanted probability,
    or the smallest that comes as near as any."""
    places = _places(bare, latest_m)
    surveys = [survey_of(drive, bare.nodes[i].s_m) for i in places]
    joint = joint_covariance(bare, places)
    noise = np.square([[s.line_sd_mm for s in surveys], [s.level_sd_mm for s in surveys]])
    base = _base_sd_mm(drive, drive.axis.end_chainage_m)
    apart = _APART * (drive.axis.end_chainage_m - drive.axis.start_chainage_m)

    def probability(chosen: list[int]) -> float:
        line, level = arrival_variance(joint, noise, chosen).tolist()
        return arrival_probability(math.sqrt(max(line, 0.0) + base**2), math.sqrt(max(level, 0.0)), eye_mm)

    def fits(chosen: list[int]) -> bool:
        at = sorted(surveys[i].chainage_m for i in chosen)
        return all(b - a >= apart - 1e-6 for a, b in pairwise(at))

    every = range(len(surveys))
    best: list[list[int]] = [[]]
    while True:
        count = len(best)
        if count <= _TRY_ALL:
            grown = [list(c) for c in combinations(every, count)]
        else:
            grown = [sorted([*best[-1], i]) for i in every if i not in best[-1]]
        grown = [c for c in grown if fits(c)]
        if not grown:
            break
        best.append(max(grown, key=probability))
    reached = [probability(c) for c in best]
    enough = [c for c, p in zip(best[1:], reached[1:], strict=True) if p >= wanted]
    if not enough:
        top = max(reached)
        enough = [next(c for c, p in zip(best, reached, strict=True) if p >= top - _WORTH_IT)]
    yield from ([surveys[i] for i in c] for c in enough)
