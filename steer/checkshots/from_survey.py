"""Points of an adjusted survey as check shots, with the covariance of line and level."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.axis import Axis
from steer.drivefile import DriveFile
from steer.errors import CommandLineWrong, InputRefused
from steer.estimate.geometry import frame
from steer.estimate.shots import square_offset
from steer.survey import ReducedNetwork, ReducedPoint

POINTS = ("face", "target", "tail", "pipe")
_BY_NAME = re.compile(rf"({'|'.join(POINTS)})(?![a-z])", re.IGNORECASE)
_LEAST_SD_MM = 0.1


@dataclass(frozen=True)
class Chosen:
    """A surveyed point that is a check shot: its name in the survey, what it is, the face's chainage."""

    name: str
    point: str
    chainage_m: float | None


def choose(
    network: ReducedNetwork,
    stations: Sequence[str],
    named: Mapping[str, tuple[str, float | None]],
    point: str | None,
    chainage_m: float | None,
) -> list[Chosen]:
    """Which points are check shots. `named`: by name, what each is and its chainage; `point`: what the one
    new point is; without either, new points whose names begin with face, target, tail or pipe.

    Raises CommandLineWrong with the names there are, when that leaves a doubt."""
    there = {p.point for p in network.points}
    new = [p.point for p in network.points if not p.control and p.point not in stations]
    listed = ", ".join(new[:12]) + (" …" if len(new) > 12 else "") or "none"
    found: list[Chosen] = []
    for name, (what, at) in named.items():
        if name not in there:
            raise CommandLineWrong(f"--shot {name}: no such point; new points of the survey: {listed}")
        found.append(Chosen(name, what, chainage_m if at is None else at))
    if not named and point is not None:
        if len(new) != 1:
            raise CommandLineWrong(
                f"--point: the survey has {len(new)} new points ({listed}): say which, "
                f"--shot NAME={point}@CHAINAGE"
            )
        found.append(Chosen(new[0], point, chainage_m))
    if not named and point is None:
        for name in new:
            match = _BY_NAME.match(name)
            if match:
                found.append(Chosen(name, match.group(1).lower(), chainage_m))
        if not found:
            raise CommandLineWrong(
                f"which points are check shots? New points of the survey: {listed}. Say "
                "--shot NAME=POINT@CHAINAGE (POINT: face, target, tail or pipe; CHAINAGE: the face's), "
                "or give the points such names"
            )
    for c in found:
        if c.chainage_m is None and c.point != "pipe":
            raise CommandLineWrong(
                f"--shot {c.name}={c.point}: say at which chainage the face stood, --shot "
                f"{c.name}={c.point}@CHAINAGE or --chainage"
            )
    return found


def bodies(
    network: ReducedNetwork,
    chosen: Sequence[Chosen],
    drive: DriveFile,
    time: str | None,
    note: str,
) -> list[dict[str, Any]]:
    """Check shots to store. A survey that fails its global test gives a covariance larger by its variance
    factor: whoever insists on it cannot have the precision it claims."""
    factor = 1.0
    if network.passed is False and network.variance_factor is not None:
        factor = max(1.0, network.variance_factor)
    return [_body(network.point(c.name), c, drive, time, note, factor) for c in chosen]


def _body(
    p: ReducedPoint, chosen: Chosen, drive: DriveFile, time: str | None, note: str, factor: float
) -> dict[str, Any]:
    axis = drive.axis
    behind = {"target": drive.target.behind_face_m, "tail": drive.machine.length_m}.get(chosen.point, 0.0)
    if chosen.chainage_m is not None and chosen.point != "pipe":
        at = chosen.chainage_m - behind
    else:
        at = _foot(axis, p)
    own = axis.at(at)
    right, up = frame(own)[1:]
    body: dict[str, Any] = {"point": chosen.point, "note": f"{note}, point {p.point}", "asks": True}
    if time is not None:
        body["time"] = time
    if chosen.chainage_m is not None:
        body["chainage_m"] = chosen.chainage_m
    floor = _LEAST_SD_MM**2
    if p.level_m is None:
        # a network in plan only tells the line
        plan = np.array(p.covariance_mm2)[:2, :2]
        line = square_offset(axis, at, (p.easting_m, p.northing_m, float(own.level_m)))[0]
        var = factor * float(right[:2] @ plan @ right[:2]) + floor
        body.update(chainage_m=chosen.chainage_m if chosen.chainage_m is not None else at)
        return body | {"line_mm": float(line), "sd_line_mm": round(var**0.5, 4)}
    rows = np.stack([right, up])
    cov = factor * rows @ np.array(p.covariance_mm2) @ rows.T + floor * np.eye(2)
    cross = round(float(cov[0, 1]), 6)
    return body | {
        "easting_m": round(p.easting_m, 7),
        "northing_m": round(p.northing_m, 7),
        "level_m": round(p.level_m, 7),
        "covariance_mm2": [[round(float(cov[0, 0]), 6), cross], [cross, round(float(cov[1, 1]), 6)]],
    }  # fmt: skip


def _foot(axis: Axis, p: ReducedPoint) -> float:
    level = p.level_m if p.level_m is not None else float(axis.at(axis.start_chainage_m).level_m)
    found = axis.locate(p.easting_m, p.northing_m, level)
    if not found.ok:
        raise InputRefused(f"point {p.point}: it is not near the drive's axis")
    return float(found.chainage_m)
