"""The plan in words: each source alone, all together, the surveys, and what was assumed."""

from __future__ import annotations

import textwrap

from steer.feasibility.findings import Finding, Verdict
from steer.survey_plan.course import READING_EVERY_M
from steer.survey_plan.planning import LONGEST_M, Arrival, SurveyPlan

TOO_LONG = f"Left out: the survey plan is made for drives of up to {LONGEST_M / 1000:g} km."


def page(plan: SurveyPlan | None, width: int = 80) -> list[str]:
    """Lines for a person; None (no plan) says so."""
    if plan is None:
        return [TOO_LONG]
    lines = [f"{'Each source alone, at the end (1 sd)':<44}{'line':>10}{'level':>10}"]
    lines += [
        f"  {source.name:<42}{_cell(source.line_mm):>10}{_cell(source.level_mm):>10}"
        for source in plan.sources
    ]
    for text in _paragraphs(plan):
        lines += textwrap.wrap(text, width)
    return lines


def mm(value: float) -> str:
    """A standard deviation with two figures at most."""
    return f"{value:.1f} mm" if value < 9.95 else f"{value:.0f} mm"


def percent(probability: float) -> str:
    """Whole percent, cut and not rounded, so that it never claims a limit that was missed."""
    if probability >= 0.99:
        return "over 99 %"
    return f"{int(100.0 * probability)} %" if probability >= 0.01 else "under 1 %"


def finding(plan: SurveyPlan) -> Finding:
    """The plan as one line of the feasibility page: the chance to miss the eye, in %."""
    out, number = 100.0 * (1.0 - plan.arrival_with.probability), len(plan.surveys)
    at = ", ".join(f"{s.chainage_m:.0f}" for s in plan.surveys)
    surveys = f"with {number} check survey{'' if number == 1 else 's'}, at chainage {at} m" if number else ""
    verdict: Verdict
    if not plan.enough:
        verdict = "not possible"
        text = f"{surveys or 'no check survey helps'}: the best that was found; see the survey plan below"
    elif plan.surveys:
        verdict, text = (
            "with surveys",
            f"{surveys}; without any, {100 * (1 - plan.arrival_without.probability):.0f} %",
        )
    elif plan.doubtful_from_m is not None:
        verdict, text = (
            "with surveys",
            f"inside its tolerance from {plan.doubtful_from_m:.0f} m on only with a check survey",
        )
    else:
        verdict, text = "possible", "without any check survey, as long as every value of [sd] holds"
    return Finding("Missing the eye", out, 100.0 * (1.0 - plan.wanted), "%", verdict, text)


def _cell(value: float | None) -> str:
    return "-" if value is None else mm(value)


def _out(arrival: Arrival) -> str:
    return (
        f"line {mm(arrival.line_sd_mm)}, level {mm(arrival.level_sd_mm)} (1 sd) where the face comes out, "
        f"inside the eye with a probability of {percent(arrival.probability)}"
    )


def _paragraphs(plan: SurveyPlan) -> list[str]:
    eye = f"{plan.eye_mm[0]:g} mm right or left, {plan.eye_mm[1]:g} mm high or low"
    wanted = f"{100 * plan.wanted:.0f} %"
    found = []
    if plan.anew_m:
        number = len(plan.anew_m)
        at = ", ".join(f"{m:.0f}" for m in plan.anew_m[:6]) + (" …" if number > 6 else "")
        found.append(
            f"The reference is set anew {'once' if number == 1 else f'{number} times'}, before the target is at "
            f"chainage {at} m: each time in place and direction from a traverse and levels of its own, which every "
            "reading from there on carries (settings that share stations err alike: then it is known less well than "
            "this). Above: of the last of them."
        )
    found += [f"Without check surveys: {_out(plan.arrival_without)} ({eye})."]
    if not plan.surveys and plan.enough:
        found.append(
            f"No check survey is needed for {wanted}, as long as every value of [sd] holds. Only a check "
            "survey shows that one does not: make one early and one before the last "
            f"{plan.without.chainage_m[-1] - plan.latest_m:.0f} m all the same."
        )
    elif plan.surveys:
        number = len(plan.surveys)
        at = "; ".join(
            f"at chainage {s.chainage_m:.0f} m (line {mm(s.line_sd_mm)}, level {mm(s.level_sd_mm)}, 1 sd)"
            for s in plan.surveys
        )
        fewest = f"Fewest check surveys for {wanted}" if plan.enough else "Check surveys that help most"
        found.append(f"{fewest}: {number}, {at}. With {'it' if number == 1 else 'them'}: "
                     f"{_out(plan.arrival_with)}.")  # fmt: skip
    if not plan.enough:
        found.append(f"No set of check surveys reaches {wanted}: {_limits(plan)}.")
    doubtful, tolerance = plan.doubtful_from_m, plan.tolerance_mm
    if doubtful is not None:
        found.append(
            f"On the way: from chainage {doubtful:.0f} m the face is inside its tolerance "
            f"({tolerance[0]:g} mm right or left, {tolerance[1]:g} mm high or low) with less than {wanted}"
            f"{', for a while at least, with these surveys too' if plan.surveys else ''}: make one before."
        )
    if plan.base_sd_mm_per_m is None:
        span = plan.without.chainage_m[-1] - plan.without.chainage_m[0]
        found.append(
            "The control in the shaft is taken as free of error ([survey] base_m and base_mark_sd_mm would "
            f"count it): 0.1 mm between the marks of a base of 6 m turns the end by {mm(span / 60.0)}."
        )
    found.append(
        "Taken for it: a check survey of the face is a traverse of its own from the shaft, sights of up to "
        f"{plan.leg_m:.0f} m, and levels ([survey]; at the end line {mm(plan.survey_at_end.line_sd_mm)}, "
        f"level {mm(plan.survey_at_end.level_sd_mm)}, 1 sd); a reading every {READING_EVERY_M:g} m; the machine "
        "steered to the axis as far as it is known; normal errors, no blunder. It replaces neither the "
        "surveyor's own network design nor the project specification."
    )
    return found


def _limits(plan: SurveyPlan) -> str:
    base = plan.base_sd_mm_per_m
    if base and plan.base_needed_mm_per_m is not None:
        return (
            f"the base in the shaft, good to {base:.2g} mm/m, is in all of them. A base good to "
            f"{plan.base_needed_mm_per_m:.2g} mm/m would do: a longer one, better marks, or a direction from "
            "outside (a second shaft, a gyrotheodolite)"
        )
    return "better instruments, a wider eye, or the reference nearer to the face must help"
