"""200 kills, by hand: python tests/bench/kills.py [KILLS]

Half of them during feed, the others during read, shots and accept. After each the log must open, pass
SQLite's own check and the chain, hold what was acknowledged once and in order, and no half file. At the end
of every fed drive the next advice must equal that of a run that nobody killed.
"""

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from kills import (
    advice_of,
    feed_lines,
    kill_accept,
    kill_command,
    kill_feed,
    new_drive,
    storing_times,
    unbroken,
)

total = int(sys.argv[1]) if len(sys.argv) > 1 else 200
rng = random.Random(1)
with tempfile.TemporaryDirectory() as place:
    home = Path(place)
    lines = feed_lines(40)
    expected = unbroken(new_drive(home / "unbroken"), lines)
    fed = drives = 0
    while fed < total // 2:
        drives += 1
        folder, stored = new_drive(home / f"fed{drives}"), 0
        sync = ("line", "stroke")[drives % 2]
        while stored < len(lines):
            stored = kill_feed(folder, lines, rng, "--sync", sync)
            fed += 1
        assert advice_of(folder) == expected
    print(f"feed: {fed} kills over {drives} drives, every advice as in the unbroken run", flush=True)

    rows = {"read": 5000, "shots": 2000}
    (home / "read.csv").write_text("chainage_m\n" + "".join(f"{k / 100}\n" for k in range(rows["read"])))
    shot = "{},face,1,1,2\n".format
    (home / "shots.csv").write_text(
        "chainage_m,point,line_mm,level_mm,sd_mm\n" + "".join(shot(k / 100) for k in range(rows["shots"]))
    )
    for command in ("read", "shots"):
        path, outcome = home / f"{command}.csv", Counter[str]()
        there, stored, ended = storing_times(new_drive(home / command), command, path, rows[command])
        for k in range(total // 6):
            folder = new_drive(home / f"{command}{k}")
            # before it, while it stores, and after it, by the clock of a run that nobody killed
            wait_s, begun = (
                (rng.uniform(0.3, 1.0) * there, False),
                (rng.uniform(0.0, 1.2) * (stored - there), True),
                (rng.uniform(0.0, 1.0) * (ended - stored) + stored - there, True),
            )[k % 3]
            outcome[kill_command(folder, command, path, rows[command], wait_s, once_begun=begun)] += 1
        print(
            f"{command}: {outcome.total()} kills of the storing: {dict(outcome)}, all or nothing", flush=True
        )

    folder = home / "unbroken"
    accepted = [kill_accept(folder, rng) for _ in range(total // 6)]
    print(f"accept: {len(accepted)} kills, {sum(accepted)} acknowledged and all there")
