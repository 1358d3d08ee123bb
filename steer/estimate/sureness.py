"""How sure the estimate is against the tolerance, and when the next survey is due."""

from __future__ import annotations

from itertools import chain

import numpy as np

from steer.advice import Notice
from steer.drivefile import DriveFile
from steer.estimate.estimator import Estimator
from steer.estimate.motion import RD, RO, RR, Y
from steer.estimate.nodes import Node
from steer.estimate.unseen import going_on
from steer.text import BAND, PLANES, first_decide, within

SURVEY_SHARE = 0.25  # of the tolerance: one sd beyond this asks for a check shot
UNSURE_SHARE = 0.6  # of the tolerance: one sd beyond this is too unsure to steer by


def sureness(node: Node, drive: DriveFile, waiting: int = 0) -> tuple[list[Notice], bool]:
    """The sd against the tolerance: time for a survey, or too unsure to steer by. So many check shots `waiting` for a
    word may be all that the estimate lacks: another would not make it surer than they do."""
    _, p = node.blend()
    sd = np.sqrt(p[:, 0, 0])
    share = sd / np.array([drive.tolerance.line_mm, drive.tolerance.level_mm])
    plane = int(np.argmax(share))
    name, limit = PLANES[plane], (drive.tolerance.line_mm, drive.tolerance.level_mm)[plane]
    if share[plane] > UNSURE_SHARE:
        return [
            Notice(
                "estimate_unsure",
                f"The {name} is known to ± {within(sd[plane])} mm only (95 %), against a tolerance of {limit:.0f} mm: "
                f"too unsure to steer by. {first_decide(waiting) or 'Take a check shot.'}",
                float(node.s_m),
            )
        ], False
    if share[plane] > SURVEY_SHARE:
        return [
            Notice(
                "survey_due",
                f"The {name} is known to ± {within(sd[plane])} mm (95 %), {100 * BAND * share[plane]:.0f} % of the "
                f"tolerance{f'. {first_decide(waiting)}' if waiting else ': a check shot is due.'}",
                float(node.s_m),
            )
        ], True
    return [], True


def next_survey(node: Node, estimator: Estimator, unseen: bool = False) -> float:
    """The chainage (m) at which the sd of line or level will reach SURVEY_SHARE of the tolerance.

    With readings going on, the face is known as well as the reference is there: the growth of the
    variance of RO + RD·d + RR·d²/2 is added to today's. While the spot is `unseen`, lost or stuck, nothing ties
    the face to the reference: the estimate is carried on by what is still read.
    """
    drive, motion = estimator.drive, estimator.stack.motion
    _, p = node.blend()
    tolerance = np.array([drive.tolerance.line_mm, drive.tolerance.level_mm])
    start = drive.axis.start_chainage_m + drive.target.behind_face_m
    here = max(node.s_m - start, 0.0)
    end = max(drive.axis.end_chainage_m, node.s_m)
    if unseen:
        nodes = chain([node], going_on(node, estimator, end))
        return next(
            (n.s_m for n in nodes if (np.sqrt(n.blend()[1][:, Y, Y]) > SURVEY_SHARE * tolerance).any()), end
        )
    ahead = np.arange(0.0, end - node.s_m + 1.0, 1.0)
    index = [RO, RD, RR]

    def variance(d: np.ndarray, walk: np.ndarray) -> np.ndarray:
        row = np.stack([np.ones_like(d), d, 0.5 * d * d], -1)
        block = p[:, index][:, :, index]
        v = np.einsum("ki,pij,kj->pk", row, block, row)
        v += walk * (motion.reference_offset_noise**2 + (motion.reference_direction_noise * d) ** 2)
        return v + walk * (motion.reference_curvature_noise * 0.5 * d * d) ** 2

    grown = variance(here + ahead, ahead) - variance(np.array([here]), np.zeros(1))
    sd = np.sqrt(np.maximum(p[:, 0, 0][:, None] + grown, 0.0))
    over = (sd > SURVEY_SHARE * tolerance[:, None]).any(0)
    return float(node.s_m + ahead[int(np.argmax(over))]) if over.any() else float(end)
