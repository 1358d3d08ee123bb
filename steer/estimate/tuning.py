"""The estimator's constants, each from the machine's geometry, the drive file or common practice.

Figures without a source are common practice, no source; tests/bench shows how little the result
depends on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate.motion import MotionModel

ROLL_UNKNOWN_DEG = 1.0  # sd of a roll that nobody reads; common practice, no source
ROLL_LENGTH_M = 20.0  # over which it wanders
ROLL_STANDS_M = 0.5  # a reading's roll is good for so far
GATE = 4.0  # standard deviations beyond which one reading is wild (normal: 1 in 16,000)


@dataclass(frozen=True)
class Priors:
    """Standard deviations of the state at the launch, in the states' units."""

    offset: float
    direction: float
    reference_offset: float
    reference_direction: float
    reference_curvature: float
    yaw_zero: float
    pitch_zero: float


@dataclass(frozen=True)
class Answer:
    """One way in which machine and ground may answer; the stack holds several.

    `lag` of the curvature behind the articulation in machine lengths, `delay` the dead distance before it
    begins; `coupling` of crab to curvature as a share of 2/L; `travel` the prior share by which the
    direction of travel turns at once, over the front body's own; `tie` the sd of that, in the rear body's
    share of the length; noises a root metre as in `MotionModel`; `crab_fade` in machine lengths, over which
    the crab forgets;
    `odds` the log-likelihood that it is behind before anything was read, and comes back to: one jump of the
    ground, or one wild stretch, is no reason to take it.
    """

    lag: float
    coupling: float
    travel: float
    tie: float
    crab_noise: float
    tendency_noise: float
    delay: float = 0.0
    crab_fade: float = np.inf
    odds: float = 0.0


# From a bore that bends at once with its bodies to one that bends long after; two that begin to bend late;
# last, ground in layers or lumps, whose crab comes and goes within a few metres: to steer against such a crab
# would come too late and add to it, so its readings have to be explained without a path that stays bent.
MODELS = (
    Answer(0.15, 1.0, 1.0, 0.25, 0.4, 0.03),
    Answer(0.5, 0.5, 0.8, 0.25, 0.25, 0.04),
    Answer(0.7, 0.0, 0.2, 0.15, 0.12, 0.12),
    Answer(1.25, 0.0, 0.2, 0.15, 0.12, 0.12),
    Answer(0.6, 0.0, 0.2, 0.15, 0.12, 0.12, delay=0.5),
    Answer(0.6, 0.0, 0.2, 0.15, 0.12, 0.12, delay=1.1),
    Answer(0.7, 0.0, 0.2, 0.15, 2.5, 0.12, crab_fade=0.7, odds=-60.0),
)
MIDDLE = 1


def motion_of(drive: DriveFile, models: tuple[Answer, ...] = MODELS) -> MotionModel:
    """The motion models of a drive's machine, one a way of answering."""
    length = drive.machine.front_length_m + drive.machine.rear_length_m
    share = drive.machine.rear_length_m / length  # two bodies, tail on the bore
    rigid = 2.0 / length  # three points on one circle
    sd = drive.sd

    def each(name: str) -> np.ndarray:
        return np.array([getattr(model, name) for model in models])

    return MotionModel(
        length_m=length,
        lag_m=each("lag") * length,
        delay_m=each("delay") * length,
        crab_coupling_per_m=each("coupling") * rigid,
        share_prior=0.6 * share,
        share_prior_sd=0.35 * share,
        travel_of_share=each("travel"),
        travel_tie_sd=each("tie") * share,
        share_bounds=(-0.1 * share, 1.6 * share),
        gain_prior_per_m=0.55 * rigid,
        gain_prior_sd_per_m=0.25 * rigid,
        gain_bounds_per_m=(0.08 * rigid, 1.5 * rigid),
        crab_sd=2.0,
        crab_noise=each("crab_noise"),
        crab_fade_m=each("crab_fade") * length,
        tendency_sd=0.2,
        tendency_noise=each("tendency_noise"),
        tendency_fade_m=8.0 * length,
        offset_noise=0.1,
        direction_noise=0.05,
        learn_memory_m=300.0,
        reference_offset_noise=0.1 * sd.reference_mm,
        reference_direction_noise=0.1 * sd.reference_mm_per_m,
        reference_curvature_noise=2e-5,
    )


def priors_of(drive: DriveFile) -> Priors:
    """What is known at the launch. Refraction: 1 K/m across a beam bends it 0.93e-3 mm/m² at 20 °C
    (Barrell and Sears, memory); a third of that is taken as one sd for a beam along a tunnel."""
    sd = drive.sd
    beam = drive.reference.kind == "beam"
    return Priors(
        offset=sd.launch_mm,
        direction=sd.launch_mm_per_m,
        reference_offset=sd.reference_mm,
        reference_direction=sd.reference_mm_per_m,
        reference_curvature=3e-4 if beam else 3e-5,
        yaw_zero=0.1,
        pitch_zero=sd.pitch_bias_mm_per_m,
    )
