"""`steer reduce`: adjusts total-station observations and prints coordinates, residuals and tests."""

from __future__ import annotations

import argparse
import json
import math
from typing import Any

from steer.errors import CommandLineWrong, InputRefused
from steer.survey import ReducedNetwork, reduce_network
from steer.survey.files import near_misses, read_survey
from steer.survey.network import USUAL_REFRACTION
from steer.survey.sheet import sheet


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("observations", metavar="OBSERVATIONS.csv", help="one sight a row")
    parser.add_argument("--control", metavar="CONTROL.csv", required=True, help="the known points")
    parser.add_argument(
        "--refraction",
        metavar="K",
        default=str(USUAL_REFRACTION),
        help=f"refraction coefficient for zenith angles, {USUAL_REFRACTION} unless said; "
        "'none' leaves out earth curvature and refraction",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object instead of tables")
    parser.epilog = (
        "Standard deviations are computed from the given ones (a priori). A distance's is the root of the "
        "squares of its mm and ppm parts. A residual is adjusted minus observed. Points need no approximate "
        "coordinates."
    )


def run(args: argparse.Namespace) -> int:
    refraction = refraction_of(args.refraction)
    survey = read_survey(args.observations, args.control)
    try:
        network = reduce_network(survey.observations, survey.control, refraction)
    except InputRefused as problem:
        raise InputRefused(
            [
                *(f"{args.observations}: {line}" for line in problem.problems),
                *near_misses(survey.observations, survey.control),
            ]
        ) from None
    if args.json:
        print(json.dumps(as_json(network), allow_nan=False, ensure_ascii=False))
    else:
        close = [m for m in near_misses(survey.observations, survey.control) if "did you mean" in m]
        print(sheet(network, [*survey.remarks, *close]))
    return 0


def as_json(network: ReducedNetwork) -> dict[str, Any]:
    """The contract's object. A level that the sights do not give is null, with its row and column."""
    found: dict[str, Any] = {
        "points": [],
        "residuals": [
            {
                "row": r.row,
                "station": r.station,
                "target": r.target,
                "observation": r.observation,
                "residual": round(r.residual, 5),
                "unit": r.unit,
                "standardised": _rounded(r.standardised, 4),
                "redundancy": round(r.redundancy, 6),
                "suspect": r.suspect,
            }
            for r in network.residuals
        ],
        "degrees_of_freedom": network.degrees_of_freedom,
        "variance_factor": network.variance_factor,
        "global_test": {"passed": network.passed, "probability": network.probability},
        "suspect_rows": list(network.suspect_rows),
        "control_residuals": [
            {
                "point": c.point,
                "coordinate": c.coordinate,
                "residual": round(c.residual_mm, 5),
                "unit": "mm",
                "standardised": _rounded(c.standardised, 4),
                "redundancy": round(c.redundancy, 6),
                "suspect": c.suspect,
            }
            for c in network.control_residuals
        ],
        "refraction": network.refraction,
        "notes": [*([network.hint] if network.hint else []), *network.notes],
    }
    for p in network.points:
        sd = p.sd_mm
        found["points"].append(
            {
                "point": p.point,
                "easting_m": round(p.easting_m, 7),
                "northing_m": round(p.northing_m, 7),
                "level_m": _rounded(p.level_m, 7),
                "sd_easting_mm": _rounded(sd[0], 6),
                "sd_northing_mm": _rounded(sd[1], 6),
                "sd_level_mm": _rounded(sd[2], 6),
                "covariance_mm2": [[_rounded(float(x), 9) for x in row] for row in p.covariance_mm2],
                "fixed": p.fixed,
            }
        )
    without = network.without_suspects
    if without is not None:
        found["without_suspects"] = {
            "degrees_of_freedom": without.degrees_of_freedom,
            "variance_factor": without.variance_factor,
            "global_test_probability": without.probability,
            "points": [
                {
                    "point": p.point,
                    "easting_m": round(p.easting_m, 7),
                    "northing_m": round(p.northing_m, 7),
                    "level_m": _rounded(p.level_m, 7),
                }
                for p in without.points
            ],
        }
    return found


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def refraction_of(text: str) -> float | None:
    """The coefficient that --refraction gives; None for `none`. Raises CommandLineWrong."""
    if text.strip().lower() == "none":
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not -20.0 <= value <= 20.0:
        raise CommandLineWrong(
            f"--refraction: {text!r} is not allowed: must be a number from -20 to 20, or none"
        )
    return value
