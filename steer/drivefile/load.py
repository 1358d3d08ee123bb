"""Reads DRIVE/drive.toml: every problem of the file at once, or one frozen record."""

from __future__ import annotations

import math
import os
import re
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from steer.axis import Axis, axis_from_spec
from steer.drivefile import problems as say
from steer.drivefile.sections import (
    FORCE_KEYS,
    AxisElements,
    AxisFromLandXml,
    DecisionSection,
    DriveSection,
    LimitsSection,
    MachineSection,
    PipeSection,
    ReferenceSection,
    ReportSection,
    SdSection,
    SewerSection,
    SteeringSection,
    SurveySection,
    Tables,
    TargetSection,
    ToleranceSection,
)
from steer.drivefile.template import FILE_NAME
from steer.errors import FolderUnusable, SteerError

_LARGEST_BYTES = 5_000_000  # an axis of 10,000 elements fits in; a log given by mistake does not


class DriveFileWrong(FolderUnusable):
    """drive.toml was read and is wrong; `problems` holds one line for each problem (exit 3)."""

    def __init__(self, problems: list[str]) -> None:
        self.problems = list(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True)
class DriveFile:
    """A drive as drive.toml describes it; one field a table, with the table's own key names.

    `axis_spec` is the [axis] table as written, `axis` the alignment built from it.
    `warnings` are lines about what is allowed but unusual.
    """

    drive: DriveSection
    axis_spec: AxisElements | AxisFromLandXml
    axis: Axis
    tolerance: ToleranceSection
    machine: MachineSection
    target: TargetSection
    reference: ReferenceSection
    sd: SdSection
    pipe: PipeSection
    steering: SteeringSection
    decision: DecisionSection
    limits: LimitsSection
    sewer: SewerSection
    report: ReportSection
    survey: SurveySection
    warnings: tuple[str, ...] = ()


def load_drive(folder: str | os.PathLike[str]) -> DriveFile:
    """The drive described by `folder`/drive.toml.

    Raises `FolderUnusable` (exit 3) when the folder or the file cannot be read, and its subclass
    `DriveFileWrong` with every problem of the file when it can.
    """
    folder = Path(folder)
    return parse_drive(_read_text(folder), folder)


def parse_drive(text: str, folder: str | os.PathLike[str] = ".") -> DriveFile:
    """The drive described by the text of a drive.toml; `folder` is where a LandXML axis lies.

    Raises `DriveFileWrong` with every problem of the text.
    """
    raw = _toml(text.removeprefix("\ufeff"))
    found: list[str] = []
    tables: Tables | None = None
    try:
        tables = Tables.model_validate(raw)
    except ValidationError as error:
        found += say.lines(error, Tables)
    found += _incomplete(raw)
    spec: AxisElements | AxisFromLandXml | None = None
    axis: Axis | None = None
    if isinstance(raw.get("axis"), dict):
        spec, axis = _axis(raw["axis"], Path(folder), found)
    if found or tables is None or spec is None or axis is None:
        raise DriveFileWrong([f"{FILE_NAME}: {line}" for line in found])
    return DriveFile(
        drive=tables.drive,
        axis_spec=spec,
        axis=axis,
        tolerance=tables.tolerance,
        machine=tables.machine,
        target=tables.target,
        reference=tables.reference,
        sd=tables.sd,
        pipe=tables.pipe,
        steering=tables.steering,
        decision=tables.decision,
        limits=tables.limits,
        sewer=tables.sewer,
        report=tables.report,
        survey=tables.survey,
        warnings=(*_warnings(tables), *_beyond(tables.tolerance, axis)),
    )


def _beyond(tolerance: ToleranceSection, axis: Axis) -> list[str]:
    """Stretches of the tolerance where nothing is driven."""
    start, end = axis.start_chainage_m, axis.end_chainage_m
    return [
        f"tolerance.ranges, stretch {number}: {part.from_m:g} to {part.to_m:g} m reaches beyond the axis, "
        f"{start:g} to {end:g} m" + (": it holds nowhere" if part.to_m <= start or part.from_m >= end else "")
        for number, part in enumerate(tolerance.ranges, 1)
        if part.from_m < start - 1e-3 or part.to_m > end + 1e-3
    ]


def _read_text(folder: Path) -> str:
    path = folder / FILE_NAME
    try:
        if not folder.is_dir():
            raise FolderUnusable(
                f"{folder}: no such folder" if not folder.exists() else f"{folder}: not a folder"
            )
        if not path.exists():
            raise FolderUnusable(f"{folder}: has no {FILE_NAME} (`steer new {folder}` writes one to fill in)")
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise FolderUnusable(f"{path}: not a file")
        if status.st_size > _LARGEST_BYTES:
            raise FolderUnusable(
                f"{path}: {status.st_size} bytes, but a drive file has {_LARGEST_BYTES} at most: "
                "is it another file?"
            )
        content = path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a path with a null character
        raise FolderUnusable(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        byte = f"0x{content[error.start]:02x}"
        raise DriveFileWrong(
            [f"{FILE_NAME}: line {line}: not UTF-8 (byte {byte}): save it as UTF-8"]
        ) from None


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        why = str(error)
        at = re.search(r"at line (\d+), column (\d+)", why)
        line = int(at[1]) if at else text.rstrip("\n").count("\n") + 1
        what = re.sub(r"\s*\(at [^)]*\)$", "", why)
        rows = text.splitlines()
        row = rows[line - 1].strip() if line <= len(rows) else ""
        hint = "; a decimal number is written with a point" if re.search(r"=\s*[-+]?\d+,\d", row) else ""
        problem = f"line {line}: not valid TOML: {what[:1].lower() + what[1:]}: {say.shown(row)}{hint}"
    except ValueError:  # a whole number of thousands of digits
        problem = "not valid TOML: a number of thousands of digits"
    except RecursionError:
        problem = "not valid TOML: lists or tables are nested too deeply"
    raise DriveFileWrong([f"{FILE_NAME}: {problem}"])


def _incomplete(raw: dict[str, Any]) -> list[str]:
    """Keys that are optional one by one but not here."""
    found = []
    pipe = raw.get("pipe")
    if isinstance(pipe, dict):
        given = [key for key in FORCE_KEYS if key in pipe]
        if given:
            found += [
                f"pipe.{key}: missing: the force check needs it beside {given[0]} "
                f"({say.allowed(PipeSection, key)}); leave all four out to go without the check"
                for key in FORCE_KEYS
                if key not in pipe
            ]
    survey = raw.get("survey")
    if isinstance(survey, dict):
        base = ("base_m", "base_mark_sd_mm")
        given = [key for key in base if key in survey]
        if len(given) == 1:
            (key,) = set(base) - set(given)
            found.append(
                f"survey.{key}: missing beside {given[0]} ({say.allowed(SurveySection, key)}); "
                "leave both out to take the control in the shaft as free of error"
            )
    reference = raw.get("reference")
    if isinstance(reference, dict) and reference.get("kind") == "beam":
        found += [
            f"reference.{key}: missing: a beam needs its direction ({say.allowed(ReferenceSection, key)})"
            for key in ("right_mm_per_m", "up_mm_per_m")
            if key not in reference
        ]
    return found


def _axis(
    raw: dict[str, Any], folder: Path, found: list[str]
) -> tuple[AxisElements | AxisFromLandXml | None, Axis | None]:
    """The [axis] table and the alignment it describes; what is wrong with it is added to `found`."""
    try:
        if "landxml" in raw or "alignment" in raw:
            if mixed := [key for key in AxisElements.model_fields if key in raw]:
                found.append(
                    f"axis.{mixed[0]}: not allowed beside axis.landxml: the axis comes from the file "
                    "or from start, horizontal and vertical"
                )
                raw = {key: value for key, value in raw.items() if key not in AxisElements.model_fields}
            file_spec = AxisFromLandXml.model_validate(raw)
            path = _inside(folder, file_spec.landxml, found)
            if path is None:
                return file_spec, None
            from steer.axis import axis_from_landxml  # XML only where there is some

            return file_spec, axis_from_landxml(path, file_spec.alignment)
        spec = AxisElements.model_validate(raw)
        plain = spec.model_dump()
        return spec, axis_from_spec(plain["start"], plain["horizontal"], plain["vertical"])
    except ValidationError as error:
        model = AxisFromLandXml if error.title == AxisFromLandXml.__name__ else AxisElements
        found += say.lines(error, model, ("axis",))
    except SteerError as error:
        at = "axis.landxml: " if "landxml" in raw else ""
        for line in getattr(error, "problems", None) or [str(error)]:
            # the axis counts its elements from 0, as Python does; people count from 1
            found.append(
                at + re.sub(r"\[(\d+)\](\.?)", lambda m: f", element {int(m[1]) + 1}{m[2] and ', '}", line)
            )
    return None, None


def _inside(folder: Path, name: str, found: list[str]) -> Path | None:
    """The LandXML file, which lies in the drive's folder so that a copy of the folder is whole."""
    try:
        path = (folder / name).resolve()
        inside = path.is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        inside = False
    if not inside or Path(name).is_absolute():
        found.append(
            f"axis.landxml: {say.shown(name)} is not allowed: must be a file inside the drive's folder, "
            "named from there"
        )
        return None
    return path


def _warnings(tables: Tables) -> list[str]:
    """What is allowed but unusual enough to be asked about."""
    machine, cylinders, target = tables.machine, tables.machine.cylinders, tables.target
    found = []
    travel = min(cylinders.neutral_mm - cylinders.range_mm[0], cylinders.range_mm[1] - cylinders.neutral_mm)
    angles = [math.radians(position) for position in cylinders.positions_deg]
    for key, lever in (
        ("right", max(abs(math.sin(angle)) for angle in angles)),
        ("up", max(abs(math.cos(angle)) for angle in angles)),
    ):
        reach = 1000 * travel / (cylinders.circle_radius_mm * lever)
        if reach < machine.max_articulation_mm_per_m:
            found.append(
                f"machine.max_articulation_mm_per_m: {machine.max_articulation_mm_per_m:g} is out of "
                f"the cylinders' reach: from neutral they turn the front body {reach:.1f} mm/m {key} at most"
            )
    if target.behind_face_m > machine.length_m:
        found.append(
            f"target.behind_face_m: {target.behind_face_m:g} is behind the machine's tail "
            f"({machine.length_m:g} m behind the face)"
        )
    if math.hypot(target.right_mm, target.up_mm) > machine.outer_diameter_mm / 2:
        found.append("target.right_mm, target.up_mm: the target's centre lies outside the machine")
    if tables.pipe.outer_diameter_mm > machine.outer_diameter_mm:
        found.append(
            f"pipe.outer_diameter_mm: {tables.pipe.outer_diameter_mm:g} is more than the machine's "
            f"{machine.outer_diameter_mm:g}"
        )
    if tables.reference.kind == "axis" and (tables.reference.right_mm_per_m or tables.reference.up_mm_per_m):
        found.append("reference.right_mm_per_m, reference.up_mm_per_m: not used: only a beam has a direction")
    eye, tolerance = tables.tolerance.eye, tables.tolerance
    if eye and (eye.line_mm > tolerance.line_mm or eye.level_mm > tolerance.level_mm):
        found.append("tolerance.eye: wider than the tolerance of the drive")
    return found
