"""One drive of a study: the scenario of its seed, at most one thing about the plan changed, driven by the
tool's own proposals."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from steer.closed_loop import Advised, drive_whole
from steer.drivefile import DriveFile
from steer.ground import Scenario, Simulation
from steer.study.drawing import draw
from steer.study.ranges import Ranges

STEP_M = 0.05  # of the simulation
TRACE = 61  # places along the drive at which the offsets are kept for the plot

# factor -> its levels: a multiple of what is planned, or (drift) the value itself
LEVELS: dict[str, tuple[float, ...]] = {
    "check spacing": (0.5, 2.0),
    "stroke": (0.5, 2.0),
    "tolerance": (0.5, 2.0),
    "reference drift": (0.0, 0.1),
}


@dataclass(frozen=True)
class Plan:
    """What every drive of a study shares; goes to each process once."""

    file: DriveFile
    drive: dict[str, Any]  # the same as a scenario takes it
    ranges: Ranges


@dataclass(frozen=True)
class Task:
    """A seed, and the factor that is changed to a level ("" as planned)."""

    index: int
    seed: int
    factor: str = ""
    level: float = 1.0


@dataclass(frozen=True)
class Outcome:
    """How one drive went; offsets are true ones, in mm. `failed` says why there are no figures.

    `trace` (2, TRACE) holds line and level at even places of the drive.
    """

    task: Task
    kind: str = ""
    in_eye: bool = False
    end_line_mm: float = float("nan")
    end_level_mm: float = float("nan")
    worst_line_mm: float = float("nan")
    worst_level_mm: float = float("nan")
    rms_line_mm: float = float("nan")
    rms_level_mm: float = float("nan")
    outside_m: float = float("nan")
    joint_mm_per_m: float = float("nan")
    change_mm_per_m: float = float("nan")
    force_kn: float = float("nan")
    allowed_kn: float = float("nan")
    joint_share: float = float("nan")
    failed: str = ""
    trace: np.ndarray = field(default_factory=lambda: np.zeros((2, 0)))


def tasks_of(first_seed: int, drives: int, factors: tuple[str, ...], each: int) -> list[Task]:
    """`drives` tasks as planned, then the first `each` seeds again at every level of every factor."""
    tasks = [Task(i, first_seed + i) for i in range(drives)]
    for factor in factors:
        for level in LEVELS[factor]:
            for i in range(min(each, drives)):
                tasks.append(Task(len(tasks), first_seed + i, factor, level))
    return tasks


def run_task(plan: Plan, task: Task) -> Outcome:
    """Drives one task to the end of the axis. Same plan and task, same outcome, wherever it runs."""
    try:
        file, scenario = _changed(plan, task)
        went = drive_whole(file, Simulation(scenario), Advised(file))
    except Exception as error:  # one drive must not take a study of thousands with it; it is counted
        return Outcome(task, failed=f"{type(error).__name__}: {error}"[:200])
    m = went.measures
    at = np.linspace(went.chainage_m[0], went.chainage_m[-1], TRACE)
    trace = np.array([np.interp(at, went.chainage_m, v) for v in (went.line_mm, went.level_mm)])
    return Outcome(
        task, scenario.ground.kind, bool(m.in_eye), m.end_line_mm, m.end_level_mm, m.worst_line_mm,
        m.worst_level_mm, m.rms_line_mm, m.rms_level_mm, m.outside_m, m.joint_mm_per_m, m.change_mm_per_m,
        m.force_kn, m.allowed_kn, m.joint_share, "", trace.round(3),
    )  # fmt: skip


def _changed(plan: Plan, task: Task) -> tuple[DriveFile, Scenario]:
    file, drive = plan.file, plan.drive
    if task.factor == "stroke":
        # whole steps of the simulation
        stroke = max(round(file.drive.stroke_m * task.level / STEP_M), 2) * STEP_M
        file = replace(file, drive=file.drive.model_copy(update={"stroke_m": stroke}))
        drive = copy.deepcopy(drive)
        drive["drive"]["stroke_m"] = stroke
    elif task.factor == "tolerance":
        t = file.tolerance
        wider = {"line_mm": t.line_mm * task.level, "level_mm": t.level_mm * task.level}
        file = replace(file, tolerance=t.model_copy(update=wider))
    scenario = draw(plan.ranges, drive, task.seed)
    if task.factor == "check spacing":
        scenario = scenario.with_(shots=replace(scenario.shots, every_m=scenario.shots.every_m * task.level))
    elif task.factor == "reference drift":
        scenario = scenario.with_(guidance=replace(scenario.guidance, reference_walk_mm_per_m=task.level))
    return file, scenario
