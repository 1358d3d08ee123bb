"""The committed state histories of three sample drives: a difference is explained by renewing them.

    python tests/support/histories.py

in the commit that changes the estimate, so that somebody sees what changed.
"""

from __future__ import annotations

import numpy as np
import pytest
from support_histories import history, load

# Relative to a state's own sd: rounding differs between machines, estimates that differ more are news.
TOLERANCE_SD = 1e-3


@pytest.mark.parametrize("name", ["clean", "faults", "curved"])
def test_the_states_are_as_committed(name):
    kept = load(name)
    now = history(kept["toml"], kept["events"])
    assert [r["chainage_m"] for r in now] == [r["chainage_m"] for r in kept["states"]]
    for row, old in zip(now, kept["states"], strict=True):
        sd = np.array(old["sd"])
        apart = np.abs(np.array(row["mean"]) - np.array(old["mean"])) / np.maximum(sd, 1e-9)
        wider = np.abs(np.array(row["sd"]) - sd) / np.maximum(sd, 1e-9)
        assert apart.max() < TOLERANCE_SD, f"mean at {row['chainage_m']} m differs by {apart.max():.2g} sd"
        assert wider.max() < TOLERANCE_SD, (
            f"sd at {row['chainage_m']} m differs by {wider.max():.2g} of itself"
        )
        assert np.abs(np.array(row["weights"]) - np.array(old["weights"])).max() < TOLERANCE_SD
        assert row["notices"] == old["notices"], f"at {row['chainage_m']} m"


def test_the_history_with_faults_tells_of_them():
    said = set().union(*(row["notices"] for row in load("faults")["states"]))
    assert {"yaw_stuck", "reference_moved"} <= said


def test_a_changed_estimate_is_seen():
    """The comparison can fail: a spot 1 mm elsewhere in ten readings shows."""
    kept = load("clean")
    events = [[k, dict(b)] for k, b in kept["events"]]
    for kind, body in events[200:230]:
        if kind == "reading" and body["spot_right_mm"] is not None:
            body["spot_right_mm"] += 1.0
    now, old = history(kept["toml"], events)[-1], kept["states"][-1]
    assert np.abs((np.array(now["mean"]) - old["mean"]) / np.array(old["sd"])).max() > TOLERANCE_SD
