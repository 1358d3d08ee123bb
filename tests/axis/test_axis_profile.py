"""The profile against handbook tables and open reference points."""

import csv
import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from steer.axis import axis_from_spec

DATA = Path(__file__).parent / "data"
FOOT = 0.3048


def made(vertical, level_m=0.0, chainage_m=0.0):
    start = {"easting_m": 0.0, "northing_m": 0.0, "bearing_deg": 0.0}
    start |= {"level_m": level_m, "chainage_m": chainage_m}
    return axis_from_spec(
        start, [{"kind": "line", "length_m": sum(e["length_m"] for e in vertical)}], vertical
    )


def parabola(length_m, start, end, kind="parabola"):
    return {
        "kind": kind,
        "length_m": length_m,
        "grade_start_mm_per_m": start,
        "grade_end_mm_per_m": end,
    }


# station and level, both in feet
SURVEYOR = [(100, 1068.319), (200, 1068.726), (300, 1068.511), (400, 1067.674), (215.43, 1068.733)]
CREST = [(5400, 1312.5), (5500, 1316.65), (5600, 1319.1), (5700, 1319.85), (5800, 1318.9), (5900, 1316.25)]
SAG = [(8900, 1216.794), (9000, 1215.176), (9100, 1215.147), (9200, 1216.706), (9225, 1217.344)]
SAG += [(9051.852, 1214.963)]


@pytest.mark.parametrize(
    ("start_ft", "level_ft", "length_ft", "grades", "table"),
    [
        # worked answer by a construction surveyor, mathhelpforum.com thread 118633: PVI 250 ft at 1070.64 ft
        (0, 1067.29, 500, (1e3 * (1070.64 - 1067.29) / 250, 1e3 * (1066.215 - 1070.64) / 250), SURVEYOR),
        # J. Mahun, Open Access Surveying Library, vertical curve solutions, problem 2
        (5400, 1312.5, 500, (50.0, -35.0), CREST),
        # the same, problem 3; its level at 91+00 is misprinted 1216.147
        (8800, 1220.0, 425, (-40.0, 27.5), SAG),
    ],
)
def test_parabolas_of_handbooks(start_ft, level_ft, length_ft, grades, table):
    axis = made([parabola(length_ft * FOOT, *grades)], level_ft * FOOT, start_ft * FOOT)
    for station, level in table:
        assert axis.at(station * FOOT).level_m / FOOT == pytest.approx(level, abs=6e-4)


def test_lowest_point_has_no_grade():
    """J. Mahun, problem 3: lowest at 90+51.852."""
    axis = made([parabola(425 * FOOT, -40.0, 27.5)], 1220 * FOOT, 8800 * FOOT)
    assert axis.at(9051.852 * FOOT).grade_mm_per_m == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "kind"), [("points_parabola_-5_10.csv", "parabola"), ("points_vertical_arc_-5_10.csv", "arc")]
)
def test_open_reference_points(name, kind):
    """IFC Alignment Geometry Implementation Guide: level and direction, six decimals."""
    axis = made([parabola(100.0, -5.0, 10.0, kind)], level_m=10.0)
    with open(DATA / name, encoding="utf-8") as file:
        rows = list(csv.DictReader(r for r in file if not r.startswith("#")))
    assert len(rows) == 11
    for row in rows:
        p = axis.at(float(row["dist_along"]))
        assert p.level_m == pytest.approx(float(row["Y"]), abs=1e-6)
        assert p.grade_mm_per_m * 1e-3 == pytest.approx(
            float(row["RefDir_dy"]) / float(row["RefDir_dx"]), abs=1.5e-6
        )


def test_vertical_curve_of_a_bridge_geometry_manual():
    """FHWA-HIF-22-034 (April 2022), vertical curve 1: 17.5 to −10 mm/m over 1600 ft."""
    table = json.loads((DATA / "worked_examples_fhwa_hif_22_034.json").read_text())["vertical_curve_1"]
    axis = made([parabola(1600 * FOOT, 17.5, -10.0)], 121.0 * FOOT)
    for row in table:
        p = axis.at(row["s"] * FOOT)
        assert p.level_m / FOOT == pytest.approx(row["z"], abs=5e-3)
        assert p.grade_mm_per_m == pytest.approx(row["grade"] * 1e3, abs=1e-6)


def test_whole_profile_of_a_bridge_geometry_manual():
    """FHWA-HIF-22-034: levels and grades along bridge 1, from its vertices rounded by parabolas."""
    data = json.loads((DATA / "worked_examples_fhwa_hif_22_034.json").read_text())
    vertices = [(0, 100, 0), (2000, 135, 1600), (5000, 105, 1200), (7400, 153, 2000), (9800, 105, 800)]
    vertices += [(12800, 90, 0)]
    grades = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(vertices)]
    elements, at = [], 0.0
    for (station, _, length), g0, g1 in zip(vertices[1:-1], grades[:-1], grades[1:], strict=True):
        straight = station - length / 2 - at
        elements.append({"kind": "grade", "length_m": straight * FOOT, "grade_mm_per_m": g0 * 1e3})
        elements.append(parabola(length * FOOT, g0 * 1e3, g1 * 1e3))
        at = station + length / 2
    elements.append({"kind": "grade", "length_m": (12800 - at) * FOOT, "grade_mm_per_m": grades[-1] * 1e3})
    axis = made(elements, 100 * FOOT, 10000 * FOOT)
    assert len(data["bridge1"]) == 7
    for row in data["bridge1"]:
        p = axis.at(row["station"] * FOOT)
        assert p.level_m / FOOT == pytest.approx(row["z"], abs=6e-3)
        assert p.grade_mm_per_m == pytest.approx(row["grade"] * 1e3, abs=0.06)


def test_curvature_is_the_change_of_grade():
    vertical = [
        {"kind": "grade", "length_m": 30.0, "grade_mm_per_m": -20.0},
        parabola(50.0, -20.0, 40.0),
        parabola(60.0, 40.0, -90.0, "arc"),
    ]
    axis = made(vertical)
    h = 1e-3
    for s in (10.0, 40.0, 70.0, 85.0, 110.0, 139.0):
        before, here, after = axis.at(s - h), axis.at(s), axis.at(s + h)
        rate = (after.grade_mm_per_m - before.grade_mm_per_m) / (2 * h)
        assert here.curvature_up_mm_per_m2 == pytest.approx(rate, abs=1e-5)
        slope = (after.level_m - before.level_m) / (2 * h) * 1e3
        assert here.grade_mm_per_m == pytest.approx(slope, abs=1e-5)


def test_one_and_many_agree():
    axis = made([parabola(50.0, -20.0, 40.0), parabola(60.0, 40.0, -90.0, "arc")], 12.0, 7.0)
    at = np.linspace(0.0, 130.0, 301)
    many = axis.at(at)
    for name in ("level_m", "grade_mm_per_m", "curvature_up_mm_per_m2"):
        one = [getattr(axis.at(s), name) for s in at.tolist()]
        assert getattr(many, name) == pytest.approx(one, abs=1e-12)
