"""State histories of three sample drives, committed, so that a change of the estimate is a diff to review.

    python tests/support/histories.py        writes them anew into tests/estimate/data

The readings come from the simulated ground and are recorded with the states, so that a change of the
simulator does not look like one of the estimate.
"""

from __future__ import annotations

import gzip
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from steer.drivefile import parse_drive
from steer.estimate.follow import Follower
from steer.estimate.health import examine
from steer.ground import CheckShots, Fault, Scenario, Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb

DATA = Path(__file__).parents[1] / "estimate" / "data"
LENGTH_M = 50.0


@dataclass(frozen=True)
class Event:
    """One event, as the log gives it."""

    sequence: int
    kind: str
    body: dict[str, Any]


def scenarios() -> dict[str, Scenario]:
    """One clean, one with faults, one curved (all invented)."""
    shots = CheckShots(every_m=20.0)
    faults = (Fault("yaw_stuck", 18.02), Fault("beam_knock", 30.02, (18.0, -14.0, 0.0, 0.0)))
    return {
        "clean": draw_scenario(12, curved=False).with_(shots=shots),
        "faults": draw_scenario(16, curved=False).with_(shots=shots, faults=faults),
        "curved": draw_scenario(17, curved=True).with_(shots=shots),
    }


def record(scenario: Scenario) -> list[list[Any]]:
    """Events [kind, body] of a drive's first metres under the rule of thumb."""
    steerer, simulation = RuleOfThumb(scenario.drive), Simulation(scenario)
    events: list[list[Any]] = []
    readings = simulation.start()
    while True:
        for reading in readings:
            steerer.reading(reading)
            keep = ("chainage_m", "spot_right_mm", "spot_up_mm", "yaw_mm_per_m", "pitch_mm_per_m", "roll_deg",
                    "cylinder_mm")  # fmt: skip
            events.append(["reading", {k: reading[k] for k in keep}])
        for shot in simulation.shots():
            steerer.shot(shot)
            events.append(["check_shot", {k: v for k, v in shot.items() if k != "kind"}])
        events.append(["stroke_end", {"chainage_m": round(simulation.chainage_m, 4)}])
        if simulation.finished or simulation.chainage_m > LENGTH_M:
            return events
        readings = simulation.advance(steerer.stroke_end(simulation.chainage_m))


def history(toml: str, events: list[list[Any]]) -> list[dict[str, Any]]:
    """State after each stroke: mean and sd (2, 12) of the mixture, weights, codes of the notices."""
    follower = Follower(parse_drive(toml))
    rows: list[dict[str, Any]] = []
    for i, (kind, body) in enumerate(events):
        follower.take(Event(i + 1, kind, body))
        if kind != "stroke_end":
            continue
        follower.bring_up()
        node = follower.node()
        x, p = node.blend()
        sd = np.sqrt(np.maximum(np.diagonal(p, axis1=1, axis2=2), 0.0))
        rows.append({
            "chainage_m": round(node.s_m, 4),
            "mean": [[float(f"{v:.7g}") for v in plane] for plane in x.tolist()],
            "sd": [[float(f"{v:.7g}") for v in plane] for plane in sd.tolist()],
            "weights": [round(v, 6) for v in node.weights.tolist()],
            "notices": sorted(n.code for n in examine(follower, node).notices),
        })  # fmt: skip
    return rows


def load(name: str) -> dict[str, Any]:
    """A committed history: drive.toml's text, events, states."""
    with gzip.open(DATA / f"{name}.json.gz", "rt", encoding="utf-8") as file:
        found: dict[str, Any] = json.load(file)
    return found


def main() -> None:
    """Write the states anew; `--events` records the drives anew as well."""
    DATA.mkdir(exist_ok=True)
    for name, scenario in scenarios().items():
        path = DATA / f"{name}.json.gz"
        if path.exists() and "--events" not in sys.argv:
            kept = load(name)
            toml, events = kept["toml"], kept["events"]
        else:
            toml, events = drive_toml(scenario.drive), record(scenario)
        body = json.dumps({"toml": toml, "events": events, "states": history(toml, events)})
        path.write_bytes(gzip.compress(body.encode("utf-8"), mtime=0))
        print(f"{path}: {len(events)} events")


if __name__ == "__main__":
    main()
