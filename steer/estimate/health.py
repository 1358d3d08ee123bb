"""What the innovations say about sensors, reference, ground and steering.

Every finding is worked out anew from the last metres of nodes and readings, so it clears itself when
the evidence is gone. A finding names what, since where, the evidence and what to do.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from steer.advice import Notice
from steer.estimate.estimator import Estimator
from steer.estimate.evidence import AGAINST_DOUBT, OPPOSITE, UNANSWERED
from steer.estimate.follow import Follower
from steer.estimate.motion import RD, RO, G, K
from steer.estimate.nodes import CellReport, Node
from steer.estimate.shots import ShotReport
from steer.estimate.sureness import sureness

OPPOSITE_EVIDENCE = 5.5  # tempered log-likelihood ratio: 240 to 1, and it takes four cells at the least
OPPOSITE_TOGETHER = 7.0  # of both planes
WEAK_EVIDENCE = 6.0
TURNED_M, TURNED, TURNED_SD = 8.0, 0.6, 2.5  # a tendency that is so much (mm/m²) other than so far behind
WEAK_GAIN = (0.45, 0.6)  # of the usual gain: said below the first, unsaid above the second
_SIDES = (("right", "left"), ("high", "low"))
_PLANES = ("line", "level")


@dataclass(frozen=True)
class Health:
    """Findings, and what they mean for the proposal."""

    notices: tuple[Notice, ...]
    opposite: bool
    trusted: bool


def examine(follower: Follower, node: Node) -> Health:
    """Every finding that holds at `node`, the newest state."""
    estimator, drive = follower.estimator, follower.drive
    nodes = [n for n in estimator.nodes[-400:] if n.s_m <= node.s_m + 1e-9]
    notices: list[Notice] = []
    opposite = steering_opposite(nodes, node)
    checks: tuple[Callable[[], list[Notice]], ...] = (
        lambda: refused(nodes, node),
        lambda: beam_lost(nodes, node),
        lambda: moved(nodes, node, estimator),
        lambda: waiting(node, estimator),
        lambda: drifting(node, estimator),
        lambda: stuck(follower, node),
        lambda: cylinders(follower, node),
        lambda: [opposite] if opposite else steering_weak(nodes, node, estimator),
        lambda: ground_changed(nodes, node),
        lambda: jumped(follower, node),
        lambda: went_wrong(node, estimator),
    )
    for check in checks:
        notices.extend(check())
    unsure, trusted = sureness(node, drive)
    notices.extend(unsure)
    return Health(tuple(notices), opposite is not None, trusted and not follower.track.lost)


def _cells(nodes: list[Node]) -> list[tuple[Node, CellReport]]:
    return [(n, n.report) for n in nodes if isinstance(n.report, CellReport)]


def refused(nodes: list[Node], node: Node) -> list[Notice]:
    """A larger share of single readings refused in one channel than chance explains, over three metres."""
    recent = [(n, r) for n, r in _cells(nodes) if n.s_m > node.s_m - 3.0]
    if not recent:
        return []
    offered = np.sum([r.offered for _, r in recent], 0)
    # a cell that was refused whole, because it jumped, is no wild reading
    out = np.sum([np.where(np.isnan(r.shifted), r.offered - r.used, 0) for _, r in recent], 0)
    places = float(offered.max())
    pairs = np.array([out[:2].sum(), out[2:].sum()])
    if places < 15 or pairs.max() < max(5, 0.08 * places):
        return []
    pair = int(np.argmax(pairs))
    first = min(n.s_m for n, r in recent if (r.used < r.offered)[2 * pair : 2 * pair + 2].any())
    what = ("spots", "headings")[pair]
    return [
        Notice(
            "reading_refused",
            f"{pairs[pair]:.0f} of {places:.0f} {what} since {first:.1f} m were far from the others and were left out. "
            "Look at the target and its window; the rest still count.",
            float(first),
        )
    ]


def beam_lost(nodes: list[Node], node: Node) -> list[Notice]:
    """Readings come, but none with a spot."""
    since = None
    seen_before = False
    for n, r in reversed(_cells(nodes)):
        if r.offered[:2].any():
            seen_before = True
            break
        since = n.s_m
    if since is None or node.s_m - since < 0.3:
        return []
    more = "" if seen_before else " (none yet on this drive)"
    return [
        Notice(
            "beam_lost",
            f"No spot on the target since {since:.1f} m{more}: the estimate goes on by heading and advance alone and "
            "grows less sure. Clear the beam's way.",
            float(since),
        )
    ]


def moved(nodes: list[Node], node: Node, estimator: Estimator) -> list[Notice]:
    """A jump of the spot that stayed: the reference moved, or (heading jumped as well) the target was knocked."""
    found: list[Notice] = []
    settled_at = max(
        (n.s_m for n in nodes if isinstance(n.report, ShotReport) and n.report.verdict == "agrees"),
        default=-np.inf,
    )
    settings = [key[0] for key in estimator.keys if key[1] == 2 and key[0] <= node.s_m]
    settled_at = max(settled_at, max(settings, default=-np.inf))
    cells = _cells(nodes)
    for i, (n, r) in enumerate(cells):
        if not r.moved.any() or n.s_m <= settled_at:
            continue
        near = [other.moved for m, other in cells[max(0, i - 3) : i + 4] if abs(m.s_m - n.s_m) < 1.5]
        channels = np.any(near, 0)
        if not channels[:2].any():
            continue
        size = [float(r.shifted[c]) for c in (0, 1) if r.moved[c]]
        names = [
            f"{abs(v):.0f} mm on {_PLANES[c]}" for c, v in zip(np.flatnonzero(r.moved[:2]), size, strict=True)
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
    shots = [
        n.report
        for n in estimator.nodes
        if isinstance(n.report, ShotReport) and n.report.counts and n.s_m <= node.s_m
    ]
    # A later shot that agrees answers none of them: an opened reference agrees with nearly anything. A person
    # does, by a word on the shot or by setting the reference anew further on.
    unanswered = [
        s for s in shots if s.opened and not s.shot.word and s.shot.s_m > max(settings, default=-np.inf)
    ]
    if shots and shots[-1].opened and shots[-1] not in unanswered:
        unanswered.append(shots[-1])
    for s in unanswered[:1] + unanswered[1:][-2:]:
        parts = [
            f"{abs(v):.0f} mm more {_SIDES[p][0 if v > 0 else 1]}"
            for p, v in enumerate(s.innovation)
            if s.disagrees[p]
        ]
        taken = "A person accepted it" if s.shot.word else "It counts"
        answer = "" if s.shot.word else f", then accept or reject shot {s.shot.sequence}"
        found.append(
            Notice(
                "shot_disagrees",
                f"The check shot at {s.shot.s_m:.1f} m finds {_found(s)} {' and '.join(parts)} than the estimate, beyond "
                f"what both can err by: either the survey holds a blunder or the reference moved. {taken}; "
                f"repeat the survey{answer}.",
                s.shot.s_m,
            )
        )
    return found


def _found(report: ShotReport) -> str:
    """What the shot found."""
    return "the pipe" if report.shot.point == "pipe" else "the machine"


def waiting(node: Node, estimator: Estimator) -> list[Notice]:
    """Check shots from files that disagree or repeat another, until a person says whether they count."""
    found = []
    for n in estimator.nodes:
        r = n.report
        if not isinstance(r, ShotReport) or r.verdict != "waiting" or not r.reached:
            continue
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
        parts = [
            f"{abs(v):.0f} mm more {_SIDES[p][0 if v > 0 else 1]}"
            for p, v in enumerate(r.innovation)
            if r.disagrees[p]
        ]
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


def drifting(node: Node, estimator: Estimator) -> list[Notice]:
    """The reference's error as check shots show it, far beyond how well it was set."""
    x, p = node.blend()
    priors = estimator.priors
    for plane in (0, 1):
        direction, sd = float(x[plane, RD]), float(np.sqrt(p[plane, RD, RD]))
        if abs(direction) > max(2.5 * priors.reference_direction, 0.02) and abs(direction) > 3.0 * sd:
            side = _SIDES[plane][0 if direction > 0 else 1]
            return [
                Notice(
                    "reference_drifting",
                    f"Check shots show the reference running {side} by {abs(direction):.2f} mm/m, "
                    f"{abs(direction) * 100:.0f} mm in 100 m. It is taken into account; have it set anew.",
                    float(node.s_m),
                )
            ]
    for plane in (0, 1):
        offset, sd = float(x[plane, RO]), float(np.sqrt(p[plane, RO, RO]))
        if abs(offset) > 4.0 * max(priors.reference_offset, 1.0) and abs(offset) > 3.0 * sd:
            side = _SIDES[plane][0 if offset > 0 else 1]
            return [
                Notice(
                    "reference_drifting",
                    f"Check shots show the reference {abs(offset):.0f} mm {side} of where it was set. "
                    "It is taken into account; have it set anew.",
                    float(node.s_m),
                )
            ]
    return []


def stuck(follower: Follower, node: Node) -> list[Notice]:
    """A channel that repeats one value while the machine advances."""
    found = []
    for name, run in follower.runs.items():
        if run.stuck:
            found.append(
                Notice(
                    f"{name}_stuck",
                    f"{name.capitalize()} has read exactly {run.value:g} mm/m since {run.since_m:.1f} m, over "
                    f"{run.count} readings: the sensor is stuck and is left out. Check it.",
                    float(run.since_m),
                )
            )
    return found


def cylinders(follower: Follower, node: Node) -> list[Notice]:
    """One cylinder reading that does not fit the plane of the others."""
    setting = follower.standing_read()
    wrong = None if setting is None else follower.misfit(setting)
    if wrong is None:
        return []
    if wrong.cylinders:
        names = " or ".join(str(c) for c in wrong.cylinders)
        text = (
            f"Cylinder {names} does not fit the others, by about {max(abs(b) for b in wrong.by_mm):.0f} mm: "
            "its reading is probably wrong. Measure it by hand."
            + (" It is left out." if len(wrong.cylinders) == 1 else "")
        )
    else:
        text = f"The cylinder readings do not fit one another, by up to {wrong.worst_mm:.0f} mm. Measure them by hand."
    return [Notice("cylinder_misread", text, float(node.s_m))]


def _since(cells: list[tuple[Node, CellReport]], node: Node, kinds: list[int], plane: int) -> float:
    """Where the evidence that stands at `node` began to gather."""
    since = node.s_m
    for n, _ in reversed(cells):
        if n.against[kinds, plane].max() <= 0.0:
            break
        since = n.s_m
    return float(since)


def steering_opposite(nodes: list[Node], node: Node) -> Notice | None:
    """The machine answers opposite to its steering: a mirrored answer foretells the readings better."""
    share = 0.5 if _said_before(nodes, node) else 1.0
    evidence, weak = node.against[OPPOSITE].max(0), node.against[UNANSWERED].max(0)
    together = evidence.sum() > share * OPPOSITE_TOGETHER
    for plane in np.argsort(-evidence).tolist():
        enough = evidence[plane] > share * OPPOSITE_EVIDENCE or together
        if enough and evidence[plane] > weak[plane]:
            since = _since(_cells(nodes), node, [0, 1], plane)
            which = ("right and left", "up and down")[plane]
            return Notice(
                "steering_opposite",
                f"The machine answers {which} opposite to its steering since about {since:.1f} m. Cylinders or target "
                "are probably mapped the wrong way round. Stop steering by this until the mapping is checked.",
                since,
            )
    return None


def _said_before(nodes: list[Node], node: Node) -> bool:
    """Whether the evidence that still stands was once enough: it stays said until half of it is gone."""
    for n, _ in reversed(_cells(nodes)):
        top = n.against[OPPOSITE].max(0)
        size = max(float(top.max()) / OPPOSITE_EVIDENCE, float(top.sum()) / OPPOSITE_TOGETHER)
        if size > 1.0:
            return True
        if size < 0.5:
            return False
    return False


def _gain_ratio(node: Node, estimator: Estimator) -> np.ndarray:
    """The most that the gain of each plane can be (two sd above its mean) over what is usual, (2,)."""
    x, p = node.blend()
    found: np.ndarray = (x[:, G] + 2.0 * np.sqrt(p[:, G, G])) / estimator.motion.gain_prior_per_m
    return found


def _stays_weak(nodes: list[Node], estimator: Estimator, plane: int) -> bool:
    """Whether a gain between the limits was last below the lower one: a notice must not flicker."""
    for n, _ in reversed(_cells(nodes)):
        ratio = _gain_ratio(n, estimator)[plane]
        if ratio < WEAK_GAIN[0]:
            return True
        if ratio > WEAK_GAIN[1]:
            return False
    return False


def steering_weak(nodes: list[Node], node: Node, estimator: Estimator) -> list[Notice]:
    """The answer to steering is well known and small, or changes of it go unanswered."""
    ratio = _gain_ratio(node, estimator)
    for plane in (0, 1):
        weak = ratio[plane] < WEAK_GAIN[1] and _stays_weak(nodes, estimator, plane)
        if ratio[plane] < WEAK_GAIN[0] or weak:
            share = node.blend()[0][plane, G] * estimator.motion.length_m / 2.0
            return [
                Notice(
                    "steering_weak",
                    f"On {_PLANES[plane]} the ground answers the steering with {100 * share:.0f} % of the machine's "
                    "geometry: corrections take long. Steer early, look for overcut or soft ground.",
                    float(node.s_m),
                )
            ]
        evidence = float(node.against[UNANSWERED, plane].max())
        if evidence > WEAK_EVIDENCE and evidence > node.against[OPPOSITE, plane].max() + 1.0:
            since = _since(_cells(nodes), node, [2, 3], plane)
            return [
                Notice(
                    "steering_weak",
                    f"On {_PLANES[plane]} the machine hardly answers what was steered since {since:.1f} m. "
                    "Look for play, overcut or soft ground; steer in small steps until it answers.",
                    since,
                )
            ]
    return []


def ground_changed(nodes: list[Node], node: Node) -> list[Notice]:
    """The machine's tendency jumped within the last metres."""
    for n, r in reversed(_cells(nodes)):
        if n.s_m < node.s_m - 5.0:
            break
        if r.ground.any():
            plane = int(np.flatnonzero(r.ground)[0])
            return [
                Notice(
                    "ground_changed",
                    f"The machine's tendency on {_PLANES[plane]} changed at about {n.s_m:.1f} m: probably other ground. "
                    "The estimate follows; expect a few strokes until the answer is known again.",
                    float(n.s_m),
                )
            ]
    return _tendency_turned(nodes, node)


def _tendency_turned(nodes: list[Node], node: Node) -> list[Notice]:
    """Ground that answers late is followed before the innovations lean: the tendency itself tells of it."""
    cells = [n for n, _ in _cells(nodes)]
    chainage = [n.s_m for n in cells]
    for n in reversed(cells):
        if n.s_m < node.s_m - 3.0 or n.s_m - chainage[0] < TURNED_M:
            break
        before = cells[bisect.bisect_right(chainage, n.s_m - TURNED_M) - 1]
        (x, p), (x_before, p_before) = n.blend(), before.blend()
        # what may be an opposite answer is not blamed on the ground
        by = np.where(n.against[OPPOSITE].max(0) < AGAINST_DOUBT, x[:, K] - x_before[:, K], 0.0)
        sd = np.sqrt(p[:, K, K] + p_before[:, K, K])
        for plane in (0, 1):
            if abs(by[plane]) > max(TURNED, TURNED_SD * sd[plane]):
                side = _SIDES[plane][0 if by[plane] > 0 else 1]
                return [
                    Notice(
                        "ground_changed",
                        f"Within the last {TURNED_M:.0f} m the ground began to bend the path by {abs(by[plane]):.1f} "
                        f"mm/m² more {side} on {_PLANES[plane]}: probably other ground. The estimate follows; expect a "
                        "few strokes until the answer is known again.",
                        float(before.s_m),
                    )
                ]
    return []


def jumped(follower: Follower, node: Node) -> list[Notice]:
    """The chainage counter jumped."""
    for jump in reversed(follower.track.jumps):
        if jump.confirmed and 0 <= node.s_m - jump.to_m < 5.0:
            return [
                Notice(
                    "chainage_jumped",
                    f"Chainage went from {jump.from_m:.2f} to {jump.to_m:.2f} m without readings between. The estimate is "
                    "carried over the gap; check the counter.",
                    float(jump.to_m),
                )
            ]
        if not jump.confirmed and follower.track.lost:
            return [
                Notice(
                    "chainage_jumped",
                    f"Chainage fell back from {jump.from_m:.2f} to {jump.to_m:.2f} m: the counter was probably reset. "
                    "Its readings do not count, not even beyond that chainage, until somebody says what the counter "
                    "lacks (steer counter --add METRES; 0: it is right).",
                    float(jump.from_m),
                )
            ]
    return []


def went_wrong(node: Node, estimator: Estimator) -> list[Notice]:
    """The sums gave a state that cannot be one, and the estimate went on from the last that can."""
    for r in reversed(estimator.recovered):
        if 0.0 <= node.s_m - r.s_m < 5.0:
            what = (
                "What came in there was left out and the estimate is less sure; take a check shot."
                if r.left_out
                else "It was worked out again from there."
            )
            return [
                Notice(
                    "estimate_recovered",
                    f"The estimate at {r.s_m:.1f} m was no number that can be and was thrown away; the one at "
                    f"{r.from_m:.1f} m was sound. {what} Keep the log and tell who looks after this program.",
                    float(r.s_m),
                )
            ]
    return []
