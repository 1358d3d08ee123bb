"""Check shots as a screen lists them."""

from __future__ import annotations

import numpy as np

from steer.advice import ShotView
from steer.checkshots.effect import reports
from steer.checkshots.explain import confirmed, evidence
from steer.estimate.estimator import Estimator

MOST_EXPLAINED = 20  # shots with evidence written out; more of them at once is another trouble


def shot_views(estimator: Estimator) -> tuple[ShotView, ...]:
    """The check shots as the estimate took them, by chainage."""
    views: list[ShotView] = []
    explained = 0
    for report in reports(estimator):
        shot = report.shot
        sd = np.sqrt(np.diag(report.covariance_mm2))
        figures = [float(v) if np.isfinite(v) else None for v in (*report.innovation, *report.innovation_sd)]
        told: tuple[str, ...] = ()
        sure = ""
        if report.disagrees.any() and report.reached and explained < MOST_EXPLAINED:
            explained += 1
            found, sure = evidence(estimator, report), confirmed(estimator, report)
            told = (
                f"For a survey blunder: {'; '.join(found.blunder) or 'nothing found'}.",
                f"For a moved reference: {'; '.join(found.reference) or 'nothing found'}.",
            )
        views.append(
            ShotView(
                shot.sequence, shot.s_m, shot.point, float(report.values_mm[0]), float(report.values_mm[1]),
                float(sd[0]), float(sd[1]), figures[0], figures[1], figures[2], figures[3],
                report.verdict, shot.time, told, shot.repeats, report.reached,
                shot.word == "accepted", sure,
            )
        )  # fmt: skip
    return tuple(views)
