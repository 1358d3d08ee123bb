"""A shot that disagrees: a survey blunder, or the reference moved; the evidence for each."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

import numpy as np

from steer.checkshots.effect import reports
from steer.checkshots.reference import BENDING_MM_PER_M2, MOST_GRADIENT_K_PER_M
from steer.estimate.estimator import Estimator
from steer.estimate.findings.reference import at_target, jumps
from steer.estimate.nodes import Setting, cells_of
from steer.estimate.shots import Shot, ShotReport

_EVEN_MM = (20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)  # slips of a digit or of a rod
_MOST_NAMED = 3
_NEAR_M = 0.5  # shots this close saw the machine in one place


@dataclass(frozen=True)
class Evidence:
    """Sentences for each of the two explanations; one may be empty."""

    blunder: tuple[str, ...]
    reference: tuple[str, ...]


def evidence(estimator: Estimator, report: ShotReport) -> Evidence:
    """What speaks for a survey blunder and what for a moved reference."""
    blunder: list[str] = list(_slips(report, estimator))
    moved: list[str] = []
    all_reports = [r for r in reports(estimator) if not _given_again(r.shot, report.shot)]
    s = report.shot.s_m
    agreed = [r for r in all_reports if r.verdict == "agrees" and r.shot is not report.shot]
    before = max((r.shot.s_m for r in agreed if r.shot.s_m < s - _NEAR_M), default=None)
    since = estimator.axis.start_chainage_m if before is None else before
    since_words = "the start" if before is None else f"the last shot that agreed, at {before:.1f} m"
    jumped = [
        (n.s_m, channels) for n, _, channels in jumps(cells_of(estimator.nodes), since) if n.s_m <= s + 1e-6
    ]
    if jumped and jumped[0][1][2:].any():
        moved.append(
            f"spot and heading jumped together at {jumped[0][0]:.1f} m: rather the target, probably knocked there"
        )
    elif jumped:
        moved.append(f"the spot jumped at {jumped[0][0]:.1f} m and stayed")
    else:
        blunder.append(f"the spot has not jumped since {since_words}; a slow turn would not show as a jump")
    size = np.where(report.disagrees, np.abs(np.nan_to_num(report.innovation)), 0.0)
    distance = max(s - estimator.drive.target.behind_face_m - estimator.axis.start_chainage_m, 0.0)
    if distance > 1.0:
        most = float(size.max())
        gradient = most / (0.5 * distance**2 * BENDING_MM_PER_M2)
        turn = most / distance
        if gradient <= MOST_GRADIENT_K_PER_M:
            moved.append(f"refraction by {gradient:.1f} K/m across the beam would do it")
        sd = estimator.stack.priors.reference_direction
        if turn <= 6.0 * sd + 0.05:
            moved.append(
                f"a beam turned at the shaft by only {turn:.2f} mm/m would explain this shot by itself"
            )
        else:
            blunder.append(
                f"for this shot by itself the beam would have to have turned by {turn:.2f} mm/m or shifted by {most:.0f} mm"
            )
    same = _some(r for r in all_reports if r.shot is not report.shot and _says_the_same(r, report))
    if same:
        moved.append(f"{_names(same)} {_verb(same, 'says', 'say')} the same")
    near = [r for r in agreed if abs(r.shot.s_m - s) <= _NEAR_M]
    if confirming := [r for r in near if _found_alike(r, report)]:
        moved.append(f"{_names(confirming)} at the same place {_verb(confirming, 'confirms', 'confirm')} it")
    if against := [r for r in near if not _found_alike(r, report)]:
        blunder.append(
            f"{_names(against)} at the same place {_verb(against, 'agrees', 'agree')} with the estimate"
        )
    other = [
        r
        for r in all_reports
        if r.shot is not report.shot
        and r.shot.point == report.shot.point
        and r.verdict in ("waiting", "disagrees")
        and abs(r.shot.s_m - s) <= _NEAR_M
        and not _says_the_same(r, report)
    ]
    if other:
        blunder.append(f"{_names(other)} at the same place {_verb(other, 'does', 'do')} not confirm it")
    blunder += _even_amounts(report, other)
    later = [r for r in agreed if r.shot.s_m > s + _NEAR_M]
    if later and report.counts:  # the estimate that they agree with has taken it in
        moved.append(f"{_names(later)} further on {_verb(later, 'agrees', 'agree')}, now that it counts")
    elif later:
        blunder.append(f"{_names(later)} further on {_verb(later, 'agrees', 'agree')} with the estimate")
    return Evidence(tuple(blunder), tuple(moved))


def confirmed(estimator: Estimator, report: ShotReport) -> str:
    """Which shots confirm one that disagreed and counts, in words (`shot 9 (at 60.3 m) agrees`): another at the same
    place found the same; or one further on, before the reference was set anew, agrees and leaves the reference at
    least half as far off as this one put it. Empty where none does: once it was opened for a blunder, sound shots
    agree too, but they bring it back."""
    if not report.opened:
        return ""
    s, off = report.shot.s_m, report.disagrees
    until = min(
        (i.s_m for i in estimator.items if isinstance(i, Setting) and i.s_m > s + 1e-6), default=math.inf
    )
    at = next(i for i, node in enumerate(estimator.nodes) if node.report is report)
    before = estimator.nodes[at - 1] if at else estimator.start
    found: list[ShotReport] = []
    for node in estimator.nodes:
        if len(found) > _MOST_NAMED:
            break
        r = node.report
        if (
            not isinstance(r, ShotReport)
            or r is report
            or r.verdict != "agrees"
            or _given_again(r.shot, report.shot)
        ):
            continue
        if abs(r.shot.s_m - s) <= _NEAR_M:
            alike = _found_alike(r, report)
        else:
            then, now = (at_target(known, estimator.drive, node.s_m)[1] for known in (before, node))
            moved = (now - then)[off]
            alike = s < r.shot.s_m <= until and bool((moved / report.innovation[off] >= 0.5).all())
        if alike and bool((2.0 * r.innovation_sd[off] < np.abs(report.innovation[off])).all()):
            found.append(r)
    return f"{_names(found)} {_verb(found, 'agrees', 'agree')}" if found else ""


def _names(found: list[ShotReport]) -> str:
    text = ", ".join(f"{r.shot.sequence} (at {r.shot.s_m:.1f} m)" for r in found[:_MOST_NAMED])
    return _verb(found, "shot ", "shots ") + text + (" and others" if len(found) > _MOST_NAMED else "")


def _some(found: Iterable[ShotReport]) -> list[ShotReport]:
    """As many as `_names` asks for: of thousands the others need not be compared."""
    return list(islice(found, _MOST_NAMED + 1))


def _verb(found: list[ShotReport], one: str, several: str) -> str:
    return one if len(found) == 1 else several


def _given_again(one: Shot, other: Shot) -> bool:
    """Whether one of the two is asked about as the other one given again: it confirms nothing."""
    return any(
        a.word != "accepted" and a.repeats is not None and a.repeats in (b.sequence, b.repeats)
        for a, b in ((one, other), (other, one))
        if a is not b
    )


def _says_the_same(other: ShotReport, report: ShotReport) -> bool:
    """Disagrees in the same planes to the same side by a like amount."""
    if not (other.disagrees & report.disagrees).any():
        return False
    both = np.isfinite(other.innovation) & np.isfinite(report.innovation)
    sd = np.sqrt(np.diag(report.covariance_mm2) + np.diag(other.covariance_mm2) + 9.0)
    apart = np.abs(np.where(both, other.innovation - report.innovation, 0.0))
    # a turned beam errs more the further on
    room = 3.0 * sd + 0.35 * np.abs(np.nan_to_num(report.innovation))
    return bool((apart <= room).all())


def _found_alike(other: ShotReport, report: ShotReport) -> bool:
    """Both found the machine in the same place, whatever the estimate said: within 3 sd in every plane."""
    apart = np.abs(other.values_mm - report.values_mm)
    sd = np.sqrt(np.diag(report.covariance_mm2) + np.diag(other.covariance_mm2))
    known = np.isfinite(apart)
    return bool(known.any() and (apart[known] <= 3.0 * sd[known]).all())


def _even_amounts(report: ShotReport, others: list[ShotReport]) -> list[str]:
    """An even amount on one plane that would make it agree, with the estimate or a shot of the same place."""
    apart = [(report.innovation, report.innovation_sd)]
    for r in others:
        if np.linalg.norm(report.innovation) < np.linalg.norm(r.innovation):
            continue  # the other one is the odd one
        sd = np.sqrt(np.diag(report.covariance_mm2) + np.diag(r.covariance_mm2))
        apart.append((report.values_mm - r.values_mm, sd))
    for difference, sd in apart:
        if not np.isfinite(difference).all():
            continue
        for plane in (0, 1):
            for even in _EVEN_MM:
                left = difference.copy()
                left[plane] -= math.copysign(even, left[plane])
                if even > 6.0 * sd[plane] and (np.abs(left) <= 2.0 * sd).all():
                    less = "less" if difference[plane] > 0 else "more"
                    return [f"with {even:g} mm {less} on {('line', 'level')[plane]} it would agree"]
    return []


def _slips(report: ShotReport, estimator: Estimator) -> list[str]:
    """Slips of the pen that would make it agree."""
    values = report.values_mm
    predicted = values - report.innovation
    known = np.isfinite(values)
    if not known.any():
        return []
    tried = {
        "with the line's sign changed it would agree": values * [-1.0, 1.0],
        "with the level's sign changed it would agree": values * [1.0, -1.0],
        "with both signs changed it would agree": -values,
        "with line and level changed over it would agree": values[::-1],
        "ten times smaller it would agree": values / 10.0,
        "ten times larger it would agree": values * 10.0,
    }
    target = estimator.drive.target
    for arm, words in (
        (np.array([target.right_mm, target.up_mm]), "the target's lever arm"),
        (report.arm_taken_mm, "the lever arm once more"),
    ):
        if np.linalg.norm(arm) > 20.0:
            tried[f"with {words} taken off it would agree"] = values - arm
            tried[f"with {words} added it would agree"] = values + arm
    found = []
    for words, other in tried.items():
        if (np.abs(other[known] - predicted[known]) <= 2.0 * report.innovation_sd[known]).all():
            found.append(words)
    return found[:2]
