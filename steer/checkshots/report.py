"""What check shots say, for the surveyor: each one's verdict, what moved, the reference, the next survey."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from steer.checkshots.effect import Face, reports, with_open_questions, without
from steer.checkshots.explain import Evidence, confirmed, evidence
from steer.checkshots.reference import ReferenceFound, aim, reference_found
from steer.estimate.follow import Follower
from steer.estimate.nodes import Node
from steer.estimate.shots import ShotReport
from steer.text import PLANES, SIDES, TOWARDS, TURNS, believed, decimals, within

_FURTHER = (("further right", "further left"), ("higher", "lower"))
_MOST = 12
_MOST_NUMBERS = 20
_MOST_NAMED = 5
# Verdicts in the order in which they are listed, and in words for one shot and for several.
_MORE = {
    "waiting": ("waits for a word", "wait for a word"),
    "disagrees": ("disagrees and counts", "disagree and count"),
    "rejected": ("is rejected", "are rejected"),
    "withdrawn": ("is withdrawn", "are withdrawn"),
    "agrees": ("agrees and counts", "agree and count"),
}
_ORDER = tuple(_MORE)


@dataclass(frozen=True)
class Verdict:
    """One shot and, where it disagrees, the evidence for each explanation; which shots confirm one that counts."""

    report: ShotReport
    evidence: Evidence | None
    confirmed: str = ""


@dataclass(frozen=True)
class SurveyReport:
    """`before`: the present face without the shots reported on, `without` in words; `after`: as it is estimated now."""

    verdicts: tuple[Verdict, ...]
    left_out: dict[str, list[int]]  # numbers of the shots that are not listed one by one, by verdict
    before: Face | None
    after: Face | None
    unsure: Face | None  # with the doubt that waiting shots leave; None when nothing is open
    waiting: tuple[int, ...]  # numbers of all shots that wait since they disagree
    reference: ReferenceFound | None
    setting: dict[str, float] | None  # the reference as it was set, as a reference_set line
    next_survey_m: float | None
    beam: bool
    without: str = "check shots"

    @property
    def open_shots(self) -> str:
        """The waiting shots in words."""
        some = ", ".join(map(str, self.waiting[:_MOST_NAMED]))
        return f"shot{'s' if len(self.waiting) > 1 else ''} {some}{' …' if len(self.waiting) > _MOST_NAMED else ''}"


def survey_report(
    follower: Follower, node: Node | None, numbers: Collection[int] | None, next_survey_m: float | None
) -> SurveyReport:
    """Report on these shots (None: on all). `node`: the present estimate, None before the first reading."""
    estimator = follower.estimator
    found = [r for r in reports(estimator) if numbers is None or r.shot.sequence in numbers]
    # what needs a word comes first, what agrees last
    order = sorted(found, key=lambda r: _ORDER.index(r.verdict))[:_MOST]
    listed = [r for r in found if any(r is o for o in order)]
    left_out: dict[str, list[int]] = {}
    for r in found:
        if not any(r is o for o in order):
            left_out.setdefault(r.verdict, []).append(r.shot.sequence)
    verdicts = tuple(
        Verdict(r, evidence(estimator, r) if r.disagrees.any() else None, confirmed(estimator, r))
        for r in listed
    )
    waiting = tuple(
        r.shot.sequence
        for r in reports(estimator)
        if r.verdict == "waiting" and r.reached and r.disagrees.any()
    )
    before = after = unsure = reference = None
    if node is not None:
        after = Face.of(node)
        counted = {r.shot.sequence for r in found if r.counts}
        if counted:
            # what does not count now must not begin to in their absence
            idle = {r.shot.sequence for r in reports(estimator) if not r.counts}
            bare = without(estimator, counted | idle)
            before = Face.of(bare.node_at(node.s_m + 1e-6))
        opened = with_open_questions(node, estimator)
        unsure = Face.of(opened) if opened is not node else None
        reference = reference_found(estimator, node)
    setting = follower.known.settings[-1].reference if follower.known.settings else follower.first_setting
    beam = setting.kind == "beam"
    set_at = {"right_mm": setting.right_mm, "up_mm": setting.up_mm}
    if beam:
        set_at |= {"right_mm_per_m": setting.right_mm_per_m, "up_mm_per_m": setting.up_mm_per_m}
    one = "this shot" if len(found) == 1 else "these shots"
    return SurveyReport(
        verdicts, left_out, before, after, unsure, waiting, reference,
        {"chainage_m": round(node.s_m, 3), **set_at} if node is not None else None, next_survey_m, beam,
        "check shots" if numbers is None else one,
    )  # fmt: skip


def _mm(value: float, sides: tuple[str, str], digits: int = 0) -> str:
    text = f"{abs(value):.{digits}f}"
    return f"{text} mm" if float(text) == 0.0 else f"{text} mm {sides[0] if value > 0 else sides[1]}"


def _give_or_take(value_mm: float, sd_mm: float, sides: tuple[str, str]) -> str:
    return f"{_mm(value_mm, sides, decimals(sd_mm))} ± {within(sd_mm)}"


def _turned(value_mm_per_m: float, sd_mm_per_m: float, plane: int) -> str:
    size = f"{abs(value_mm_per_m):.2f}"
    side = "" if float(size) == 0.0 else f" {TURNS[plane][0 if value_mm_per_m > 0 else 1]}"
    return f"{size} mm/m{side} ± {within(sd_mm_per_m, 2)}"


def shot_lines(verdict: Verdict) -> list[str]:
    """One shot in sentences."""
    r = verdict.report
    of = "on a pipe" if r.shot.point == "pipe" else f"of the {r.shot.point}"
    head = f"Shot {r.shot.sequence} {of} at {r.shot.s_m:.2f} m: "
    if not r.reached:
        return [head + "the face has not come there yet; it counts when the readings get there."]
    if r.shot.repeats is not None and r.verdict == "waiting":
        return [f"{head}{again(r)}"]
    end = {
        "agrees": "It agrees and counts.",
        "disagrees": believed(verdict.confirmed)
        if verdict.confirmed
        else "It DISAGREES and counts" + (", as accepted." if r.shot.word else "."),
        "waiting": "It DISAGREES and WAITS for a word; it does not count: "
        f"--accept {r.shot.sequence} or --reject {r.shot.sequence}.",
        "withdrawn": "It is withdrawn and does not count.",
        "rejected": "It is rejected and does not count.",
    }[r.verdict]
    lines = [f"{head}{_against(r)}. {end}"]
    if verdict.evidence is not None:
        for words, found in (
            ("a survey blunder", verdict.evidence.blunder),
            ("the reference moved", verdict.evidence.reference),
        ):
            lines.append(f"  for {words}: {'; '.join(found) or 'nothing found'}.")
    return lines


def _against(report: ShotReport) -> str:
    """Where the shot found the machine against the estimate: "3 mm further left (0.6 sd) than estimated, level as
    estimated (0.1 sd)"."""
    apart, alike = [], []
    for p in (0, 1):
        value, sd = report.innovation[p], report.innovation_sd[p]
        if not np.isfinite(value):
            continue
        size = _mm(value, _FURTHER[p])
        if size == "0 mm":
            alike.append(f"{PLANES[p]} as estimated ({abs(value) / sd:.1f} sd)")
        else:
            apart.append(f"{size} ({abs(value) / sd:.1f} sd)")
    told = [f"{' and '.join(apart)} than estimated"] if apart else []
    return ", ".join([*told, *alike])


def again(r: ShotReport) -> str:
    """What is asked about a shot that repeats another one."""
    n, other = r.shot.sequence, r.shot.repeats
    besides = " It DISAGREES with the estimate, too." if r.disagrees.any() else ""
    return (
        f"the same point, within 1 mm, as shot {other}. Is it that survey, given again?{besides} It WAITS for a "
        f"word; it does not count: --reject {n} if it is, --accept {n} if it was surveyed a second time."
    )


def effect_line(before: Face, after: Face, without: str) -> str:
    """How far the present face lies from where it was estimated `without` what is told of, in words."""
    moved = after.offset_mm - before.offset_mm
    parts, none = [], []
    for p in (0, 1):
        digits = decimals(after.sd_mm[p])
        by, now = _mm(moved[p], TOWARDS[p], digits), _mm(after.offset_mm[p], SIDES[p], digits)
        sd = [f"{found.sd_mm[p]:.1f}" for found in (before, after)]
        none.append(float(by.split()[0]) == 0.0)
        here = f"still {now}" if none[p] else f"by {by}, to {now}"
        parts.append(f"{PLANES[p]} {here}, sd {' to '.join(dict.fromkeys(sd))} mm")
    how = "has not moved" if all(none) else "has moved"
    return f"Against an estimate without {without}, the face's at {after.chainage_m:.2f} m {how}: {'; '.join(parts)}."


def reference_lines(found: ReferenceFound, beam: bool) -> list[str]:
    """What is known of the reference's error, and of its shape."""
    what = "beam" if beam else "reference"
    parts = [_give_or_take(found.error_mm[p], found.error_sd_mm[p], SIDES[p]) for p in (0, 1)]
    lines = [
        f"The {what} at the target, {found.distance_m:.0f} m in: {' and '.join(parts)} of where it was set."
    ]
    if beam and found.distance_m > 1.0:
        turn = [_turned(v, found.direction_sd_mm_per_m[p], p) for p, v in enumerate(found.direction_mm_per_m)]
        offset = [_give_or_take(v, found.offset_sd_mm[p], SIDES[p]) for p, v in enumerate(found.offset_mm)]
        lines.append(f"  at the start: {' and '.join(offset)}; direction {' and '.join(turn)}.")
    if found.shape is not None:
        lines.append(f"  its error by the shots: line, {found.shape[0]}; level, {found.shape[1]}.")
    return lines


def turn_text(found: ReferenceFound) -> str:
    """By how much to turn the beam at the shaft, for it to strike the target where its line asks."""
    away = max(found.distance_m, 1.0)
    return " and ".join(_turned(-found.error_mm[p] / away, found.error_sd_mm[p] / away, p) for p in (0, 1))


def knock_text(found: ReferenceFound) -> str:
    """Why the beam must not be turned yet, empty where nothing speaks against it."""
    if found.knocked_m is None:
        return ""
    return (
        f"The target was probably knocked at {found.knocked_m:.1f} m, and this may be its place and not the beam's: check "
        "its mount before the beam is turned."
    )


def aim_lines(found: ReferenceFound, setting: dict[str, float]) -> list[str]:
    """How to bring the beam back onto its line, and what to enter then."""
    if not found.worth_setting:
        return ["The beam need not be set anew: its error does not stand out of its uncertainty."]
    if doubt := knock_text(found):
        return [doubt]
    found_aim = aim(found, setting)
    move = [
        _give_or_take(v, found.error_sd_mm[p], TURNS[p]) for p, v in enumerate(found_aim.move_mm.tolist())
    ]
    out = [
        f"To aim it again: turn it at the shaft by {turn_text(found)}; at the target, {found.distance_m:.0f} m in, "
        f"that brings it {' and '.join(move)}, onto its line there. Left as it is, it is allowed for."
    ]
    off = [
        _give_or_take(v, found.offset_sd_mm[p], SIDES[p])
        for p, v in enumerate(found_aim.starts_off_mm.tolist())
        if v
    ]
    if off:
        out.append(f"  It then still starts {' and '.join(off)} of where it was set: the line below says so.")
    line = json.dumps({"kind": "reference_set", **found_aim.setting})
    return [*out, "Once it is set, give this to `steer feed` (the values as really set):", f"  {line}"]


def _more(verdict: str, numbers: list[int]) -> str:
    """How many more have this verdict, and which, but for those that need nobody."""
    one, many = _MORE[verdict]
    what = f"and one more that {one}" if len(numbers) == 1 else f"and {len(numbers)} more that {many}"
    if verdict == "agrees":
        return f"{what}."
    some = ", ".join(map(str, numbers[:_MOST_NUMBERS]))
    return f"{what}: {some}{' …' if len(numbers) > _MOST_NUMBERS else ''}."


def lines(report: SurveyReport) -> list[str]:
    """The whole report, a sentence or two a line, not wrapped."""
    out: list[str] = []
    for verdict in report.verdicts:
        out += shot_lines(verdict)
    for verdict_word in _ORDER:
        if numbers := report.left_out.get(verdict_word):
            out.append(_more(verdict_word, numbers))
    if report.before is not None and report.after is not None:
        out.append(effect_line(report.before, report.after, report.without))
    elif report.after is not None:
        parts = [
            f"{PLANES[p]} {_mm(report.after.offset_mm[p], SIDES[p])}, sd {report.after.sd_mm[p]:.1f} mm"
            for p in (0, 1)
        ]
        out.append(f"The face's estimate at {report.after.chainage_m:.2f} m: {'; '.join(parts)}.")
    if report.unsure is not None:
        sd = " and ".join(f"{PLANES[p]} {report.unsure.sd_mm[p]:.0f} mm" for p in (0, 1))
        out.append(f"With the question of {report.open_shots} open, its sd is {sd}.")
    if report.reference is not None and report.setting is not None:
        out += reference_lines(report.reference, report.beam)
        if report.beam and report.reference.distance_m > 5.0:
            if report.unsure is not None and not report.reference.worth_setting:
                out.append(f"Whether the beam must be set anew hangs on {report.open_shots}.")
            else:
                out += aim_lines(report.reference, report.setting)
    if report.next_survey_m is not None and report.after is not None:
        out.append(next_line(report.next_survey_m, report.after.chainage_m))
    return out


def next_line(next_survey_m: float, face_m: float) -> str:
    """When the next check shot is due, both chainages in m."""
    left = next_survey_m - face_m
    if left <= 0.05:
        return "The next check shot is due now."
    return f"The next check shot is due by {next_survey_m:.0f} m, in {left:.0f} m."


def page(report: SurveyReport, width: int = 80) -> str:
    """The report wrapped for a terminal; the JSON line stays whole."""
    rows: list[str] = []
    for line in lines(report):
        indent = "    " if line.startswith("  ") else "  "
        rows += (
            [line] if line.lstrip().startswith("{") else textwrap.wrap(line, width, subsequent_indent=indent)
        )
    return "\n".join(rows)
