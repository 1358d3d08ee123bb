"""After the drive: what was done against the proposals followed and against about the best possible.

All three drive the same ground with the same noise, which depend on the seed and not on the steering.
The offsets are true ones: the practice ground knows where the machine was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from steer.closed_loop import Advised, Driven, Measures, drive_whole
from steer.closed_loop.whole import articulation_set, driven, largest_force
from steer.drive import Drive
from steer.drivefile import DriveFile
from steer.ground import Simulation
from steer.ground.informed import Informed
from steer.practice.session import Session
from steer.says import turned

MOST_APART = 3


@dataclass(frozen=True)
class Apart:
    """A stroke whose setting was far from what was proposed for it; mm/m, (right, up)."""

    stroke: int
    chainage_m: float
    own: tuple[float, float]
    proposed: tuple[float, float]


@dataclass(frozen=True)
class Debrief:
    """Three drives of the same ground, as far as the person came, and where own and proposed differed most."""

    strokes: int
    own: Driven
    proposed: Driven
    best: Driven
    apart: tuple[Apart, ...]


def debrief(session: Session, told: Callable[[str, int, int], None] | None = None) -> Debrief:
    """Drives the same ground twice more; `told(what, stroke, strokes)` hears how far it is."""
    file, scenario, count = session.drive.file, session.scenario, len(session.set_mm)

    def hear(what: str) -> Callable[[int], None] | None:
        return None if told is None else lambda stroke: told(what, stroke, count)

    own = _again(file, Simulation(scenario), session.set_mm)
    proposed = drive_whole(file, Simulation(scenario), Advised(file), count, hear("the proposals followed"))
    best_ground = Simulation(scenario)
    # Knowing what comes it can return sooner than others dare: at the usual distances the proposals beat it at times.
    told_all = Informed(best_ground, return_lengths=0.25, return_strokes=0.7, foreseen=True)
    best = drive_whole(file, best_ground, told_all, count, hear("about the best possible"))
    return Debrief(count, own, proposed, best, _apart(session.drive, own))


def _again(file: DriveFile, simulation: Simulation, set_mm: list[np.ndarray]) -> Driven:
    held, force = [], largest_force(simulation.start())
    for wanted in set_mm:
        held.append(articulation_set(file, wanted, simulation.roll_deg))
        force = largest_force(simulation.advance(wanted), force)
    return driven(file, simulation, np.array(held).reshape(-1, 2), force)


def _apart(drive: Drive, own: Driven) -> tuple[Apart, ...]:
    """Proposals are those that were stored at the strokes' ends; the first stroke has none stored."""
    found = []
    for event in drive.events():
        if event.kind != "advised":
            continue
        stroke = int(event.body["stroke"])
        if stroke >= len(own.articulation):
            continue
        right, up = (float(v) for v in own.articulation[stroke])
        proposed = (float(event.body["right_mm_per_m"]), float(event.body["up_mm_per_m"]))
        found.append(Apart(stroke + 1, float(event.body["chainage_m"]), (right, up), proposed))
    found.sort(key=lambda a: -float(np.hypot(a.own[0] - a.proposed[0], a.own[1] - a.proposed[1])))
    return tuple(a for a in found[:MOST_APART] if _distance(a) >= 0.5)


def _distance(apart: Apart) -> float:
    return float(np.hypot(apart.own[0] - apart.proposed[0], apart.own[1] - apart.proposed[1]))


def report(file: DriveFile, found: Debrief) -> list[str]:
    """The debrief for a person, lines of at most 79 characters."""
    three = (found.own.measures, found.proposed.measures, found.best.measures)
    eye = file.tolerance.eye or file.tolerance
    strokes = "stroke" if found.strokes == 1 else "strokes"
    lines = [
        f"After {found.strokes} {strokes}, at {found.own.chainage_m[-1]:.2f} m, on the same ground:",
        "",
        f"{'':<36}{'you':>12}{'proposals':>14}{'best':>14}",
    ]

    def row(label: str, unit: str, value: Callable[[Measures], float], digits: int) -> None:
        figures = [value(m) for m in three]
        shown = ["-" if np.isnan(v) else f"{v:.{digits}f}" for v in figures]
        lines.append(f"{label + ', ' + unit:<36}{shown[0]:>12}{shown[1]:>14}{shown[2]:>14}")

    row("line, root mean square", "mm", lambda m: m.rms_line_mm, 1)
    row("level, root mean square", "mm", lambda m: m.rms_level_mm, 1)
    row(f"line, worst (tolerance {file.tolerance.line_mm:g})", "mm", lambda m: m.worst_line_mm, 0)
    row(f"level, worst (tolerance {file.tolerance.level_mm:g})", "mm", lambda m: m.worst_level_mm, 0)
    row("outside tolerance", "m", lambda m: m.outside_m, 1)
    limit = file.pipe.max_joint_angle_mm_per_m
    row(f"largest joint angle (limit {limit:g})", "mm/m", lambda m: m.joint_mm_per_m, 1)
    row("change of steering a stroke", "mm/m", lambda m: m.change_mm_per_m, 1)
    row("largest jacking force", "kN", lambda m: m.force_kn, 0)
    if not np.isnan(three[0].allowed_kn):
        row("force that the worst joint allows", "kN", lambda m: m.allowed_kn, 0)
        row("most used of a joint's force", "%", lambda m: 100.0 * m.joint_share, 0)
    if three[0].in_eye is not None:
        words = ["yes" if m.in_eye else "no" for m in three]
        label = f"arrived within {eye.line_mm:g} and {eye.level_mm:g} mm"
        lines.append(f"{label:<36}{words[0]:>12}{words[1]:>14}{words[2]:>14}")
    lines += [
        "",
        "proposals: each one set as proposed. best: about the best possible, steered by",
        "one who is told the ground to come. Ground and figures are invented.",
    ]
    if not np.isnan(three[0].allowed_kn):
        lines += [
            "Bends cost force twice: turned joints press pipes against the ground, and",
            "each allows less the more it is turned. Used: a joint's own force over that.",
        ]
    if found.apart:
        lines += ["", "Where you went furthest from the proposal of the moment:"]
        for a in found.apart:
            lines += [
                f"  stroke {a.stroke} at {a.chainage_m:.1f} m: you {turned(*a.own)};",
                f"  {'':<10}proposed {turned(*a.proposed)}",
            ]
    return lines
