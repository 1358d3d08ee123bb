"""The tables of drive.toml, one frozen record a table; names, units and signs are the contract's.

Bounds are wide: they catch a slip of unit or sign, they are no advice on what to build. No
published figure stands behind them. What is divided by or squared has a smallest value as well: over 0 would
let through numbers of which the square is 0 or the inverse infinite.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

from steer.drivefile.fields import Number, Numbers, Text, Word, refusal

_COORDINATE = Number(at_least=-1e8, at_most=1e8)
_LENGTH_M = Number(at_least=0.001, at_most=20_000)
_RADIUS_M = Number(at_least=1, at_most=1e7)
_RADIUS_OR_INF_M = Number(at_least=1, at_most=1e7, or_inf=True)
_TURN = Word(("right", "left"))
_GRADE = Number(at_least=-500, at_most=500)
_BEARING = Number(at_least=-360, at_most=360)
_BODY_M = Number(at_least=0.1, at_most=50)
_DIAMETER_MM = Number(at_least=100, at_most=20_000)
_OFFSET_MM = Number(at_least=-10_000, at_most=10_000)
_DIRECTION = Number(at_least=-100, at_most=100)
_TOLERANCE_MM = Number(at_least=0.1, at_most=2_000)
_SD = Number(at_least=0.001, at_most=1_000)
_SD_OR_0 = Number(at_least=0, at_most=1_000)
_ARTICULATION = Number(at_least=0.1, at_most=300)
_FORCE_KN = Number(at_least=1, at_most=1e6)


class Section(BaseModel):
    """A table of drive.toml: frozen, and a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class DriveSection(Section):
    name: Annotated[str, Text()]
    stroke_m: Annotated[float, Number(at_least=0.01, at_most=20)]


class StartPoint(Section):
    chainage_m: Annotated[float, _COORDINATE]
    easting_m: Annotated[float, _COORDINATE]
    northing_m: Annotated[float, _COORDINATE]
    level_m: Annotated[float, Number(at_least=-12_000, at_most=12_000)]
    bearing_deg: Annotated[float, _BEARING]


class Line(Section):
    kind: Literal["line"]
    length_m: Annotated[float, _LENGTH_M]


class Arc(Section):
    kind: Literal["arc"]
    length_m: Annotated[float, _LENGTH_M]
    radius_m: Annotated[float, _RADIUS_M]
    turn: Annotated[str, _TURN]


class Spiral(Section):
    kind: Literal["spiral"]
    length_m: Annotated[float, _LENGTH_M]
    radius_start_m: Annotated[float, _RADIUS_OR_INF_M]
    radius_end_m: Annotated[float, _RADIUS_OR_INF_M]
    turn: Annotated[str, _TURN]


class Grade(Section):
    kind: Literal["grade"]
    length_m: Annotated[float, _LENGTH_M]
    grade_mm_per_m: Annotated[float, _GRADE]


class Parabola(Section):
    kind: Literal["parabola"]
    length_m: Annotated[float, _LENGTH_M]
    grade_start_mm_per_m: Annotated[float, _GRADE]
    grade_end_mm_per_m: Annotated[float, _GRADE]


class VerticalArc(Section):
    """A circular vertical curve; its radius follows from the grades and the plan length."""

    kind: Literal["arc"]
    length_m: Annotated[float, _LENGTH_M]
    grade_start_mm_per_m: Annotated[float, _GRADE]
    grade_end_mm_per_m: Annotated[float, _GRADE]


Horizontal = Annotated[Line | Arc | Spiral, Field(discriminator="kind")]
Vertical = Annotated[Grade | Parabola | VerticalArc, Field(discriminator="kind")]
LENGTHS_AGREE_TO_M = 1e-3


class AxisElements(Section):
    """The axis written out: start, and elements of which both lists span the same plan length."""

    start: StartPoint
    horizontal: Annotated[tuple[Horizontal, ...], Field(min_length=1, max_length=10_000)]
    vertical: Annotated[tuple[Vertical, ...], Field(min_length=1, max_length=10_000)]

    @field_validator("vertical")
    @classmethod
    def _same_length(cls, vertical: tuple[Any, ...], info: ValidationInfo) -> tuple[Any, ...]:
        horizontal = info.data.get("horizontal")
        if horizontal is not None:
            plan = math.fsum(element.length_m for element in horizontal)
            profile = math.fsum(element.length_m for element in vertical)
            if abs(plan - profile) > LENGTHS_AGREE_TO_M:
                raise refusal(
                    f"must span the {plan:.10g} m that axis.horizontal spans (plan lengths in both)",
                    f"{profile:.10g} m in all",
                )
        return vertical


class AxisFromLandXml(Section):
    """The axis from a LandXML file that lies in the drive's folder, so that it travels with it.

    `alignment` may be left out when the file holds one only.
    """

    landxml: Annotated[str, Text()]
    alignment: Annotated[str, Text()] | None = None


class EyeSection(Section):
    line_mm: Annotated[float, _TOLERANCE_MM]
    level_mm: Annotated[float, _TOLERANCE_MM]


class ToleranceRange(Section):
    """Another tolerance from one chainage to another, for the as-built verdict."""

    from_m: Annotated[float, _COORDINATE]
    to_m: Annotated[float, _COORDINATE]
    line_mm: Annotated[float, _TOLERANCE_MM]
    level_mm: Annotated[float, _TOLERANCE_MM]

    @field_validator("to_m")
    @classmethod
    def _ends_after_its_start(cls, to: float, info: ValidationInfo) -> float:
        begin = info.data.get("from_m")
        if begin is not None and to <= begin:
            raise refusal(f"must be over {begin:g}, its from_m")
        return to


class ToleranceSection(Section):
    line_mm: Annotated[float, _TOLERANCE_MM]
    level_mm: Annotated[float, _TOLERANCE_MM]
    eye: EyeSection | None = None
    ranges: tuple[ToleranceRange, ...] = ()


class CylindersSection(Section):
    positions_deg: Annotated[
        tuple[float, ...], Numbers(Number(at_least=-360, at_most=360), fewest=2, most=36)
    ]
    circle_radius_mm: Annotated[float, Number(at_least=1, at_most=10_000)]
    range_mm: Annotated[tuple[float, float], Numbers(Number(at_least=-5_000, at_most=5_000), 2, 2)]
    neutral_mm: Annotated[float, Number(at_least=-5_000, at_most=5_000)]
    step_mm: Annotated[float, Number(at_least=0.001, at_most=100)]

    @field_validator("positions_deg")
    @classmethod
    def _steers_both_planes(cls, positions: tuple[float, ...]) -> tuple[float, ...]:
        if len({round(position % 360, 6) % 360 for position in positions}) < len(positions):
            raise refusal("must be all different: two cylinders cannot stand in one place")
        # All on one line through the centre leave one plane unsteered: the widest angle between two
        # cylinders, folded to 0..90 degrees, must be a real one.
        spread = max(abs(math.sin(math.radians(one - other))) for one in positions for other in positions)
        if spread < math.sin(math.radians(10)):
            raise refusal("must not be all on one line through the centre: that cannot steer both planes")
        return positions

    @field_validator("range_mm")
    @classmethod
    def _range_is_one(cls, limits: tuple[float, float]) -> tuple[float, float]:
        if not limits[0] < limits[1]:
            raise refusal("must be [shortest, longest], the first below the second")
        return limits

    @field_validator("neutral_mm")
    @classmethod
    def _neutral_inside(cls, neutral: float, info: ValidationInfo) -> float:
        limits = info.data.get("range_mm")
        if limits is not None and not limits[0] < neutral < limits[1]:
            raise refusal(f"must be between {limits[0]:g} and {limits[1]:g}, the ends of range_mm")
        return neutral

    @field_validator("step_mm")
    @classmethod
    def _step_fits(cls, step: float, info: ValidationInfo) -> float:
        limits = info.data.get("range_mm")
        if limits is not None and step > limits[1] - limits[0]:
            raise refusal(f"must be at most {limits[1] - limits[0]:g}, the width of range_mm")
        return step


class MachineSection(Section):
    front_length_m: Annotated[float, _BODY_M]
    rear_length_m: Annotated[float, _BODY_M]
    outer_diameter_mm: Annotated[float, _DIAMETER_MM]
    max_articulation_mm_per_m: Annotated[float, _ARTICULATION]
    max_change_mm_per_m: Annotated[float, _ARTICULATION]
    cylinders: CylindersSection

    @field_validator("cylinders")
    @classmethod
    def _inside_the_machine(cls, cylinders: CylindersSection, info: ValidationInfo) -> CylindersSection:
        outer = info.data.get("outer_diameter_mm")
        if outer is not None and cylinders.circle_radius_mm >= outer / 2:
            raise refusal(
                f"must be below {outer / 2:g}, half of machine.outer_diameter_mm",
                cylinders.circle_radius_mm,
                "circle_radius_mm",
            )
        return cylinders

    @property
    def length_m(self) -> float:
        """Face to tail."""
        return self.front_length_m + self.rear_length_m


class TargetSection(Section):
    behind_face_m: Annotated[float, Number(at_least=0, at_most=500)]
    right_mm: Annotated[float, _OFFSET_MM]
    up_mm: Annotated[float, _OFFSET_MM]


class ReferenceSection(Section):
    kind: Annotated[str, Word(("beam", "axis"))]
    right_mm: Annotated[float, _OFFSET_MM]
    up_mm: Annotated[float, _OFFSET_MM]
    right_mm_per_m: Annotated[float, _DIRECTION] = 0.0
    up_mm_per_m: Annotated[float, _DIRECTION] = 0.0


class SdSection(Section):
    """Standard deviations; the defaults are the contract's. A random error of 0 would claim
    certainty, so it is refused; a systematic one may be 0."""

    spot_mm: Annotated[float, _SD] = 1.5
    spot_mm_per_100m: Annotated[float, _SD_OR_0] = 0.75
    yaw_mm_per_m: Annotated[float, _SD] = 0.7
    pitch_mm_per_m: Annotated[float, _SD] = 0.5
    pitch_bias_mm_per_m: Annotated[float, _SD_OR_0] = 0.3
    launch_mm: Annotated[float, _SD_OR_0] = 4.0
    launch_mm_per_m: Annotated[float, _SD_OR_0] = 1.0
    reference_mm: Annotated[float, _SD_OR_0] = 1.5
    reference_mm_per_m: Annotated[float, _SD_OR_0] = 0.02


FORCE_KEYS = ("packer_thickness_mm", "packer_modulus_mpa", "packer_width_mm", "max_joint_stress_mpa")


class PipeSection(Section):
    """The pipe. The four keys of the force check are given together or not at all."""

    length_m: Annotated[float, _BODY_M]
    outer_diameter_mm: Annotated[float, _DIAMETER_MM]
    inner_diameter_mm: Annotated[float, _DIAMETER_MM]
    max_joint_angle_mm_per_m: Annotated[float, Number(at_least=0.01, at_most=100)]
    packer_thickness_mm: Annotated[float | None, Number(at_least=0.1, at_most=500)] = None
    packer_modulus_mpa: Annotated[float | None, Number(at_least=0.1, at_most=1e6)] = None
    packer_width_mm: Annotated[float | None, Number(at_least=1, at_most=5_000)] = None
    max_joint_stress_mpa: Annotated[float | None, Number(at_least=0.1, at_most=1_000)] = None

    @field_validator("inner_diameter_mm")
    @classmethod
    def _inner_inside_outer(cls, inner: float, info: ValidationInfo) -> float:
        outer = info.data.get("outer_diameter_mm")
        if outer is not None and inner >= outer:
            raise refusal(f"must be below {outer:g}, pipe.outer_diameter_mm")
        return inner

    @field_validator("packer_width_mm")
    @classmethod
    def _packer_on_the_wall(cls, width: float | None, info: ValidationInfo) -> float | None:
        outer, inner = info.data.get("outer_diameter_mm"), info.data.get("inner_diameter_mm")
        if width is not None and outer is not None and inner is not None and width > (outer - inner) / 2:
            raise refusal(f"must be at most {(outer - inner) / 2:g}, the thickness of the pipe wall")
        return width

    @property
    def has_force_keys(self) -> bool:
        """Whether the force check can be made."""
        return self.max_joint_stress_mpa is not None


class SteeringSection(Section):
    """How corrections are made; all optional. hold_mm is the saving (root mean square offset over the
    strokes to come) below which the cylinders are left alone."""

    return_over_m: Annotated[float | None, Number(at_least=0.1, at_most=1_000)] = None
    firmness: Annotated[str, Word(("gentle", "normal", "firm"))] = "normal"
    hold_mm: Annotated[float | None, Number(at_least=0, at_most=100)] = None


class DecisionSection(Section):
    """How sure a verdict of inside or outside has to be (conformance probability, JCGM 106:2012)."""

    conformance_probability: Annotated[float, Number(over=0.5, below=1)] = 0.95
    string_sd_mm: Annotated[float, _SD_OR_0] = 0.0


class LimitsSection(Section):
    """What may push and what may be pushed against; all optional, kN."""

    main_jack_kn: Annotated[float | None, _FORCE_KN] = None
    thrust_wall_kn: Annotated[float | None, _FORCE_KN] = None
    pipe_kn: Annotated[float | None, _FORCE_KN] = None


class SurveySection(Section):
    """How check surveys are made, for the survey plan; all optional. Defaults: common practice, no source.

    base_m and base_mark_sd_mm, the base of control marks in the launch shaft, go together.
    """

    leg_m: Annotated[float, Number(at_least=1, at_most=1_000)] = 60.0
    angle_sd_sec: Annotated[float, Number(at_least=0.01, at_most=3_600)] = 5.0
    point_sd_mm: Annotated[float, _SD] = 1.5
    level_sd_mm_per_sqrt_km: Annotated[float, _SD_OR_0] = 4.0
    base_m: Annotated[float | None, Number(at_least=0.5, at_most=10_000)] = None
    base_mark_sd_mm: Annotated[float | None, _SD_OR_0] = None

    @property
    def base_sd_mm_per_m(self) -> float | None:
        """Direction of a base between two marks of independent error; None where no base is given."""
        if self.base_m is None or self.base_mark_sd_mm is None:
            return None
        return math.sqrt(2.0) * self.base_mark_sd_mm / self.base_m


class SewerSection(Section):
    """How the grade of the laid pipe is judged; all optional."""

    flow: Annotated[str, Word(("gravity", "pressure"))] = "gravity"
    grade_base_m: Annotated[float, Number(at_least=0.1, at_most=1_000)] = 10.0
    flat_mm_per_m: Annotated[float, Number(at_least=0, at_most=100)] = 0.5


class ReportSection(Section):
    """What stands in the title block of the report; all optional."""

    client: Annotated[str | None, Text(100)] = None
    contractor: Annotated[str | None, Text(100)] = None
    engineer: Annotated[str | None, Text(100)] = None
    contract: Annotated[str | None, Text(100)] = None
    paper: Annotated[str, Word(("A4", "Letter"))] = "A4"


class Tables(Section):
    """The whole file. `axis` stays as read here; `load` gives it to the one record that fits it."""

    drive: DriveSection
    axis: dict[str, Any]
    tolerance: ToleranceSection
    machine: MachineSection
    target: TargetSection
    reference: ReferenceSection
    sd: SdSection = SdSection()
    pipe: PipeSection
    steering: SteeringSection = SteeringSection()
    decision: DecisionSection = DecisionSection()
    limits: LimitsSection = LimitsSection()
    survey: SurveySection = SurveySection()
    sewer: SewerSection = SewerSection()
    report: ReportSection = ReportSection()
