"""Model structures compared on grounds that match none of them. Run by hand:

    python tests/bench/estimate_models.py [--drives 45]

    delay   two rigid bodies in the bore: crab couples fully into curvature, hardly any lag, the direction
            of travel turns at once (the delay geometry's first-order form)
    lagged  curvature answers after 0.7 machine lengths, nothing at once, crab does not couple
    middle  between them
    stack   the four answers of `tuning.MODELS`, mixed by how well each foretells

All fold the same recorded drives (rule of thumb). Errors against the truth: face offset at the stroke's end
with every reading in, and foretold six metres ahead with the articulation as it was really set.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from histories import Event

from steer.drivefile import parse_drive
from steer.estimate.estimator import Estimator
from steer.estimate.follow import Follower
from steer.estimate.motion import Y
from steer.estimate.nodes import CellReport
from steer.estimate.tuning import MODELS
from steer.ground import Simulation, draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.operator import RuleOfThumb

STRUCTURES = {"delay": MODELS[:1], "middle": MODELS[1:2], "lagged": MODELS[2:3], "stack": MODELS}
AHEAD_M = 6.0


def recorded(seed: int) -> tuple[str, list[Event], Simulation]:
    """One drive to its end."""
    scenario = draw_scenario(seed)
    steerer, simulation = RuleOfThumb(scenario.drive), Simulation(scenario)
    events: list[Event] = []

    def add(kind: str, body: dict) -> None:
        events.append(Event(len(events) + 1, kind, {k: v for k, v in body.items() if k != "kind"}))

    readings = simulation.start()
    while True:
        for reading in readings:
            steerer.reading(reading)
            add("reading", reading)
        for shot in simulation.shots():
            steerer.shot(shot)
            add("check_shot", shot)
        add("stroke_end", {"chainage_m": simulation.chainage_m})
        if simulation.finished:
            return drive_toml(scenario.drive), events, simulation
        readings = simulation.advance(steerer.stroke_end(simulation.chainage_m))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--drives", type=int, default=45)
    given = parser.parse_args()
    now: dict[tuple[str, str], list[np.ndarray]] = {}
    ahead: dict[tuple[str, str], list[np.ndarray]] = {}
    held: dict[tuple[str, str], list[np.ndarray]] = {}
    fit: dict[tuple[str, str], list[float]] = {}
    for seed in range(8000, 8000 + given.drives):
        toml, events, simulation = recorded(seed)
        truth, kind = simulation.truth(), simulation.scenario.ground.kind
        for name, models in STRUCTURES.items():
            follower = Follower(parse_drive(toml))
            follower.estimator = Estimator(follower.drive, models)
            for event in events:
                follower.take(event)
            follower.bring_up()
            nodes = [n for n in follower.estimator.nodes if isinstance(n.report, CellReport)]
            at = np.array([n.s_m for n in nodes])
            for i in range(40, len(nodes), 8):
                node = nodes[i]
                x, p = node.blend()
                off = x[:, Y] - truth.face_mm[int(np.argmin(np.abs(truth.chainage_m - node.s_m)))]
                for key in ((name, kind), (name, "all")):
                    now.setdefault(key, []).append(off)
                    held.setdefault(key, []).append(np.abs(off) <= 1.96 * np.sqrt(p[:, Y, Y]))
                    report = node.report
                    assert isinstance(report, CellReport)
                    z = report.innovation / report.innovation_sd
                    fit.setdefault(key, []).append(
                        float(np.nanmean(-0.5 * z * z - np.log(report.innovation_sd)))
                    )
                last = int(np.searchsorted(at, node.s_m + AHEAD_M))
                if last >= len(nodes):
                    continue
                far = node
                for later in nodes[i + 1 : last + 1]:
                    far = follower.estimator.ahead(far, later.s_m, later.articulation)
                k = int(np.argmin(np.abs(truth.chainage_m - far.s_m)))
                for key in ((name, kind), (name, "all")):
                    ahead.setdefault(key, []).append(far.blend()[0][:, Y] - truth.face_mm[k])
    print("structure  ground    rmse now  6 m ahead   inside 95 %   log-likelihood a channel")
    for kind in ("elastic", "guided", "lagged", "all"):
        for name in STRUCTURES:
            key = (name, kind)
            print(
                f"{name:10} {kind:8}  {np.sqrt(np.mean(np.square(now[key]))):6.2f}    "
                f"{np.sqrt(np.mean(np.square(ahead[key]))):7.2f}      {np.mean(held[key]):.3f}        "
                f"{np.nanmean(fit[key]):.3f}"
            )


if __name__ == "__main__":
    main()
