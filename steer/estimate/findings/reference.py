"""What spots and check shots say about the reference and the target."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from steer.advice import Notice
from steer.drivefile import DriveFile
from steer.estimate.estimator import Estimator
from steer.estimate.motion import RD, RO, RR
from steer.estimate.nodes import CellReport, Cells, Node, cells_of
from steer.estimate.shots import ShotReport
from steer.text import PLANES, SIDES

LAUNCH_SAID_M = 15.0  # how far on an unexpected launch is still said


def further(plane: int, by_mm: float) -> str:
    """How far a shot lies off what was expected: "9 mm further right", "10 mm lower"; + is right and high."""
    sides = ("further right", "further left"), ("higher", "lower")
    return f"{abs(by_mm):.0f} mm {sides[plane][0 if by_mm > 0 else 1]}"


def moved(nodes: list[Node], cells: Cells, node: Node, estimator: Estimator) -> tuple[list[Notice], bool]:
    """A jump of the spot that stayed: the reference moved, or (heading jumped as well) the target was knocked; and
    check shots that disagree. Second, whether any of these asks for a check shot now."""
    found: list[Notice] = []
    settled_at = max(
        (n.s_m for n in nodes if isinstance(n.report, ShotReport) and n.report.verdict == "agrees"),
        default=-np.inf,
    )
    set_at = _set_at(node, estimator)
    for n, r, channels in jumps(cells, max(settled_at, set_at)):
        size = [float(r.shifted[c]) for c in (0, 1) if r.moved[c]]
        names = [
            f"{abs(v):.0f} mm on {PLANES[c]}" for c, v in zip(np.flatnonzero(r.moved[:2]), size, strict=True)
        ]
        what = " and ".join(names) if names else "the heading"
        if channels[2:].any():
            found.append(
                Notice(
                    "target_knocked",
                    f"Spot and heading jumped together at {n.s_m:.1f} m ({what}): the target was probably knocked. "
                    "Check its mount; take a check shot.",
                    float(n.s_m),
                )
            )
        else:
            found.append(
                Notice(
                    "reference_moved",
                    f"The spot jumped by {what} at {n.s_m:.1f} m and stayed, the heading did not: the reference was "
                    "probably moved. Take a check shot before trusting the offset.",
                    float(n.s_m),
                )
            )
        break
    asked = bool(found)
    shots = [
        n.report
        for n in estimator.nodes
        if isinstance(n.report, ShotReport) and n.report.counts and n.s_m <= node.s_m
    ]
    # A later shot that agrees answers none of them: an opened reference agrees with nearly anything. A person
    # does, by a word on the shot or by setting the reference anew further on.
    unanswered = [s for s in shots if s.opened and not s.shot.word and s.shot.s_m > set_at]
    if shots and shots[-1].opened and shots[-1] not in unanswered:
        unanswered.append(shots[-1])
    asked |= bool(unanswered) and unanswered[-1] is shots[-1]
    for s in unanswered[:1] + unanswered[1:][-2:]:
        parts = [further(p, v) for p, v in enumerate(s.innovation) if s.disagrees[p]]
        taken = "A person accepted it" if s.shot.word else "It counts"
        do = [] if s is not shots[-1] else ["repeat the survey"]  # else it has been: there is a later one
        do += [] if s.shot.word else [f"accept or reject shot {s.shot.sequence}"]
        found.append(
            Notice(
                "shot_disagrees",
                f"The check shot at {s.shot.s_m:.1f} m finds {_found(s)} {' and '.join(parts)} than the estimate, beyond "
                f"what both can err by: either the survey holds a blunder or the reference moved. {taken}; "
                f"{', then '.join(do)}.",
                s.shot.s_m,
            )
        )
    return found, asked


def _set_at(node: Node, estimator: Estimator) -> float:
    """Chainage (m) of the last time that the reference was set anew, -inf: never."""
    return max((key[0] for key in estimator.keys if key[1] == 2 and key[0] <= node.s_m), default=-np.inf)


def jumps(cells: Cells, since_m: float) -> Iterator[tuple[Node, CellReport, np.ndarray]]:
    """The cells beyond `since_m` at which a spot jumped and stayed, and which channels (4,) jumped about there."""
    for i, (n, r) in enumerate(cells):
        if n.s_m <= since_m or not r.jumped:
            continue
        near = [other.moved for m, other in cells[max(0, i - 3) : i + 4] if abs(m.s_m - n.s_m) < 1.5]
        channels = np.any(near, 0)
        if channels[:2].any():
            yield n, r, channels


def knocked_at(node: Node, estimator: Estimator) -> float | None:
    """Chainage (m) of the first jump of spot and heading together since the reference was set, None without one. What
    shots find of the reference afterwards may be the target's place: the state holds both as one."""
    cells = [cell for cell in cells_of(estimator.nodes) if cell[0].s_m <= node.s_m + 1e-9]
    found = jumps(cells, _set_at(node, estimator))
    return next((float(n.s_m) for n, _, channels in found if channels[2:].any()), None)


def launch(cells: Cells, node: Node) -> list[Notice]:
    """The first readings did not find the machine where the launch was said to be."""
    near = itertools.takewhile(lambda cell: node.s_m - cell[0].s_m <= LAUNCH_SAID_M, reversed(cells))
    for n, r in [*near][::-1]:
        if not r.first.any():
            continue
        where = [
            f"{abs(r.shifted[c]):.0f} {'mm' if c < 2 else 'mm/m'} {SIDES[c % 2][0 if r.shifted[c] > 0 else 1]}"
            for c in np.flatnonzero(r.first)
        ]
        return [
            Notice(
                "launch_differs",
                f"The first readings, at {n.s_m:.1f} m, found the target {' and '.join(where)} of what launch and "
                "reference as given would show. It is taken for where the machine stands; a check shot tells whether "
                "it is the reference.",
                float(n.s_m),
            )
        ]
    return []


def _found(report: ShotReport) -> str:
    """What the shot found."""
    return "the pipe" if report.shot.point == "pipe" else "the machine"


def undecided(estimator: Estimator) -> list[ShotReport]:
    """The check shots that wait for a word, by chainage."""
    reports = (n.report for n in estimator.nodes)
    return [r for r in reports if isinstance(r, ShotReport) and r.verdict == "waiting" and r.reached]


def waiting(node: Node, estimator: Estimator) -> list[Notice]:
    """Check shots from files that disagree or repeat another, until a person says whether they count."""
    found = []
    for r in undecided(estimator):
        if r.shot.repeats is not None:
            found.append(
                Notice(
                    "shot_waiting",
                    f"Check shot {r.shot.sequence} at {r.shot.s_m:.1f} m looks like shot {r.shot.repeats} given again. "
                    "It does not count until somebody accepts it as a second survey, or rejects it.",
                    r.shot.s_m,
                )
            )
            continue
        parts = [further(p, v) for p, v in enumerate(r.innovation) if r.disagrees[p]]
        found.append(
            Notice(
                "shot_waiting",
                f"Check shot {r.shot.sequence} at {r.shot.s_m:.1f} m finds {_found(r)} "
                f"{' and '.join(parts)} than the estimate: a survey blunder, or the reference moved. "
                "It does not count until somebody accepts or rejects it.",
                r.shot.s_m,
            )
        )
    return found[-3:]


def at_target(
    node: Node, drive: DriveFile, face_m: float | None = None
) -> tuple[float, np.ndarray, np.ndarray]:
    """How far in the target stands (m) with the face at `face_m` (None: the node's), and the reference's error there
    (2,) and its sd (2,), mm, line and level, as known at the node."""
    x, p = node.blend()
    d = max(
        (node.s_m if face_m is None else face_m) - drive.target.behind_face_m - drive.axis.start_chainage_m,
        0.0,
    )
    index = [RO, RD, RR]
    row = np.array([1.0, d, 0.5 * d * d])
    return d, x[:, index] @ row, np.sqrt(np.einsum("i,pij,j->p", row, p[:, index][:, :, index], row))


def drifting(node: Node, estimator: Estimator) -> list[Notice]:
    """The reference's error as check shots show it, far beyond how well it was set: its direction, its offset, or,
    where shots cannot tell these apart, what both come to at the target. Without a shot what the readings show of it
    is a jump, which has its own notice. What the newest shot alone brought up by disagreeing is asked about until
    somebody believes it. After a knock of the target it is the target that is told of."""
    nodes = [n for n in estimator.nodes if n.s_m <= node.s_m + 1e-9]
    newest = next((i for i in reversed(range(len(nodes))) if _counted(nodes[i])), None)
    if newest is None:
        return []
    shot = nodes[newest].report
    assert isinstance(shot, ShotReport)
    since = [n.report for n in nodes[newest:] if isinstance(n.report, CellReport) and n.report.jumped]
    jumped = any(report.moved[:2].any() for report in since)
    errors = _errors(node, estimator, jumped)
    if shot.opened and not shot.shot.word:
        shown = any(_counted(n) for n in nodes[:newest])
        before = _errors(nodes[newest - 1], estimator, False) if shown else {}
        errors = {p: e for p, e in errors.items() if p in before and e.mm * before[p].mm > 0.0}
    if not errors:
        return []
    text, knocked_m = _in_words(errors), knocked_at(node, estimator)
    if knocked_m is not None:
        text = (
            f"The target was probably knocked at {knocked_m:.1f} m: check its mount before the reference is set anew. "
            f"Check shots find the spot as if the reference were {text}. It is taken into account."
        )
        return [Notice("target_knocked", text, knocked_m)]
    text = f"Check shots show the reference {text}. It is taken into account; have it set anew."
    return [Notice("reference_drifting", text, float(node.s_m))]


def _counted(node: Node) -> bool:
    """Whether it is a check shot's that counts."""
    return isinstance(node.report, ShotReport) and node.report.counts


class _Error(NamedTuple):
    """One plane's error: its cause ("running", "off" or "there", the last `mm` at `d` m), and its size, mm or mm/m."""

    cause: str
    mm: float
    d: float


def _errors(node: Node, estimator: Estimator, jumped: bool) -> dict[int, _Error]:
    """What stands out, of the planes where something does. `jumped`: the spot did since the newest shot; what the
    error at the target owes to that is told in a notice of its own."""
    x, p = node.blend()
    priors = estimator.stack.priors
    turned, shifted = 2.5 * priors.reference_direction, 4.0 * max(priors.reference_offset, 1.0)
    d, error, error_sd = at_target(node, estimator.drive)
    most = 4.0 * max(float(np.hypot(priors.reference_offset, priors.reference_direction * d)), 1.0)
    found = {}
    for plane in (0, 1):
        direction, offset = float(x[plane, RD]), float(x[plane, RO])
        direction_sd, offset_sd = (float(np.sqrt(p[plane, k, k])) for k in (RD, RO))
        if abs(direction) > max(turned, 0.02, 3.0 * direction_sd):
            found[plane] = _Error("running", direction, d)
        elif abs(offset) > max(shifted, 3.0 * offset_sd):
            found[plane] = _Error("off", offset, d)
        elif not jumped and abs(error[plane]) > max(most, 3.0 * error_sd[plane]):
            found[plane] = _Error("there", float(error[plane]), d)
    return found


def _in_words(errors: dict[int, _Error]) -> str:
    running, off, there = (
        {p: e for p, e in errors.items() if e.cause == cause} for cause in ("running", "off", "there")
    )
    told = []
    if running:
        each = (
            f"{_side(p, e.mm)} by {abs(e.mm):.2f} mm/m, {abs(e.mm) * 100:.0f} mm in 100 m"
            for p, e in running.items()
        )
        told.append(f"running {', and '.join(each)}")
    if off:
        told.append(f"{_places(off)} of where it was set")
    if there:
        d = next(iter(there.values())).d
        told.append(f"at the target, {d:.0f} m in, {_places(there)} of where it was set")
    return ", and ".join(told)


def _places(errors: dict[int, _Error]) -> str:
    return " and ".join(f"{abs(e.mm):.0f} mm {_side(p, e.mm)}" for p, e in errors.items())


def _side(plane: int, value: float) -> str:
    return SIDES[plane][0 if value > 0 else 1]
