"""A machine's steering limits for the two steerers of the practice ground: kept, and rounded to whole
cylinder steps."""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.ground.instruments import cylinders_for


class Limits:
    """A wanted articulation, brought inside the machine's limits and onto whole cylinder steps."""

    def __init__(self, machine: dict[str, Any]) -> None:
        self.machine = machine
        self.most = float(machine["max_articulation_mm_per_m"])
        self.change = float(machine["max_change_mm_per_m"])
        cylinders = machine["cylinders"]
        self.low, self.high = cylinders["range_mm"]
        self.neutral, self.step = cylinders["neutral_mm"], cylinders["step_mm"]
        # what rounding each cylinder by half a step can add
        self.slack = self.step / cylinders["circle_radius_mm"] * 1000.0
        reach = min(self.high - self.neutral, self.neutral - self.low) - self.step / 2
        self.most = min(self.most - self.slack, reach / cylinders["circle_radius_mm"] * 1000.0)

    def settings(self, wanted: np.ndarray, now: np.ndarray, roll_deg: float) -> np.ndarray:
        """Cylinder extensions for `wanted` from the articulation `now` (both right, up mm/m)."""
        change = max(self.change - self.slack, self.slack)
        inside = now + np.clip(wanted - now, -change, change)
        size = float(np.hypot(*inside))
        if size > self.most:
            inside = inside * self.most / size
            inside = now + np.clip(inside - now, -change, change)
        exact = cylinders_for(self.machine, inside, roll_deg)
        rounded: np.ndarray = np.clip(np.round(exact / self.step) * self.step, self.low, self.high)
        return rounded
