"""How well line and level will be known along a drive before it begins, and which check surveys it needs.

`traverse`  what a check survey through the pipes is worth: the open traverse, the base in the shaft.
`course`    the estimator's own covariance along the drive, without data.
`joint`     the same at many places at once, so that any set of surveys costs next to nothing to try.
`planning`  the fewest surveys, and where; the probability of arriving in the eye.
`page`      the plan in words; `drawing` the standard deviations over the chainage.
"""

from __future__ import annotations

from steer.survey_plan.course import Course, Survey
from steer.survey_plan.page import finding, page
from steer.survey_plan.planning import Arrival, Source, SurveyPlan, arrival_probability, survey_plan
from steer.survey_plan.traverse import base_effect_mm, open_traverse_sd_mm, survey_of, traverse_sd_mm

__all__ = [
    "Arrival",
    "Course",
    "Source",
    "Survey",
    "SurveyPlan",
    "arrival_probability",
    "base_effect_mm",
    "finding",
    "open_traverse_sd_mm",
    "page",
    "survey_of",
    "survey_plan",
    "traverse_sd_mm",
]
