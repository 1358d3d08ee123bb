"""How long `steer feed` takes from `stroke_end` to its `advice`, over a real pipe, early and late in a drive:

    python tests/bench/feed_answer.py [--strokes 210] [--sync line|stroke]

The stroke's readings are in before the clock starts: a line that is refused is answered in its turn, so its answer
says that everything before it has been taken.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from steer.ground import draw_scenario
from steer.ground.folder import drive_toml
from steer.ground.simulator import Simulation

SEED = 1006  # 167 m in strokes of 0.5 m


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--strokes", type=int, default=210)
    parser.add_argument("--sync", choices=("line", "stroke"), default="line")
    args = parser.parse_args()
    simulation = Simulation(draw_scenario(SEED))
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "drive.toml").write_text(drive_toml(simulation.scenario.drive), encoding="utf-8")
        feed = subprocess.Popen(
            [sys.executable, "-m", "steer.cli.main", "feed", folder, "--sync", args.sync],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert feed.stdin is not None and feed.stdout is not None

        def send(line: dict[str, Any]) -> None:
            assert feed.stdin is not None
            feed.stdin.write(json.dumps(line) + "\n")
            feed.stdin.flush()

        took = []
        readings = simulation.start()
        while len(took) < args.strokes and not simulation.finished:
            for line in readings:
                send(line)
            send({"kind": "all taken?"})
            assert json.loads(feed.stdout.readline())["kind"] == "refused"
            begun = time.perf_counter()
            send({"kind": "stroke_end", "chainage_m": round(simulation.chainage_m, 4)})
            advice = json.loads(feed.stdout.readline())
            took.append(1000.0 * (time.perf_counter() - begun))
            readings = simulation.advance(np.array(advice["correction"]["cylinder_mm"]))
            readings += simulation.shots()
        feed.stdin.close()
        feed.wait()
    ms = np.array(took)
    print(
        f"--sync {args.sync}, {len(ms)} strokes: median {np.median(ms):.1f} ms, 95 % {np.quantile(ms, 0.95):.1f}, "
        f"longest {ms.max():.1f}; strokes 5 to 25 {np.median(ms[5:25]):.1f}, the last 20 {np.median(ms[-20:]):.1f}"
    )


if __name__ == "__main__":
    main()
