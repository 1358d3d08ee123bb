"""A setting of the crew's own: whole cylinder steps at the present roll, and the limits it would break."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.advice import Advice
from steer.correct.settings import nearest
from steer.drivefile import MachineSection
from steer.text import PLANES


@dataclass(frozen=True)
class Tried:
    """Cylinder extensions (N,) mm on whole steps (as they read where no change is asked), the articulation
    they make (mm/m), what speaks against it."""

    cylinder_mm: tuple[float, ...]
    right_mm_per_m: float
    up_mm_per_m: float
    problems: tuple[str, ...]


def try_setting(machine: MachineSection, advice: Advice, right_mm_per_m: float, up_mm_per_m: float) -> Tried:
    """Look at an articulation (mm/m, + right, + up) from where the advice says the cylinders stand."""
    now = np.array([advice.now_right_mm_per_m, advice.now_up_mm_per_m])
    now_mm = None if advice.cylinder_now_mm is None else np.array(advice.cylinder_now_mm, float)
    whole, made = nearest(machine, advice.roll_deg, np.array([right_mm_per_m, up_mm_per_m]), now_mm, now)
    problems = []
    if np.hypot(*made) > machine.max_articulation_mm_per_m + 1e-9:
        problems.append(f"at most {machine.max_articulation_mm_per_m:g} mm/m in both planes together")
    low, high = machine.cylinders.range_mm
    for number, mm in enumerate(whole, 1):
        if not low - 1e-9 <= mm <= high + 1e-9:
            problems.append(f"cylinder {number} would stand at {mm:g} mm; allowed are {low:g} to {high:g} mm")
    most = machine.max_change_mm_per_m
    for plane, change in zip(PLANES, np.abs(made - now), strict=True):
        if change > most + 1e-9:
            problems.append(f"{plane} would change by more than {most:g} mm/m in one stroke")
    return Tried(tuple(float(mm) for mm in whole), float(made[0]), float(made[1]), tuple(problems))
