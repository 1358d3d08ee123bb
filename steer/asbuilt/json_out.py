"""The record as one JSON object; what is not known is null."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from steer.asbuilt import string_words, tables, words
from steer.asbuilt.record import AsBuilt, Plane
from steer.asbuilt.totals import Counted, Run


def record_object(record: AsBuilt) -> dict[str, Any]:
    """Names and units as in the tables; totals in metres and per cent."""
    file, seal = record.file, record.seal
    return _plain(
        {
            "kind": "asbuilt",
            "drive": file.drive.name,
            "program": record.version,
            "log": {"events": seal.events, "hash": seal.head, "whole": seal.whole, "faults": seal.faults},
            "from_m": float(record.metres.lie.chainage_m[0]),
            "to_m": record.face_m,
            "end_m": file.axis.end_chainage_m,
            "tolerance": file.tolerance.model_dump(),
            "decision": {
                "conformance_probability": record.rule,
                "string_sd_mm": file.decision.string_sd_mm,
                "rule": words.rule(record),
                "stands_on": words.basis(record),
            },
            "verdict": words.overall(record),
            "totals": {
                "line": _plane(record.line),
                "level": _plane(record.level),
                "both": _counted(record.both),
            },
            "eye": None if record.eye is None else asdict(record.eye),
            "falls": _falls(record),
            "joints": _joints(record),
            "force": _force(record),
            "pipe_surveys": [
                {
                    "event": found.survey.number,
                    "chainage_m": found.survey.chainage_m,
                    "line_from_machine_path_mm": found.moved_mm[0],
                    "line_from_machine_path_sd_mm": found.sd_mm[0],
                    "level_from_machine_path_mm": found.moved_mm[1],
                    "level_from_machine_path_sd_mm": found.sd_mm[1],
                }
                for found in record.string_difference
            ],
            "metres": _rows(tables.metres(record)),
            "string": _rows(tables.joints(record)),
            "strokes": _rows(tables.strokes(record)),
            "force_by_stroke": _rows(tables.forces(record)),
            "check_surveys": _rows(tables.surveys(record)),
            "notices": [
                {"code": n.code, "text": n.text, "since_chainage_m": n.since_chainage_m}
                for n in record.notices
            ],
            "notices_gone": [asdict(g) for g in record.gone],
            "caution": f"{words.CAUTION} {string_words.FORCE_CAUTION}",
        }
    )


def _rows(table: tables.Table) -> list[dict[str, Any]]:
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def _run(run: Run | None) -> dict[str, float] | None:
    return None if run is None else {"from_m": run.from_m, "to_m": run.to_m, "length_m": run.length_m}


def _counted(c: Counted) -> dict[str, Any]:
    found: dict[str, Any] = {"length_m": c.length_m}
    for name in ("inside", "outside", "cannot_tell", "naive_outside"):
        metres = getattr(c, f"{name}_m")
        found[f"{name}_m"], found[f"{name}_per_cent"] = metres, c.per_cent(metres)
    return found | {"longest_outside": _run(c.longest_outside)}


def _plane(plane: Plane) -> dict[str, Any]:
    return _counted(plane.counted) | asdict(plane.figures)


def _falls(record: AsBuilt) -> dict[str, Any] | None:
    f = record.falls
    if f is None:
        return None
    return {
        "water_runs": {1: "with the drive", -1: "against the drive", 0: "design is level"}[f.flow],
        "least_fall_mm_per_m": f.least_fall_mm_per_m,
        "least_fall_at_m": f.least_fall_at_m,
        "backfalls": [_run(r) for r in f.backfalls],
        "flats": [_run(r) for r in f.flats],
        "ponds": [
            (_run(p.run) or {}) | {"depth_mm": p.depth_mm, "deepest_at_m": p.deepest_m} for p in f.ponds
        ],
    }


def _joints(record: AsBuilt) -> dict[str, Any]:
    joints = record.joints

    def one(at: int | None) -> dict[str, float] | None:
        if at is None:
            return None
        names = ("chainage_m", "angle_mm_per_m", "right_mm_per_m", "up_mm_per_m", "gap_mm")
        found = {name: float(getattr(joints.along, name)[at]) for name in names}
        return found | {"angle_upper_mm_per_m": float(joints.high_mm_per_m[at])}

    return {
        "allowed_mm_per_m": joints.limit_mm_per_m,
        "passed_to_m": joints.passed_m,
        "largest": one(joints.worst),
        "largest_upper_mm_per_m": joints.worst_high_mm_per_m,
        "largest_still_to_pass": one(joints.worst_ahead),
        "over_allowed_m": joints.over_limit_m,
        "may_be_over_allowed_m": joints.may_be_over_m,
        "sudden_turns": [asdict(jump) for jump in joints.jumps],
    }


def _force(record: AsBuilt) -> dict[str, Any]:
    force = record.force
    ahead, least = force.forecast, force.least_margin
    return {
        "straight_joint_kn": None if force.ring is None else force.ring.straight_kn,
        "least_margin": None
        if least is None or force.permissible_kn is None
        else {
            "chainage_m": float(force.used.chainage_m[least]),
            "used_kn": float(force.used.largest_kn[least]),
            "permissible_kn": float(force.permissible_kn[least]),
            "permissible_lower_kn": None
            if force.permissible_low_kn is None
            else float(force.permissible_low_kn[least]),
        },
        "strokes_exceeded_at_m": [float(force.used.chainage_m[i]) for i in force.exceeded],
        "strokes_maybe_exceeded_at_m": [float(force.used.chainage_m[i]) for i in force.may_exceed],
        "face_kn": force.face_kn,
        "friction": [asdict(s) for s in force.stretches],
        "at_reception": None
        if ahead is None
        else {
            "chainage_m": float(ahead.chainage_m[-1]),
            "force_kn": float(ahead.force_kn[-1]),
            "low_kn": float(ahead.low_kn[-1]),
            "high_kn": float(ahead.high_kn[-1]),
        },
        "limits": [asdict(limit) for limit in force.limits],
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float | np.floating):
        return round(float(value), 6) + 0.0 if np.isfinite(value) else None
    if isinstance(value, np.integer):
        return int(value)
    return value
