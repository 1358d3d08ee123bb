"""A setting of the crew's own: whole cylinder steps at the present roll, and the limits it would break."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from steer.advice import Advice
from steer.drivefile import MachineSection
from steer.machine.cylinders import extension_rows, extensions


@dataclass(frozen=True)
class Tried:
    """Cylinder extensions (N,) mm on whole steps, the articulation they make (mm/m), what speaks against it."""

    cylinder_mm: tuple[float, ...]
    right_mm_per_m: float
    up_mm_per_m: float
    problems: tuple[str, ...]


def try_setting(machine: MachineSection, advice: Advice, right_mm_per_m: float, up_mm_per_m: float) -> Tried:
    """Look at an articulation (mm/m, + right, + up) from where the advice says the cylinders stand."""
    cylinders = machine.cylinders
    exact = extensions(right_mm_per_m, up_mm_per_m, advice.roll_deg, cylinders)
    whole = np.round(exact / cylinders.step_mm) * cylinders.step_mm
    back = np.linalg.pinv(extension_rows(advice.roll_deg, cylinders)) @ (whole - cylinders.neutral_mm)
    problems = []
    if np.hypot(right_mm_per_m, up_mm_per_m) > machine.max_articulation_mm_per_m:
        problems.append(f"at most {machine.max_articulation_mm_per_m:g} mm/m in both planes together")
    low, high = cylinders.range_mm
    for number, mm in enumerate(whole, 1):
        if not low <= mm <= high:
            problems.append(f"cylinder {number} would stand at {mm:g} mm; allowed are {low:g} to {high:g} mm")
    most = machine.max_change_mm_per_m
    for plane, now, wanted in (
        ("line", advice.now_right_mm_per_m, right_mm_per_m),
        ("level", advice.now_up_mm_per_m, up_mm_per_m),
    ):
        if abs(wanted - now) > most + 1e-9:
            problems.append(f"{plane} would change by more than {most:g} mm/m in one stroke")
    return Tried(tuple(float(mm) for mm in whole), float(back[0]), float(back[1]), tuple(problems))
