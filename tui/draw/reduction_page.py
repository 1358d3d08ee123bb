"""An adjusted survey on the surveyor's screen: verdict, points, and what each sight was changed by."""

from __future__ import annotations

from collections.abc import Sequence

from tui.draw.spans import Row, cut_text, wrap
from tui.source import Reduced, ReducedSight

MEANINGS = (
    "Residual: by how much a sight was changed to fit the others (adjusted less observed), in seconds of arc (sec) "
    "or mm.",
    "sd: standard deviation, the size of an ordinary error; 19 errors in 20 lie within two.",
    "Standardised: the residual in its own sd. Within 2 is ordinary; a sight far beyond the rest, marked !, is suspect: "
    "a slip most likely sits in it.",
    "Redundancy: the share of a slip that would show in the residual. 100 %: the other sights tell it all; "
    "unchecked: no other sight would show it.",
    "Variance factor: the squares of all residuals against those that the sights' sd foretell. About 1: the sights are "
    "as good as said; the global test says whether it is too far from that for chance.",
    "Degrees of freedom: how many more sights there are than it takes.",
    "x: a row left out (key x takes it in again). An adjusted survey in doubt is stored with key S only, its sd larger.",
)


def head_rows(reduced: Reduced, width: int) -> list[Row]:
    """What was adjusted and what its own tests say; the points found."""
    rows: list[Row] = [((f" REDUCTION  {reduced.name}".ljust(width), "title"),)]
    role = {"sound": "strong", "unchecked": "warn", "in doubt": "warn"}[reduced.state]
    for number, text in enumerate(reduced.verdict):
        rows += [((" ", ""), (line, role if number == 0 else "")) for line in wrap(text, width - 2, 3)]
    if reduced.left_out:
        rows.append(((f" Left out: row {', '.join(map(str, reduced.left_out))}.", ""),))
    return rows


# Columns from which a sight's row has all of it, and from which all but what says how it was checked.
WHOLE, SHORT = 76, 40


def table_head(width: int) -> list[Row]:
    """Names of the columns."""
    text = "     row  from       to         sight       residual standardised  redundancy"
    if width < WHOLE:
        text = "   row to        sight     residual" if width >= SHORT else "   row residual"
    return [((text[:width].ljust(width), "title"),)]


def item(sight: ReducedSight, width: int = WHOLE) -> Row:
    """One sight: its residual (adjusted minus observed), that over its own sd, and how far others check it. In fewer
    columns (`width`) than that takes, whole columns go, so that no figure loses its end."""
    if width < WHOLE - 2:
        mark = "x" if sight.left_out else "!" if sight.suspect else " "
        residual = "left out" if sight.left_out else f"{_signed(sight.residual):>8} {sight.unit}"
        which = f"{sight.target[:9]:<9} {sight.kind[:9]:<9} " if width >= SHORT - 2 else ""
        return ((f"{mark}{sight.row or '':>4} {which}{residual}", "warn" if sight.suspect else ""),)
    if sight.left_out:
        return (
            (f"x{sight.row:>6}  {sight.station[:9]:<9}  {sight.target[:9]:<9}  ", "quiet"),
            ("left out", "quiet"),
        )
    role = "warn" if sight.suspect else ""
    place = f"{'!' if sight.suspect else ' '}{sight.row or '':>6}  {sight.station[:9]:<9}  {sight.target[:9]:<9}  "
    ratio = "-" if sight.standardised is None else _signed(sight.standardised)
    figures = f"{_signed(sight.residual):>8} {sight.unit:<3} {ratio:>8}   "
    return (
        (place, role),
        (f"{sight.kind[:10]:<10} ", ""),
        (figures, role),
        (f"  {_checked(sight)}", "quiet"),
    )


def _signed(value: float) -> str:
    """One decimal with its sign; nothing has none."""
    return f"{value:+.1f}" if round(abs(value), 1) else "0.0"


def point_item(text: str) -> Row:
    """A new point in one row, under the sights."""
    return ((" point ", "quiet"), (text, ""))


def foot_text(reduced: Reduced, at_points: bool = False) -> str:
    """What can be done now; `at_points`: the cursor is on the points found."""
    if reduced.state == "in doubt":
        return "In doubt: key x leaves the sight's row out; key S stores it all the same, with a larger sd."
    if at_points:
        return "These are the points found: key s stores them as check shots; nothing is stored before. Home: the sights."
    return "Key End goes to the points found, key s stores them as check shots; nothing is stored before."


def shots_question(names: Sequence[str]) -> str:
    """Asks which of the points found are check shots."""
    found = cut_text(", ".join(names), 60, " ...")
    return (
        f"Which of {found} are check shots? Point of the machine, and where its face stood (m): "
        f"{names[-1] if names else 'M'}=target@CHAINAGE (face, target, tail or pipe)"
    )


def _checked(sight: ReducedSight) -> str:
    """Redundancy: the share of a slip that would show in the residual."""
    return f"{100.0 * sight.redundancy:.0f} %" if sight.redundancy >= 0.005 else "unchecked"


def suspects_first(sights: Sequence[ReducedSight]) -> int:
    """Where the cursor begins: at the largest residual of a suspect row, else at the top."""
    marked = [n for n, s in enumerate(sights) if s.suspect]
    return max(marked, key=lambda n: abs(sights[n].standardised or 0.0)) if marked else 0
