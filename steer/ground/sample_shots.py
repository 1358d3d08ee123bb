"""Makes the surveys of `sample_surveys/surveys/`: invented, of the sample drive's true course. Run by hand:

    python -m steer.ground.sample_shots [FOLDER]

A surveyor who knows nothing of the guidance sights the prism on the target, with random errors of the stated
sd. After 99.9 m the sample drive goes on with a beam that turns slowly in its bracket, steered by the settings
in turned_beam_settings.csv, which `steer.closed_loop.sample_crew` decides on.
"""

from __future__ import annotations

import copy
import csv
import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from steer.axis import Axis
from steer.drivefile import parse_drive
from steer.ground.folder import drive_toml
from steer.ground.sample import (
    COLUMNS,
    DRIVEN_M,
    HERE,
    SHOT_COLUMNS,
    read_settings,
    reading_row,
    sample_scenario,
)
from steer.ground.scenario import Fault, Scenario
from steer.ground.simulator import Simulation

SEED = 20310304
SD_DIRECTION_SEC, SD_ZENITH_SEC, SD_DISTANCE_MM, SD_DISTANCE_PPM = 1.5, 2.0, 0.8, 1.0
TURNS_MM_PER_M2 = (0.02, -0.006)  # of the beam, right and up, a metre of drive after 99.9 m
GOES_ON_TO_M = 108.0
SURVEYS = HERE.parent / "surveys"
TURNED_SETTINGS = "turned_beam_settings.csv"
_SIGHT_COLUMNS = (
    "station", "set", "target", "direction_dms", "zenith_dms", "slope_m", "instrument_height_m",
    "target_height_m", "sd_direction_sec", "sd_zenith_sec", "sd_distance_mm", "sd_distance_ppm",
)  # fmt: skip
_TUNNEL = {  # easting, northing, level: brackets in the shaft, free stations, brackets in the pipes
    "L1": (4998.3222, 1995.6142, 13.7190),
    "L2": (4995.2021, 1998.7231, 13.5180),
    "L3": (5001.0193, 1997.4075, 13.2350),
    "L4": (4997.7212, 2001.3027, 13.4360),
    "S1": (5002.3467, 2001.8796, 12.4550),
    "W1": (5010.6926, 2009.0535, 12.6100),
    "W2": (5012.1545, 2011.8987, 12.6750),
    "S2": (5022.2182, 2020.1589, 12.5398),
    "W3": (5032.8033, 2029.3308, 12.7097),
    "W4": (5034.2782, 2032.1609, 12.7748),
}
_TUNNEL_SIGHTS = {
    "S1": ("L1", "L2", "L3", "L4", "W1", "W2", "S2"),
    "S2": ("S1", "W1", "W2", "W3", "W4", "M"),
}
_POLAR = {"K1": (4998.5930, 1998.5751, 11.1300), "K2": (4978.8040, 1984.6465, 15.7100)}
Place = tuple[float, float, float]


def turned_scenario() -> Scenario:
    """The sample drive, going on with a beam that turns."""
    return replace(sample_scenario(), faults=(Fault("reference_drift", DRIVEN_M, TURNS_MM_PER_M2),))


def prism(simulation: Simulation, axis: Axis) -> Place:
    """Where the prism on the target truly stands (easting, northing, level); of a straight axis."""
    drive, truth = simulation.scenario.drive, simulation.truth()
    behind = float(drive["target"]["behind_face_m"])
    roll = math.radians(float(truth.roll_deg[-1]))
    right, up = float(drive["target"]["right_mm"]), float(drive["target"]["up_mm"])
    line, level = truth.face_mm[-1] - behind * truth.heading[-1]
    line += right * math.cos(roll) + up * math.sin(roll)
    level += up * math.cos(roll) - right * math.sin(roll)
    east, north, high = axis.position(simulation.chainage_m - behind, float(line), float(level))
    return float(east), float(north), float(high)


def sight(
    rng: np.random.Generator, at: Place, to: Place, turned_rad: float, instrument_m: float, target_m: float
) -> tuple[float, float, float]:
    """Direction and zenith angle (rad) and slope distance (m) as read, with random errors."""
    east, north = to[0] - at[0], to[1] - at[1]
    rise = to[2] + target_m - at[2] - instrument_m
    flat = math.hypot(east, north)
    rise += 0.87 * flat * flat / (2.0 * 6371000.0)  # curvature less refraction by the usual 0.13
    slope = math.hypot(flat, rise)
    second = math.pi / 648000.0
    direction = math.atan2(east, north) - turned_rad + rng.normal(0.0, SD_DIRECTION_SEC * second)
    zenith = math.atan2(flat, rise) + rng.normal(0.0, SD_ZENITH_SEC * second)
    sd_mm = math.hypot(SD_DISTANCE_MM, SD_DISTANCE_PPM * slope / 1000.0)
    return direction % (2.0 * math.pi), zenith, slope + rng.normal(0.0, sd_mm) / 1000.0


def _dms(angle_rad: float) -> str:
    tenths = round(math.degrees(angle_rad) * 36000.0) % (360 * 36000)
    return f"{tenths // 36000}-{tenths // 600 % 60:02d}-{tenths % 600 / 10:04.1f}"


def tunnel_rows(rng: np.random.Generator, machine: Place) -> list[list[Any]]:
    """Two sets from each of two free stations."""
    places = {**_TUNNEL, "M": machine}
    rows = []
    for station, targets in _TUNNEL_SIGHTS.items():
        for number in ("1", "2"):
            turned = rng.uniform(0.0, 2.0 * math.pi)
            for target in targets:
                read = sight(rng, places[station], places[target], turned, 0.0, 0.0)
                rows.append(
                    [station, number, target, _dms(read[0]), _dms(read[1]), f"{read[2]:.4f}", "0.000", "0.000",
                     "1.5", "2", "0.8", "1"]
                )  # fmt: skip
    return rows


def write_surveys(folder: Path) -> None:
    """Writes the surveys' files into a folder, replacing the ones that this script made."""
    scenario = turned_scenario()
    simulation = Simulation(scenario)
    drive = parse_drive(drive_toml(copy.deepcopy(scenario.drive)))
    rng = np.random.default_rng(SEED)
    prisms: dict[float, tuple[Place, str]] = {}
    after: list[dict[str, Any]] = []
    simulation.start()
    for setting in [*read_settings(HERE / "settings.csv"), *read_settings(SURVEYS / TURNED_SETTINGS)]:
        if setting.cylinder_mm is None:
            continue
        readings = simulation.advance(setting.cylinder_mm)
        after += readings if setting.chainage_m > DRIVEN_M - 1e-6 else []
        if round(simulation.chainage_m, 1) in (30.6, 60.3):
            prisms[round(simulation.chainage_m, 1)] = prism(simulation, drive.axis), readings[-1]["time"]
    end, clock = simulation.truth().face_mm[-1], readings[-1]["time"]
    rows = tunnel_rows(rng, prisms[60.3][0])
    _write(folder / "tunnel_observations.csv", _SIGHT_COLUMNS, rows)
    blunder = [list(row) for row in rows]
    wrong = blunder[17 - 2]  # the file's line 17
    degrees, minutes, seconds = wrong[3].split("-")
    wrong[3] = f"{degrees}-{(int(minutes) + 10) % 60:02d}-{seconds}"
    _write(folder / "tunnel_observations_blunder.csv", _SIGHT_COLUMNS, blunder)
    control = [
        [n, *(f"{v:.4f}" for v in _TUNNEL[n]), "0.5" if n in ("L3", "L4") else ""] for n in list(_TUNNEL)[:4]
    ]
    _write(folder / "tunnel_control.csv", ("point", "easting_m", "northing_m", "level_m", "sd_mm"), control)
    _polar(folder, rng, *prisms[30.6])
    shots = []
    for number, sd in enumerate((2.0, 2.5)):
        line, level = end + rng.normal(0.0, sd, 2)
        time = str(np.datetime64(clock.rstrip("Z")) + np.timedelta64(3600 * (number + 1), "s")) + "Z"
        shots.append([time, GOES_ON_TO_M, "face", f"{line:.1f}", f"{level:.1f}", sd])
    for name, chosen in (("first", shots[:1]), ("second", shots[1:])):
        _write(folder / f"turned_beam_{name}_shot.csv", SHOT_COLUMNS, chosen)
    after[0] |= {"note": "invented data"}
    _write(folder / "turned_beam_readings.csv", COLUMNS, [reading_row(reading) for reading in after])
    line, level = end + rng.normal(0.0, 2.0, 2)
    slip = [[shots[0][0], GOES_ON_TO_M, "face", f"{line + 100.0:.1f}", f"{level:.1f}", 2.0]]
    _write(folder / "offsets_with_a_slip.csv", SHOT_COLUMNS, slip)


def _polar(folder: Path, rng: np.random.Generator, machine: Place, time: str) -> None:
    """One known station, one backsight, the prism; and its coordinates worked out."""
    columns = tuple(name.replace("_dms", "_gon") for name in _SIGHT_COLUMNS)
    turned = rng.uniform(0.0, 2.0 * math.pi)
    read = {
        name: sight(rng, _POLAR["K1"], place, turned, 1.552, high)
        for name, place, high in (("K2", _POLAR["K2"], 1.3), ("M", machine, 0.0))
    }
    rows = []
    for name, high in (("K2", "1.300"), ("M", "0.000")):
        direction, zenith, slope = read[name]
        gon = [f"{angle * 200.0 / math.pi:.4f}" for angle in (direction, zenith)]
        rows.append(["K1", "1", name, *gon, f"{slope:.4f}", "1.552", high, "1.5", "2", "0.8", "1"])
    _write(folder / "polar_observations.csv", columns, rows)
    control = [[name, *(f"{v:.4f}" for v in place), ""] for name, place in _POLAR.items()]
    _write(folder / "polar_control.csv", ("point", "easting_m", "northing_m", "level_m", "sd_mm"), control)
    # a polar point by hand from the figures as written
    direction, zenith, slope = (float(v) for v in (rows[1][3], rows[1][4], rows[1][5]))
    backsight = float(rows[0][3])
    grid = math.atan2(*(_POLAR["K2"][i] - _POLAR["K1"][i] for i in (0, 1)))
    azimuth = grid + (direction - backsight) * math.pi / 200.0
    zenith *= math.pi / 200.0
    flat = slope * math.sin(zenith)
    high = _POLAR["K1"][2] + 1.552 + slope * math.cos(zenith) + 0.87 * flat * flat / (2.0 * 6371000.0)  # type: ignore[assignment]
    place = (_POLAR["K1"][0] + flat * math.sin(azimuth), _POLAR["K1"][1] + flat * math.cos(azimuth), high)
    coordinates = [[time, 30.6, "target", *(f"{v:.4f}" for v in place), 0.7]]
    names = ("time", "chainage_m", "point", "easting_m", "northing_m", "level_m", "sd_mm")
    _write(folder / "polar_coordinates.csv", names, coordinates)


def _write(path: Path, columns: tuple[str, ...], rows: list[list[Any]]) -> None:
    with open(path, "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(columns)
        table.writerows(rows)


if __name__ == "__main__":
    write_surveys(Path(sys.argv[1]) if len(sys.argv) > 1 else SURVEYS)
