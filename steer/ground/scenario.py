"""What a simulated drive is made of: plain records, every figure invented unless a drive file gives it.

A `Scenario` is a drive file (the dictionary that `drive.toml` holds, same keys) plus what the drive file does
not know: the ground, the true errors of the guidance, and the faults that will happen. Planes are ordered
(line, level) in every pair. Units and signs as in `steer`'s vocabulary.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

Pair = tuple[float, float]


@dataclass(frozen=True)
class Stretch:
    """Ground between this chainage and the next stretch's.

    gain        response to articulation, (line, level). `guided` and `lagged`: steady curvature as a share of
                the rigid geometry 2A/(front + rear). `elastic`: share of the articulation that reaches the
                ground.
    crab        mean crab angle, mm/m (a heavy machine in soft ground dives: level negative).
    tendency    curvature the ground imposes by itself, mm/m² (`lagged` only).
    friction_kpa  on the pipe surface, lubricated as it is.
    """

    start_m: float
    gain: Pair
    crab_mm_per_m: Pair = (0.0, 0.0)
    tendency_mm_per_m2: Pair = (0.0, 0.0)
    friction_kpa: float = 3.0
    face_pressure_kpa: float = 80.0
    name: str = "ground"


@dataclass(frozen=True)
class Ground:
    """How machine and ground answer.

    kind            "elastic", "guided" or "lagged": see `steer.ground.bodies`.
    play_mm_per_m   lost motion when the articulation changes sign, full width, (line, level).
    crab_sd, crab_length_m      Ornstein-Uhlenbeck wander of the crab about each stretch's mean, over
    distance. tendency_sd, tendency_length_m   the same for the tendency (`lagged`).
    share           `guided`: share of the gain that the front body shows as heading at once; `lagged`: share
    of the
                    articulation that it shows.
    lag_m           `lagged`: distance constant of the curvature.
    gap_mm          `elastic`: radial overcut that is free of firm contact, (line, level).
    background      `elastic`: stiffness inside the gap over stiffness outside (loosened soil, lubricant).
    rear_stiffness  `elastic`: support stiffness of the rear body over that of the front body.
    bend_mu         friction between pipes and ground where a turned joint presses them sideways: see `thrust`.
    side_cut        `elastic`: how easily the cutter gives way sideways, 0 not at all (see `bodies`).
    """

    kind: str
    stretches: tuple[Stretch, ...]
    play_mm_per_m: Pair = (0.0, 0.0)
    crab_sd_mm_per_m: float = 0.0
    crab_length_m: float = 20.0
    tendency_sd_mm_per_m2: float = 0.0
    tendency_length_m: float = 20.0
    share: float = 0.3
    lag_m: float = 5.0
    gap_mm: Pair = (0.0, 0.0)
    background: float = 0.1
    rear_stiffness: float = 1.0
    side_cut: float = 0.0
    bend_mu: float = 0.3
    roll_sd_deg: float = 0.7
    roll_length_m: float = 20.0
    setting_sd_mm: float = 0.2  # how exactly the operator sets a cylinder


@dataclass(frozen=True)
class Guidance:
    """What the instruments do; `noise_scale` multiplies the sds that the drive file states."""

    noise_scale: float = 1.0
    correlated_share: float = 0.0  # share of the noise variance that is correlated over distance ...
    correlation_m: float = 0.5  # ... with this length
    roll_sd_deg: float = 0.05
    cylinder_sd_mm: float = 0.3
    reference_walk_mm_per_m: float = 0.0  # random walk of the reference direction, sd after 100 m
    refraction_k_per_m: Pair = (
        0.0,
        0.0,
    )  # temperature gradient across the beam; 1 K/m bends by 1 mm/m per km
    dropout_share: float = 0.0  # single readings without spot and yaw
    beam_lost: tuple[Pair, ...] = ()  # (from, to) chainages without spot and yaw
    wild_share: float = 0.0  # single readings with one channel far out
    reading_every_m: float = 0.05
    standing_readings: int = 2  # extra readings at each stroke's end, machine standing
    rebound_mm: Pair = (1.0, 30.0)  # the range of the string's rebound


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong at a chainage.

    kind            value
    beam_knock      (right_mm, up_mm, right_mm_per_m, up_mm_per_m) added to the reference
    target_knock    (right_mm, up_mm, yaw_mm_per_m) added to the target's place and yaw
    yaw_stuck, pitch_stuck   () the channel repeats its value of that chainage
    cylinder_misread   (number from 1, mm) added to that cylinder's reading
    reversed        (line, level) 1.0 where the machine answers the opposite way, else 0.0
    reference_drift (right_mm_per_m2, up_mm_per_m2): the direction turns by so much per metre of advance
    """

    kind: str
    chainage_m: float
    value: tuple[float, ...] = ()


@dataclass(frozen=True)
class CheckShots:
    every_m: float = 30.0
    sd_mm: float = 2.0
    point: str = "face"  # or "target"
    late_strokes: int = 0  # handed over so many strokes after it was taken


@dataclass(frozen=True)
class Scenario:
    """One drive to simulate. `drive` has the keys of drive.toml. Same seed and same cylinder settings, same
    drive."""

    seed: int
    drive: dict[str, Any]
    ground: Ground
    guidance: Guidance = field(default_factory=Guidance)
    shots: CheckShots = field(default_factory=CheckShots)
    faults: tuple[Fault, ...] = ()
    step_m: float = 0.05  # of the simulation; a whole part of reading_every_m
    name: str = ""

    def with_(self, **changes: Any) -> Scenario:
        return replace(self, **changes)

    @property
    def start_m(self) -> float:
        return float(self.drive["axis"]["start"]["chainage_m"])

    @property
    def length_m(self) -> float:
        return float(sum(part["length_m"] for part in self.drive["axis"]["horizontal"]))
