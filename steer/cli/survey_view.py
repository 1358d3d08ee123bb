"""An adjusted survey in the plain form that the surveyor's screen draws (see `tui.source.Reduced`)."""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import re
from dataclasses import dataclass
from pathlib import Path

from steer.errors import CommandLineWrong, InputRefused
from steer.survey import ReducedNetwork, reduce_network
from steer.survey.files import Survey, near_misses, read_survey
from steer.text import printable, within

_SHOT_NAME = re.compile(r"(face|target|tail|pipe)(?![a-z])", re.IGNORECASE)


@dataclass(frozen=True)
class Sight:
    """One observation after the adjustment, as the screen lists it."""

    row: int
    station: str
    target: str
    kind: str
    residual: float
    unit: str
    standardised: float | None
    redundancy: float
    suspect: bool
    left_out: bool = False


@dataclass(frozen=True)
class View:
    """All of the screen."""

    name: str
    state: str
    verdict: tuple[str, ...]
    names: tuple[str, ...]
    points: tuple[str, ...]
    sights: tuple[Sight, ...]
    left_out: tuple[int, ...]
    shots: str


def reduced(path: str, control: str, left_out: tuple[int, ...] = ()) -> View:
    """Adjusts the sights of a file but for the rows left out. Raises InputRefused; stores nothing."""
    survey = read_survey(Path(os.path.expanduser(path)), Path(os.path.expanduser(control)))
    sights = [o for o in survey.observations if o.row not in left_out]
    try:
        network = reduce_network(sights, survey.control)
    except InputRefused as problem:
        raise InputRefused([*problem.problems, *near_misses(sights, survey.control)]) from None
    return _view(Path(path).name, survey, network, left_out)


def store(folder: Path, path: str, control: str, left_out: tuple[int, ...], shots: str, despite: bool) -> str:
    """Stores a survey's points as `steer shots` does; answers its words on what came in.

    `shots`: NAME=POINT@CHAINAGE, several with blanks between. Raises InputRefused.
    """
    from steer.cli import shots as command

    parser = argparse.ArgumentParser(exit_on_error=False)
    command.add_arguments(parser)
    words = [str(folder.absolute()), str(Path(os.path.expanduser(path)).absolute())]
    words += [f"--control={Path(os.path.expanduser(control))}"]
    # A point's name may hold blanks.
    words += [f"--shot={word.strip()}" for word in re.findall(r"[^=]+(?:=\S*|$)", shots)]
    words += [f"--leave-out={row}" for row in left_out]
    words += ["--despite-suspects"] if despite else []
    try:
        with contextlib.redirect_stdout(io.StringIO()) as said:
            command._store(parser.parse_args(words))
    except CommandLineWrong as wrong:
        # The same words stand on the command line behind --shot.
        raise InputRefused(
            str(wrong).replace("--shot: ", "").replace("--shot ", "").replace(" or --chainage", "")
        ) from None
    return " ".join(line for line in said.getvalue().split("\n") if not line.startswith("survey: ")).strip()


def _view(name: str, survey: Survey, network: ReducedNetwork, left_out: tuple[int, ...]) -> View:
    stations = {o.station for o in survey.observations}
    new = [p for p in network.points if not p.control and p.point not in stations]
    sights = [
        Sight(r.row, printable(r.station), printable(r.target), r.observation, r.residual, r.unit, r.standardised,
              r.redundancy, r.suspect)
        for r in network.residuals
    ]  # fmt: skip
    gone = {o.row: o for o in survey.observations if o.row in left_out}
    sights += [
        Sight(row, printable(o.station), printable(o.target), "", 0.0, "", None, 0.0, False, True)
        for row, o in gone.items()
    ]
    sights.sort(key=lambda s: s.row)
    sights += [
        Sight(0, "control", printable(c.point), c.coordinate, c.residual_mm, "mm", c.standardised, c.redundancy,
              c.suspect)
        for c in network.control_residuals
    ]  # fmt: skip
    points = []
    for p in new:
        sd = p.sd_mm
        plan = f"E {p.easting_m:.4f}  N {p.northing_m:.4f}"
        sds = [sd[0], sd[1]]
        if p.level_m is not None:
            plan += f"  level {p.level_m:.4f} m"
            sds.append(sd[2])
        points.append(f"{printable(p.point):<6} {plan}  ± {', '.join(within(v, 1) for v in sds)} mm")
    named = [f"{p.point}={m.group(1).lower()}" for p in new if (m := _SHOT_NAME.match(p.point))]
    shots = " ".join(named) if named else f"{new[0].point}=" if len(new) == 1 else ""
    state, verdict = _verdict(network)
    return View(
        printable(name),
        state,
        (*verdict, *survey.remarks),
        tuple(printable(p.point) for p in new),
        tuple(points),
        tuple(sights),
        left_out,
        shots,
    )


def _verdict(network: ReducedNetwork) -> tuple[str, list[str]]:
    """How the survey's own tests came out: a word for it, and sentences."""
    factor, dof = network.variance_factor, network.degrees_of_freedom
    if factor is None or network.probability is None:
        return "unchecked", [
            "Nothing checks it: no more observations than unknowns; a blunder would not show."
        ]
    said = (
        f"global test {'passed' if network.passed else 'FAILED'}, variance factor {_factor(factor)} with {dof} "
        f"degree{'s' if dof != 1 else ''} of freedom."
    )
    suspects = list(network.suspect_sights)
    suspects += [
        f"control {printable(c.point)} {c.coordinate}" for c in network.control_residuals if c.suspect
    ]
    if network.passed and not suspects:
        return "sound", [f"Sound: {said}"]
    several = len(suspects) > 1
    first = ", the most so first" if several else ""
    lines = [f"IN DOUBT: {said}" + (f" Suspect{first}: {', '.join(suspects)}." if suspects else "")]
    without = network.without_suspects
    if without is not None and without.variance_factor is not None:
        lines.append(
            f"Without {'them' if several else 'it'} the variance factor is {_factor(without.variance_factor)}."
        )
    if network.hint:
        lines.append(f"Perhaps: {printable(network.hint, 400)}")
    return "in doubt", lines


def _factor(value: float) -> str:
    return f"{value:.2f}" if value < 9.95 else f"{value:,.0f}"
