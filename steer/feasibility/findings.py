"""One finding of the feasibility page: a figure against its limit, and what it means."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

# "with moves": possible when the reference is set anew on the way; "with surveys": with check surveys where planned.
Verdict = Literal["possible", "tight", "with surveys", "with moves", "not possible", "note"]

# Above this share of a limit the design leaves too little for corrections. Own choice, no source.
TIGHT_SHARE = 0.75

# Verdicts that somebody has to do something about, the worst first.
_ORDER: tuple[Verdict, ...] = ("not possible", "with moves", "with surveys", "tight")

_INDENT = 13

CAUTION = (
    "These are geometric checks of the values in drive.toml. They replace neither the machine's manual, "
    "the pipe maker's limits and the project specification, nor local codes and licensed practice."
)


@dataclass(frozen=True)
class Finding:
    """`value` and `limit` in `unit`; `limit` is None where the drive file sets none.

    `margin` is what is left, in `unit`, negative when the limit is passed. `text` says it for a person.
    """

    subject: str
    value: float
    limit: float | None
    unit: str
    verdict: Verdict
    text: str

    @property
    def margin(self) -> float | None:
        """Limit minus value."""
        return None if self.limit is None else self.limit - self.value


def judged(value: float, limit: float) -> Verdict:
    """Against a limit that must not be passed, with a share kept free for corrections."""
    if value > limit:
        return "not possible"
    return "tight" if value > TIGHT_SHARE * limit else "possible"


def answer(findings: Iterable[Finding]) -> str:
    """The whole page in one sentence: what stands in the way, and what needs care."""
    named: dict[str, list[str]] = {}
    for finding in findings:
        named.setdefault(finding.verdict, []).append(finding.subject.lower())
    parts = [f"{verdict}: {', '.join(named[verdict])}" for verdict in _ORDER if verdict in named]
    if not parts:
        return "Yes, by these figures."
    said = "; ".join(parts)
    return (
        f"{'Not as it stands' if 'not possible' in named else 'Yes, with care'}. {said[0].upper()}{said[1:]}."
    )


def _figure(value: float | None, unit: str) -> str:
    """No more digits than a geometric check earns."""
    if value is None:
        return "-"
    digits = {"kN": 0, "mm/m": 2}.get(unit, 1)
    if abs(value) >= 99.95:
        digits = min(digits, 0 if unit != "m" else 1)
    return f"{value + 0.0:.{digits}f} {unit}"


def page(findings: Iterable[Finding], width: int = 80) -> list[str]:
    """The findings as lines: verdict, subject, figure, limit and margin, and the words beneath."""
    lines = [f"{'':<{_INDENT}}{'':<28}{'figure':>13}{'limit':>13}{'margin':>13}"]
    for finding in findings:
        figures = (finding.value, finding.limit, finding.margin)
        cells = "".join(f"{_figure(value, finding.unit):>13}" for value in figures)
        lines.append(f"{finding.verdict:<{_INDENT}}{finding.subject:<28}{cells}")
        lines += textwrap.wrap(
            finding.text, width, initial_indent=" " * _INDENT, subsequent_indent=" " * _INDENT
        )
    return [*lines, *textwrap.wrap(CAUTION, width)]
