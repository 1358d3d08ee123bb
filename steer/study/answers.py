"""What a study answers, each figure with its 95 % confidence interval."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from steer.drivefile import DriveFile
from steer.study.intervals import bootstrap, wilson
from steer.study.ranges import Ranges
from steer.study.task import Outcome

FEW = 30  # drives below which the answer says that they are few


@dataclass(frozen=True)
class Figure:
    """A value with the ends of its interval."""

    what: str
    unit: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Effect:
    """What changing one thing does on the same grounds: values at the level, and differences to as planned."""

    factor: str
    level: str
    drives: int
    figures: tuple[Figure, ...]  # differences


@dataclass(frozen=True)
class Answers:
    """`planned` counts drives as planned, `failed` those that gave no figures (of any kind)."""

    drives: int
    failed: int
    planned: tuple[Figure, ...]
    effects: tuple[Effect, ...]


def answer(file: DriveFile, outcomes: Sequence[Outcome]) -> Answers:
    """Count outcomes; their order does not matter."""
    good = sorted((o for o in outcomes if not o.failed), key=lambda o: o.task.index)
    base = [o for o in good if not o.task.factor]
    by_seed = {o.task.seed: o for o in base}
    effects = []
    for factor, level in dict.fromkeys((o.task.factor, o.task.level) for o in good if o.task.factor):
        pairs = [
            (by_seed[o.task.seed], o)
            for o in good
            if (o.task.factor, o.task.level) == (factor, level) and o.task.seed in by_seed
        ]
        if pairs:
            effects.append(_effect(file, factor, level, pairs))
    return Answers(len(base), sum(bool(o.failed) for o in outcomes), _planned(file, base), tuple(effects))


def _planned(file: DriveFile, base: list[Outcome]) -> tuple[Figure, ...]:
    if not base:
        return ()
    n = len(base)
    joint = np.array([o.joint_mm_per_m for o in base])
    limit = file.pipe.max_joint_angle_mm_per_m
    arrived = sum(o.in_eye for o in base)
    over = int(np.sum(joint > limit))
    left = sum(o.outside_m > 0.0 for o in base)  # resampling zeros gives no interval; counting them does
    figures = [
        Figure("probability of arriving in the eye", "", arrived / n, *wilson(arrived, n)),
        Figure("probability of leaving tolerance anywhere", "", left / n, *wilson(left, n)),
        _mean("metres outside tolerance, expected", "m", [o.outside_m for o in base]),
        _mean("largest joint angle, mean over drives", "mm/m", joint),
        Figure("largest joint angle, 95 % of drives below", "mm/m", *_high(joint)),
        Figure(f"probability of a joint angle over {limit:g} mm/m", "", over / n, *wilson(over, n)),
        _mean("line, root mean square", "mm", [o.rms_line_mm for o in base]),
        _mean("level, root mean square", "mm", [o.rms_level_mm for o in base]),
    ]
    if not np.isnan(share := np.array([o.joint_share for o in base])).any():
        strained = int(np.sum(share > 1.0))
        figures += [
            _mean("most used of a joint's force, mean over drives", "%", 100.0 * share),
            Figure(
                "probability that a joint carries more than it may", "", strained / n, *wilson(strained, n)
            ),
        ]
    return tuple(figures)


def _high(values: np.ndarray) -> tuple[float, float, float]:
    def high(rows: np.ndarray, axis: int) -> np.ndarray:
        found: np.ndarray = np.quantile(rows, 0.95, axis=axis)
        return found

    return (float(np.quantile(values, 0.95)), *bootstrap(values, high))


def _mean(what: str, unit: str, values: Sequence[float] | np.ndarray) -> Figure:
    found = np.asarray(values, float)
    return Figure(what, unit, float(found.mean()), *bootstrap(found))


def _effect(file: DriveFile, factor: str, level: float, pairs: list[tuple[Outcome, Outcome]]) -> Effect:
    def apart(what: str, unit: str, value: Callable[[Outcome], float]) -> Figure:
        found = np.array([value(b) - value(a) for a, b in pairs])
        if np.ptp(found) == 0.0:  # resampling equal values would claim certainty
            return Figure(what, unit, float(found[0]), float("nan"), float("nan"))
        return _mean(what, unit, found)

    return Effect(
        factor, level_words(file, factor, level), len(pairs),
        (
            apart("arriving in the eye", "", lambda o: float(o.in_eye)),
            apart("outside tolerance", "m", lambda o: o.outside_m),
            apart("joint angle", "mm/m", lambda o: o.joint_mm_per_m),
            apart("rms", "mm", lambda o: float(np.hypot(o.rms_line_mm, o.rms_level_mm) / np.sqrt(2.0))),
        ),
    )  # fmt: skip


def level_words(file: DriveFile, factor: str, level: float) -> str:
    """A level as people say it."""
    if factor == "stroke":
        return f"{file.drive.stroke_m * level:.2f} m"
    if factor == "tolerance":
        return f"{file.tolerance.line_mm * level:g}/{file.tolerance.level_mm * level:g} mm"
    if factor == "reference drift":
        return "none" if level == 0 else f"{level:g} mm/m"
    return "half" if level == 0.5 else "double" if level == 2.0 else f"times {level:g}"


def _drives(count: int) -> str:
    return f"{count} drive" if count == 1 else f"{count} drives"


def report(answers: Answers, ranges: Ranges | None = None) -> list[str]:
    """The answers for a person, lines of at most 80 characters; `ranges`: what the drives were drawn from."""
    lines = [f"{_drives(answers.drives)} as planned; value and 95 % confidence interval:"]
    for f in answers.planned:
        digits = 3 if f.unit == "" else 1
        unit = f" {f.unit}" if f.unit else ""
        lines.append(f"  {f.what:<52}{f.value:>8.{digits}f}  {f.low:.{digits}f} to {f.high:.{digits}f}{unit}")
    if answers.effects:
        lines += [
            "",
            "Effect of changing one thing on the same grounds (difference, and its 95 %):",
            f"  {'':<26}{'in the eye':>13}{'outside, m':>13}{'joint, mm/m':>13}{'rms, mm':>13}",
        ]
        for e in answers.effects:
            lines.append(
                f"  {f'{e.factor} {e.level}':<26}"
                + "".join(f"{f.value:>+13.{2 if f.unit == '' else 1}f}" for f in e.figures)
            )
            cells = [
                "none differs"
                if np.isnan(f.low) and f.value == 0.0
                else "-"
                if np.isnan(f.low)
                else f"{f.low:+.{2 if f.unit == '' else 1}f}..{f.high:+.{2 if f.unit == '' else 1}f}"
                for f in e.figures
            ]
            lines.append(f"    {_drives(e.drives):<24}" + "".join(f"{c:>13}" for c in cells))
    if answers.failed:
        lines += ["", f"{answers.failed} drives failed and count nowhere; the CSV says why."]
    if answers.drives < FEW:
        lines += ["", f"{answers.drives} drives are few: read the intervals, not the values."]
    if ranges is not None and any("joint carries" in f.what for f in answers.planned):
        low, high = ranges.friction_kpa
        lines += [
            "",
            f"Joints: friction drawn from {low:g} to {high:g} kPa, lubricated; the force at each joint",
            "at the end of the drive against what drive.toml's packer allows at its angle.",
        ]
    lines += [
        "",
        "Counted on drawn grounds, not on yours: the ranges are assumptions, and every",
        "proposal is set as proposed. It supports the engineer's judgement, no more.",
    ]
    return lines
