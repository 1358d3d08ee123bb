"""The steerer that sets what the tool proposes."""

from __future__ import annotations

from typing import Any

import numpy as np

from steer.closed_loop.memory import drive_in_memory
from steer.drivefile import DriveFile


class Advised:
    """Follows every proposal, as a crew that trusts the tool would. `estimate` is the face as last
    estimated: (line_mm, line_sd_mm, level_mm, level_sd_mm)."""

    name = "advised"

    def __init__(self, file: DriveFile) -> None:
        self.drive = drive_in_memory(file)
        self.estimate: tuple[float, float, float, float] | None = None

    def reading(self, reading: dict[str, Any]) -> None:
        """One reading, as the feed takes it."""
        self.drive.add("reading", body_of(reading))

    def shot(self, shot: dict[str, Any]) -> None:
        """One check shot, as the feed takes it."""
        self.drive.add("check_shot", body_of(shot))

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        """Cylinder extensions (N,) mm for the next stroke."""
        advice = self.drive.stroke_end(round(chainage_m, 4))
        seen = advice.estimate
        self.estimate = (seen.line_mm, seen.line_sd_mm, seen.level_mm, seen.level_sd_mm)
        return np.array(advice.correction.cylinder_mm, float)


def body_of(line: dict[str, Any]) -> dict[str, Any]:
    """What the log keeps of a line of the feed."""
    return {name: value for name, value in line.items() if name != "kind" and value is not None}
