"""Times of the axis on a curved drive of 3 km: `python tests/bench/bench_axis.py`."""

import time

import numpy as np

from steer.axis import axis_from_spec


def drive():
    """Three kilometres of arcs and clothoids, R 300 to 600 m."""
    horizontal, vertical = [], []
    for i in range(10):
        turn = ("right", "left")[i % 2]
        clothoid = {"kind": "spiral", "length_m": 30.0, "turn": turn}
        horizontal += [
            {"kind": "line", "length_m": 40.0},
            {**clothoid, "radius_start_m": "inf", "radius_end_m": 300.0},
            {"kind": "arc", "length_m": 200.0, "radius_m": 300.0, "turn": turn},
            {**clothoid, "radius_start_m": 300.0, "radius_end_m": "inf"},
        ]
        g0, g1 = ((4.0, -6.0), (-6.0, 4.0))[i % 2]
        vertical += [
            {"kind": "grade", "length_m": 200.0, "grade_mm_per_m": g0},
            {"kind": "parabola", "length_m": 100.0, "grade_start_mm_per_m": g0, "grade_end_mm_per_m": g1},
        ]
    start = {"chainage_m": 0.0, "easting_m": 4e6, "northing_m": 6e6, "level_m": 50.0, "bearing_deg": 15.0}
    return axis_from_spec(start, horizontal, vertical)


def main():
    axis = drive()
    for name, s in (("line", 20.0), ("clothoid", 55.0), ("arc", 150.0)):
        begin = time.perf_counter()
        for _ in range(20_000):
            axis.at(s)
        print(f"at, one chainage on a {name}: {(time.perf_counter() - begin) / 20_000 * 1e6:.1f} µs")
    rng = np.random.default_rng(1)
    n = 100_000
    s = rng.uniform(-50.0, 3050.0, n)
    line_mm, level_mm = rng.uniform(-50e3, 50e3, n), rng.uniform(-5e3, 5e3, n)
    points = axis.position(s, line_mm, level_mm)
    axis.locate(4e6, 6e6, 50.0)
    begin = time.perf_counter()
    found = axis.locate(*points)
    taken = time.perf_counter() - begin
    print(f"locate, {n} points within 50 m of 3 km: {taken:.2f} s, all ok {found.ok.all()}")
    # a point can lie nearer to another place than the one it was put beside
    same = np.abs(found.chainage_m - s) < 1.0
    off_mm = np.abs(found.line_mm - line_mm)[same].max()
    off_m = np.abs(found.chainage_m - s)[same].max()
    print(f"  {same.mean():.1%} where they were put; there and back within {off_mm:.1e} mm, {off_m:.1e} m")
    begin = time.perf_counter()
    for _ in range(200):
        axis.locate(4e6 + 100, 6e6 + 500, 50.0)
    print(f"locate, one point: {(time.perf_counter() - begin) / 200 * 1e6:.0f} µs")


if __name__ == "__main__":
    main()
