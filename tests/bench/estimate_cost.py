"""What re-estimating a long drive costs, beside a plain filterpy loop over the same readings. Run by hand:

    python tests/bench/estimate_cost.py [--metres 1000] [--readings 100000]

The drive is straight, its readings evenly spaced. The loop is what one would write first: a filter of the
middle model's 12 states for each plane, predicted to each reading, updated with spot and heading.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from dataclasses import dataclass
from typing import Any

import numpy as np

from steer.drivefile import DriveFile, parse_drive
from steer.estimate import sensors
from steer.estimate.estimator import Estimator
from steer.estimate.follow import Follower
from steer.estimate.geometry import Columns, Reference, reduce
from steer.estimate.motion import Y
from steer.estimate.tuning import MIDDLE, MODELS
from steer.ground import draw_scenario
from steer.ground.folder import drive_toml


@dataclass(frozen=True)
class Event:
    """One event, as the log gives it."""

    sequence: int
    kind: str
    body: dict[str, Any]


def long_drive(metres: float) -> DriveFile:
    """A straight drive by a beam, of a drawn machine."""
    drive = draw_scenario(0, curved=False).drive
    drive["reference"]["kind"] = "beam"
    drive["axis"]["horizontal"] = [{"kind": "line", "length_m": metres}]
    drive["axis"]["vertical"] = [{"kind": "grade", "length_m": metres, "grade_mm_per_m": 4.0}]
    return parse_drive(drive_toml(drive))


def readings(drive: DriveFile, metres: float, count: int) -> list[Event]:
    """Readings of a machine that wanders, noise as [sd] says, with a stroke's end each metre."""
    rng = np.random.default_rng(1)
    s = np.linspace(metres / count, metres, count) + drive.axis.start_chainage_m
    grid = np.linspace(0.0, metres, count)
    wave = 10.0 * np.sin(grid / 30.0)
    slope = np.gradient(wave, grid)
    sd = drive.sd
    spot = sd.spot_mm + sd.spot_mm_per_100m * grid / 100.0
    neutral = drive.machine.cylinders.neutral_mm
    still = [neutral] * len(drive.machine.cylinders.positions_deg)
    events: list[Event] = []
    for i in range(count):
        right = -wave[i] - drive.target.right_mm + spot[i] * rng.normal()
        up = -drive.target.up_mm + drive.reference.up_mm + spot[i] * rng.normal()
        body = {
            "chainage_m": round(float(s[i]), 4), "spot_right_mm": right, "spot_up_mm": up,
            "yaw_mm_per_m": slope[i] + sd.yaw_mm_per_m * rng.normal(),
            "pitch_mm_per_m": 4.0 + sd.pitch_mm_per_m * rng.normal(), "roll_deg": 0.0, "cylinder_mm": still,
        }  # fmt: skip
        events.append(Event(len(events) + 1, "reading", body))
    return events


def plain_loop(drive: DriveFile, events: list[Event]) -> tuple[np.ndarray, np.ndarray]:
    """filterpy, reading by reading: offsets of the face (n, 2) and their sd."""
    from filterpy.kalman import KalmanFilter

    estimator = Estimator(drive, (MODELS[MIDDLE],))
    model, body = estimator.stack.motion, estimator.stack.body
    s = np.array([e.body["chainage_m"] for e in events])

    def column(name: str) -> np.ndarray:
        return np.array([e.body[name] for e in events])

    nothing = np.full(len(s), np.nan)
    columns = Columns(s, column("spot_right_mm"), column("spot_up_mm"), nothing, nothing,
                      column("yaw_mm_per_m"), column("pitch_mm_per_m"), column("roll_deg"))  # fmt: skip
    values, along = reduce(drive, Reference.of(drive), columns)
    found, sds = np.empty((len(s), 2)), np.empty((len(s), 2))
    zero, still = np.zeros(len(estimator.stack.plane)), np.zeros(len(estimator.stack.plane))
    for plane in (0, 1):
        kf = KalmanFilter(dim_x=12, dim_z=2)
        kf.x = estimator.start.x[plane][:, None].copy()
        kf.P = estimator.start.p[plane].copy()
        before = drive.axis.start_chainage_m
        for i in range(len(s)):
            ds = s[i] - before
            before = s[i]
            kf.predict(F=model.transition(ds, np.zeros(1))[0], Q=model.process_noise(ds)[0])
            kf.x += model.known_input(ds, np.zeros(1))[0][:, None]
            row, _ = sensors.target_row(body, still, 0.0, zero, zero)
            head, _ = sensors.heading_row(body, still, 0.0, zero, along[i], estimator.stack.plane == 0)
            h = np.stack([sensors.add_reference(row, along[i])[plane], head[plane]])
            sd = estimator.stack.channel_sd[[plane, 2 + plane]] + [
                estimator.stack.spot_growth * along[i],
                0.0,
            ]
            kf.update(values[i, [plane, 2 + plane]][:, None], R=np.diag(sd * sd), H=h)
            found[i, plane], sds[i, plane] = kf.x[Y, 0], np.sqrt(kf.P[Y, Y])
    return found, sds


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--metres", type=float, default=1000.0)
    parser.add_argument("--readings", type=int, default=100_000)
    given = parser.parse_args()
    drive = long_drive(given.metres)
    events = readings(drive, given.metres, given.readings)

    def clock(run: Any) -> tuple[float, Any]:
        begun = time.process_time()
        out = run()
        return time.process_time() - begun, out

    def fold(models: tuple = MODELS) -> Follower:
        follower = Follower(drive)
        follower.estimator = Estimator(drive, models)
        for event in events:
            follower.take(event)
        follower.bring_up()
        return follower

    base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    whole, follower = clock(fold)
    top = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{given.readings} readings over {given.metres:.0f} m (CPU time)")
    print(f"ours, from the start             {whole:8.2f} s   {len(follower.estimator.nodes)} nodes, "
          f"+{top - base:.0f} MB over {base:.0f} MB")  # fmt: skip
    back = follower.top_m - 30.0
    shot = Event(len(events) + 1, "check_shot", {"chainage_m": back, "point": "face", "line_mm": 0.0,
                                                 "level_mm": 0.0, "sd_mm": 3.0})  # fmt: skip

    def late() -> None:
        follower.take(shot)
        follower.bring_up()

    print(f"ours, after a shot 30 m back     {clock(late)[0]:8.3f} s")
    single, alone = clock(lambda: fold((MODELS[MIDDLE],)))
    print(f"ours, middle model alone         {single:8.2f} s")
    plain, (found, sds) = clock(lambda: plain_loop(drive, events))
    print(f"plain filterpy loop, that model  {plain:8.2f} s   {plain / whole:.1f} times ours, "
          f"{plain / single:.1f} times ours of that model alone")  # fmt: skip
    at = np.array([e.body["chainage_m"] for e in events])
    apart = [
        np.abs(n.blend()[0][:, Y] - found[int(np.searchsorted(at, n.s_m - 1e-6))])
        / sds[int(np.searchsorted(at, n.s_m - 1e-6))]
        for n in alone.estimator.nodes[20:]
    ]
    print(f"offsets apart by {np.mean(apart):.2f} sd in the mean, {np.percentile(apart, 95):.2f} at 95 %")


if __name__ == "__main__":
    sys.exit(main())
