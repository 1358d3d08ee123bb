"""The record's tables, once: columns with units in their names, rows of plain values.

CSV and XLSX are written from them; JSON has the same names.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.asbuilt import words
from steer.asbuilt.lie import SOURCE_WORDS
from steer.asbuilt.record import AsBuilt, Judged

Value = float | int | str | None


@dataclass(frozen=True)
class Table:
    """A table: a title, column names, rows of values (None: not known)."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


PLACE_COLUMNS = (
    "chainage_m",
    "line_mm", "line_sd_mm", "line_tolerance_mm", "line_outside_probability", "line_verdict", "line_source",
    "level_mm", "level_sd_mm", "level_tolerance_mm", "level_outside_probability", "level_verdict",
    "level_source",
    "verdict", "easting_m", "northing_m", "level_m",
    "grade_mm_per_m", "design_grade_mm_per_m",
    "joint_angle_mm_per_m", "joint_right_mm_per_m", "joint_up_mm_per_m", "joint_gap_mm",
    "joint_permissible_kn", "joint_angle_upper_mm_per_m", "joint_permissible_lower_kn",
)  # fmt: skip


def _clean(value: Any, digits: int) -> Value:
    number = float(value)
    return round(number, digits) + 0.0 if np.isfinite(number) else None


def places(record: AsBuilt, judged: Judged) -> list[tuple[Value, ...]]:
    """Rows of PLACE_COLUMNS. Grades are over one pipe about the place; joint values are those of a joint
    at the place, whether or not one lies there now; the upper limit of its angle holds with 97.5 %."""
    at = judged.lie.chainage_m
    pipe = record.grade_pipe
    inside = (
        (at >= pipe.chainage_m[0] - 1e-9) & (at <= pipe.chainage_m[-1] + 1e-9)
        if len(pipe.chainage_m)
        else np.zeros(len(at), bool)
    )
    grade, design = (
        np.where(inside, np.interp(at, pipe.chainage_m, v), np.nan)
        if len(pipe.chainage_m)
        else np.full(len(at), np.nan)
        for v in (pipe.achieved_mm_per_m, pipe.design_mm_per_m)
    )
    joint = record.joints.at(at)
    ring = record.force.ring
    high = record.joints.high_at(at)
    force, low = (
        ring.permissible_kn(angle) if ring else np.full(len(at), np.nan)
        for angle in (joint.angle_mm_per_m, high)
    )
    rows: list[tuple[Value, ...]] = []
    for i in range(len(at)):
        row: list[Value] = [_clean(at[i], 3)]
        for k in (0, 1):
            row += [
                _clean(judged.lie.offset_mm[i, k], 2),
                _clean(judged.lie.sd_mm[i, k], 2),
                _clean(judged.tolerance_mm[i, k], 2),
                _clean(judged.outside[i, k], 6),
                judged.verdict[i, k].value,
                SOURCE_WORDS[judged.lie.source[i, k]],
            ]
        row += [
            judged.both[i].value,
            _clean(judged.easting_m[i], 4),
            _clean(judged.northing_m[i], 4),
            _clean(judged.level_m[i], 4),
            _clean(grade[i], 3),
            _clean(design[i], 3),
            _clean(joint.angle_mm_per_m[i], 3),
            _clean(joint.right_mm_per_m[i], 3),
            _clean(joint.up_mm_per_m[i], 3),
            _clean(joint.gap_mm[i], 2),
            _clean(force[i], 1),
            _clean(high[i], 3),
            _clean(low[i], 1),
        ]
        rows.append(tuple(row))
    return rows


def metres(record: AsBuilt) -> Table:
    """Per metre."""
    return Table("per metre", PLACE_COLUMNS, tuple(places(record, record.metres)))


def joints(record: AsBuilt) -> Table:
    """Per joint of the string as it lies now: joint 0 is between the machine and the first pipe."""
    rows = [(number, *row) for number, row in enumerate(places(record, record.pipes))]
    return Table("per joint", ("joint", *PLACE_COLUMNS), tuple(rows))


def forces(record: AsBuilt) -> Table:
    """Per stroke that had a force."""
    used, permissible, low = record.force.used, record.force.permissible_kn, record.force.permissible_low_kn
    rows = []
    for i in range(len(used)):
        allowed, least = (None if v is None else _clean(v[i], 1) for v in (permissible, low))
        rows.append(
            (
                _clean(used.chainage_m[i], 3), _clean(used.force_kn[i], 1), _clean(used.largest_kn[i], 1),
                _clean(used.face_pressure_kpa[i], 1), _clean(used.lubricant_l[i], 1), allowed, least,
                None if permissible is None else "yes" if i in record.force.exceeded
                else "may be" if i in record.force.may_exceed else "no",
            )
        )  # fmt: skip
    columns = (
        "chainage_m", "force_kn", "largest_force_kn", "face_pressure_kpa", "lubricant_l",
        "permissible_at_worst_joint_kn", "permissible_lower_kn", "exceeded",
    )  # fmt: skip
    return Table("force", columns, tuple(rows))


def surveys(record: AsBuilt) -> Table:
    """Check surveys with innovations (survey minus estimate before it)."""
    columns = (
        "event", "time", "chainage_m", "point", "line_mm", "level_mm", "line_sd_mm", "level_sd_mm",
        "line_innovation_mm", "line_innovation_sd_mm", "level_innovation_mm", "level_innovation_sd_mm",
        "verdict",
    )  # fmt: skip

    def known(value: float | None) -> Value:
        return None if value is None else _clean(value, 2)

    rows = [
        (
            s.number, s.time or record.survey_times.get(s.number), _clean(s.chainage_m, 3), s.point,
            known(s.line_mm), known(s.level_mm), known(s.sd_line_mm), known(s.sd_level_mm),
            known(s.innovation_line_mm), known(s.innovation_sd_line_mm),
            known(s.innovation_level_mm), known(s.innovation_sd_level_mm), s.verdict,
        )
        for s in record.surveys
    ]  # fmt: skip
    return Table("check surveys", columns, tuple(rows))


def strokes(record: AsBuilt) -> Table:
    """The steering record."""
    columns = (
        "stroke", "from_m", "to_m", "proposed_right_mm_per_m", "proposed_up_mm_per_m", "hold", "decision",
        "decided_right_mm_per_m", "decided_up_mm_per_m", "set_right_mm_per_m", "set_up_mm_per_m",
        "nose_turned_right_mm_per_m", "nose_turned_up_mm_per_m", "gain_line", "gain_line_sd", "gain_level",
        "gain_level_sd",
    )  # fmt: skip

    def pair(values: tuple[float, float] | None) -> tuple[Value, Value]:
        return (None, None) if values is None else (_clean(values[0], 2), _clean(values[1], 2))

    rows = [
        (
            s.number, _clean(s.from_m, 3), _clean(s.to_m, 3), *pair(s.proposed),
            None if s.proposed is None else "yes" if s.hold else "no", s.decision,
            *pair(s.decided), *pair(s.set_to), *pair(s.answered),
            _clean(s.gain[0], 3), _clean(s.gain_sd[0], 3), _clean(s.gain[1], 3), _clean(s.gain_sd[1], 3),
        )
        for s in record.strokes
    ]  # fmt: skip
    return Table("steering", columns, tuple(rows))


def said(record: AsBuilt) -> Table:
    """Notices that hold and what people entered."""
    rows: list[tuple[Value, ...]] = [
        (_clean(n.since_chainage_m, 3), None, "notice " + n.code, n.text) for n in record.notices
    ]
    for g in record.gone:
        text = f"{g.code.replace('_', ' ')}: given from {g.from_m:.1f} to {g.to_m:.1f} m, holds no more"
        rows.append((_clean(g.from_m, 3), None, "earlier " + g.code, text))
    for event in record.said:
        at = event.body.get("chainage_m")
        rows.append(
            (None if at is None else _clean(at, 3), event.arrived, event.kind, words.event_text(event))
        )
    return Table("notices and events", ("chainage_m", "arrived", "kind", "text"), tuple(rows))


def all_tables(record: AsBuilt) -> tuple[Table, ...]:
    """Every table, in the order of the workbook."""
    return tuple(make(record) for make in (metres, joints, forces, surveys, strokes, said))
