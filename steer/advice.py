"""What the core says to a person or another program: plain frozen records, nothing computed here.

Every screen, report and JSON line is drawn from these. Units and signs as in `steer`'s vocabulary.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class FaceEstimate:
    """The face against the design axis; yaw and pitch are the front body's heading against the
    axis tangent and grade there (mm/m)."""

    line_mm: float
    line_sd_mm: float
    level_mm: float
    level_sd_mm: float
    yaw_mm_per_m: float
    yaw_sd_mm_per_m: float
    pitch_mm_per_m: float
    pitch_sd_mm_per_m: float


@dataclass(frozen=True)
class Correction:
    """Articulation to hold through the next stroke, and the cylinder extensions that make it."""

    right_mm_per_m: float
    up_mm_per_m: float
    cylinder_mm: tuple[float, ...]
    hold: bool


@dataclass(frozen=True)
class ForecastPoint:
    """The face expected at a chainage ahead, with its sd."""

    chainage_m: float
    line_mm: float
    line_sd_mm: float
    level_mm: float
    level_sd_mm: float


@dataclass(frozen=True)
class Notice:
    """One finding that holds now. `code` is the contract's; `text` says what, since where, what to do."""

    code: str
    text: str
    since_chainage_m: float


@dataclass(frozen=True)
class Advice:
    """One answer at the end of a stroke."""

    stroke: int
    chainage_m: float
    estimate: FaceEstimate
    correction: Correction
    forecast: tuple[ForecastPoint, ...]
    notices: tuple[Notice, ...]
    # beyond the contract's object, for people:
    reason: str = ""
    forecast_unchanged: tuple[ForecastPoint, ...] = ()  # the same stretch with the cylinders left alone
    cylinder_now_mm: tuple[float, ...] | None = None  # last reading, None if never read
    now_right_mm_per_m: float = 0.0
    now_up_mm_per_m: float = 0.0
    roll_deg: float = 0.0
    eye_probability: float | None = None  # of arriving inside the reception eye, with the correction
    next_survey_m: float | None = None  # chainage by which the next check shot is due
    at_reception: ForecastPoint | None = None  # the face at the end of the axis, steered all the way
    joint: str = ""  # what the path ahead asks of the pipe joints, in one line
    joint_mm_per_m: float | None = None  # the sharpest joint there
    trusted: bool = True  # False: the estimate is too unsure to steer by, show no proposal


@dataclass(frozen=True)
class Path:
    """The path as driven so far, arrays of equal length (n,) over chainage."""

    chainage_m: np.ndarray
    line_mm: np.ndarray
    line_sd_mm: np.ndarray
    level_mm: np.ndarray
    level_sd_mm: np.ndarray


@dataclass(frozen=True)
class ShotView:
    """A check shot as the estimate took it: innovation is shot minus estimate before the shot."""

    number: int
    chainage_m: float
    point: str
    line_mm: float
    level_mm: float
    sd_line_mm: float
    sd_level_mm: float
    innovation_line_mm: float | None
    innovation_level_mm: float | None
    innovation_sd_line_mm: float | None
    innovation_sd_level_mm: float | None
    verdict: str  # "agrees", "disagrees", "waiting", "withdrawn", "rejected"
    time: str | None = None
    evidence: tuple[str, ...] = ()  # for a blunder, for a moved reference; when it disagrees
    repeats: int | None = None  # the shot that it looks like, given again
    reached: bool = True  # False: the face has not come there yet
    accepted: bool = False  # by a person's word
    confirmed: str = (
        ""  # which later shots agree with one that disagreed and counts, in words with their verb
    )


@dataclass(frozen=True)
class ToleranceStretch:
    """Another tolerance between two chainages; where stretches overlap the tightest counts."""

    from_m: float
    to_m: float
    line_mm: float
    level_mm: float


@dataclass(frozen=True)
class Snapshot:
    """All a screen needs at one moment, made by `steer.drive.Drive.snapshot()`."""

    name: str
    start_chainage_m: float
    end_chainage_m: float
    stroke_m: float
    pipe_length_m: float
    tolerance_line_mm: float
    tolerance_level_mm: float
    eye_line_mm: float | None
    eye_level_mm: float | None
    cylinder_positions_deg: tuple[float, ...]
    cylinder_range_mm: tuple[float, float]
    advice: Advice | None  # None: no reading yet
    path: Path
    shots: tuple[ShotView, ...]
    readings_used: int
    readings_refused: int
    last_reading_time: str | None  # ISO 8601 UTC, as the reading says; None when it says none
    last_event_time: str | None  # arrival time of the newest event in the log
    log_sequence: int
    extra: dict[str, object] = field(default_factory=dict)
    tolerance_stretches: tuple[ToleranceStretch, ...] = ()
    machine_length_m: float = 0.0
