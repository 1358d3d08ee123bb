"""As-built points with the design axis as LandXML 1.2 (open standard)."""

from __future__ import annotations

from pathlib import Path

from steer.asbuilt import words
from steer.asbuilt.record import AsBuilt, Judged
from steer.axis.landxml_out import SurveyedPoint, write_landxml
from steer.text import printable


def write_points(record: AsBuilt, path: Path) -> None:
    """A point every metre (`M0012.000`) and at every joint of the string (`J3`), on the pipe's axis."""
    points = _points(record.metres, [f"M{s:08.3f}" for s in record.metres.lie.chainage_m])
    points += _points(record.pipes, [f"J{n}" for n in range(len(record.pipes.both))])
    write_landxml(path, record.file.axis, points, name=printable(record.file.drive.name))


def _points(judged: Judged, names: list[str]) -> list[SurveyedPoint]:
    found = []
    for i, name in enumerate(names):
        where = ", ".join(
            words.with_band(float(judged.lie.offset_mm[i, k]), float(judged.lie.sd_mm[i, k]), k)
            for k in (0, 1)
        )
        text = f"chainage {judged.lie.chainage_m[i]:.3f} m, {where}, {judged.both[i].value}"
        found.append(
            SurveyedPoint(
                name, float(judged.easting_m[i]), float(judged.northing_m[i]), float(judged.level_m[i]), text
            )
        )
    return found
