"""The adjusted survey as text for a person."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from steer.survey.reduced import ReducedNetwork, ReducedPoint, Residual
from steer.text import printable

_MOST_RESIDUALS = 60
_WIDTH = 80


def sheet(network: ReducedNetwork, remarks: Sequence[str] = ()) -> str:
    """Verdict first, then points and residuals, then what to know."""
    parts = [_wrapped(*_verdict(network)), _points(network), _residuals(network)]
    if network.control_residuals:
        parts.append(_control(network))
    notes = [*network.notes, *remarks]
    if notes:
        parts.append("Notes\n" + _wrapped(*(f"  {printable(n, 400)}" for n in notes)))
    refraction = "left out" if network.refraction is None else f"K = {network.refraction:g}"
    parts.append(
        _wrapped(
            f"Earth curvature and refraction: {refraction}. sd are a priori. "
            "Check the survey by local rules and a licensed surveyor before relying on it."
        )
    )
    return "\n\n".join(parts)


def _wrapped(*lines: str) -> str:
    return "\n".join(
        textwrap.fill(line, _WIDTH, subsequent_indent="    " if line.startswith(" ") else "")
        for line in lines
    )


def _verdict(network: ReducedNetwork) -> list[str]:
    dof = network.degrees_of_freedom
    if network.variance_factor is None or network.probability is None:
        lines = ["Not checked: no more observations than unknowns (0 degrees of freedom)."]
    else:
        word = "passed" if network.passed else "FAILED"
        lines = [
            f"Global test {word}: variance factor {network.variance_factor:.3g} with {_freedom(dof)}; "
            f"a fit this bad or worse comes by chance in {_percent(network.probability)}."
        ]
    if network.suspect_rows:
        first = " (most suspect first)" if len(network.suspect_rows) > 1 else ""
        lines.append(f"SUSPECT: {', '.join(network.suspect_sights)}{first}.")
    suspects = [f"{c.point} {c.coordinate}" for c in network.control_residuals if c.suspect]
    if suspects:
        lines.append(f"SUSPECT control: {printable(', '.join(suspects), 400)}.")
    if network.without_suspects is not None:
        without = network.without_suspects
        left = (
            "nothing checks the rest"
            if without.variance_factor is None
            else f"variance factor {without.variance_factor:.3g} with {_freedom(without.degrees_of_freedom)}"
        )
        lines.append(f"Without {_them(network)}: {left}; {_largest_move(network)}.")
        lines.append(
            f"The coordinates below still contain {_them(network)}: check the field book, correct or remove, "
            "repeat."
        )
    elif not network.suspect_rows and not suspects and network.probability is not None:
        lines.append("No single observation stands out (data snooping at 0.1 %).")
    if network.hint:
        lines.append(f"Perhaps: {printable(network.hint, 400)}")
    return lines


def _freedom(dof: int) -> str:
    return f"{dof} degree{'' if dof == 1 else 's'} of freedom"


def _them(network: ReducedNetwork) -> str:
    count = len(network.suspect_rows) + sum(c.suspect for c in network.control_residuals)
    return "it" if count == 1 else "them"


def _largest_move(network: ReducedNetwork) -> str:
    assert network.without_suspects is not None
    pairs = list(zip(network.points, network.without_suspects.points, strict=True))
    name, move = max(((a.point, _move_mm(a, b)) for a, b in pairs), key=lambda found: math.hypot(*found[1]))
    words = [
        f"{abs(size):.1f} mm {way[0] if size >= 0 else way[1]}"
        for size, way in zip(move, (("east", "west"), ("north", "south"), ("up", "down")), strict=True)
        if abs(size) >= 0.05
    ]
    if not words:
        return "no point would move by 0.1 mm"
    return f"{printable(name, 40)} would move most: {', '.join(words)}"


def _move_mm(a: ReducedPoint, b: ReducedPoint) -> tuple[float, float, float]:
    up = 0.0 if a.level_m is None or b.level_m is None else b.level_m - a.level_m
    return (b.easting_m - a.easting_m) * 1e3, (b.northing_m - a.northing_m) * 1e3, up * 1e3


def _points(network: ReducedNetwork) -> str:
    rows: list[tuple[str, ...]] = [
        ("point", "easting m", "northing m", "level m", "sd E mm", "sd N mm", "sd level mm", "")
    ]
    rows += [_point_row(p) for p in network.points]
    return _table("Points", rows, left=(0, 7))


def _point_row(p: ReducedPoint) -> tuple[str, ...]:
    sd = [
        "-" if math.isnan(s) else "" if p.fixed and s == 0.0 else f"{s:.1f}" if s >= 0.1 else f"{s:.2f}"
        for s in p.sd_mm
    ]
    level = "-" if p.level_m is None else f"{p.level_m:.4f}"
    kind = "fixed" if p.fixed else "control" if p.control else ""
    return (printable(p.point, 40), f"{p.easting_m:.4f}", f"{p.northing_m:.4f}", level, *sd, kind)


def _residuals(network: ReducedNetwork) -> str:
    listed = list(network.residuals)
    title = "Residuals (adjusted minus observed)"
    if len(listed) > _MOST_RESIDUALS:
        listed = sorted(listed, key=lambda r: -abs(r.standardised or 0.0))[:_MOST_RESIDUALS]
        title += f": the {_MOST_RESIDUALS} largest of {len(network.residuals)}, the rest with --json"
    rows: list[tuple[str, ...]] = [
        ("row", "from", "to", "observation", "residual", "over its sd", "redundancy", "")
    ]
    rows += [_residual_row(r) for r in listed]
    return _table(title, rows, left=(1, 2, 3, 7))


def _residual_row(r: Residual) -> tuple[str, ...]:
    w = "-" if r.standardised is None else _signed(r.standardised)
    return (
        str(r.row),
        printable(r.station, 40),
        printable(r.target, 40),
        r.observation,
        f"{_signed(r.residual)} {r.unit:<3}",
        w,
        f"{r.redundancy:.2f}",
        "SUSPECT" if r.suspect else "",
    )


def _control(network: ReducedNetwork) -> str:
    rows: list[tuple[str, ...]] = [("point", "coordinate", "residual mm", "over its sd", "redundancy", "")]
    rows += [
        (
            printable(c.point, 40),
            c.coordinate,
            _signed(c.residual_mm),
            "-" if c.standardised is None else _signed(c.standardised),
            f"{c.redundancy:.2f}",
            "SUSPECT" if c.suspect else "",
        )
        for c in network.control_residuals[:_MOST_RESIDUALS]
    ]
    return _table("Control with sd (adjusted minus given)", rows, left=(0, 1, 5))


def _table(title: str, rows: Sequence[Sequence[str]], left: Sequence[int]) -> str:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = [title]
    for row in rows:
        cells = [
            c.ljust(w) if k in left else c.rjust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return "\n".join(lines)


def _signed(value: float) -> str:
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def _percent(probability: float) -> str:
    if probability < 0.0005:
        return "less than 0.1 % of surveys"
    return (
        f"{100 * probability:.1f} % of surveys"
        if probability < 0.1
        else f"{100 * probability:.0f} % of surveys"
    )
