"""All that a screen needs of a drive, at one moment."""

from __future__ import annotations

from steer.advice import Advice, Path, Snapshot, ToleranceStretch
from steer.checkshots.effect import reports
from steer.checkshots.reference import reference_now
from steer.checkshots.report import knock_text, reference_lines, turn_text
from steer.checkshots.views import shot_views
from steer.drivefile import DriveFile
from steer.estimate.findings.readings import refused_lately
from steer.estimate.health import LAST_NODES
from steer.estimate.nodes import CellReport, Node, cells_of
from steer.estimate.smoother import SmoothedPath
from steer.told import Told


def snapshot(
    file: DriveFile, told: Told, present: Node | None, advice: Advice | None, path: SmoothedPath
) -> Snapshot:
    """`present` is the newest state, None before the first reading."""
    eye, tolerance = file.tolerance.eye, file.tolerance
    follower = told.follower
    track = follower.track
    refused = sum(n.report.refused for n in follower.estimator.nodes if isinstance(n.report, CellReport))
    return Snapshot(
        name=file.drive.name,
        start_chainage_m=file.axis.start_chainage_m,
        end_chainage_m=file.axis.end_chainage_m,
        stroke_m=file.drive.stroke_m,
        pipe_length_m=file.pipe.length_m,
        machine_length_m=file.machine.length_m,
        tolerance_line_mm=tolerance.line_mm,
        tolerance_level_mm=tolerance.level_mm,
        eye_line_mm=eye.line_mm if eye else None,
        eye_level_mm=eye.level_mm if eye else None,
        cylinder_positions_deg=tuple(file.machine.cylinders.positions_deg),
        cylinder_range_mm=file.machine.cylinders.range_mm,
        advice=advice,
        path=Path(path.chainage_m, path.line_mm, path.line_sd_mm, path.level_mm, path.level_sd_mm),
        shots=shot_views(follower.estimator),
        readings_used=track.accepted,
        readings_refused=track.wild + track.ignored + refused,
        last_reading_time=follower.present.time,
        last_event_time=told.last_arrival,
        log_sequence=told.seen,
        extra=_reference_words(file, told, present) | _refused_words(told, present),
        tolerance_stretches=tuple(
            ToleranceStretch(part.from_m, part.to_m, part.line_mm, part.level_mm) for part in tolerance.ranges
        ),
    )


def _refused_words(told: Told, present: Node | None) -> dict[str, object]:
    if present is None:
        return {}
    cells = cells_of(told.follower.estimator.nodes[-LAST_NODES:])
    text = refused_lately(cells, present)
    return {"refused_lately": text} if text else {}


def _reference_words(file: DriveFile, told: Told, present: Node | None) -> dict[str, object]:
    estimator = told.follower.estimator
    if present is None or not any(r.counts for r in reports(estimator)):
        return {}
    found = reference_now(estimator, present)
    beam = file.reference.kind == "beam"
    text = reference_lines(found, beam)[0]
    if beam and found.distance_m > 5.0 and found.worth_setting:
        turned = f"Turned at the shaft by {turn_text(found)}, it strikes its line at the target again."
        text += f" {knock_text(found) or turned}"
    return {"reference": text}
