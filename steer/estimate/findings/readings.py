"""What is wrong with the readings themselves, the chainage counter or the sums."""

from __future__ import annotations

import math

import numpy as np

from steer.advice import Notice
from steer.estimate import counter
from steer.estimate.cells import Cell
from steer.estimate.estimator import Estimator
from steer.estimate.follow import Follower
from steer.estimate.nodes import Cells, Node
from steer.text import SIDES

SCATTERS = (1.4, 1.6)  # times what [sd] says: unsaid below the first, said above the second
_CHANNELS = (
    ("Spots on line", "spot_mm"), ("Spots on level", "spot_mm"), ("Yaw readings", "yaw_mm_per_m"),
    ("Pitch readings", "pitch_mm_per_m"),
)  # fmt: skip
UNREAD = 1.5  # strokes without cylinders: a logger that tells them once a stroke has not lost them
SET_BY = 0.3  # strokes in which a chosen setting is made; common practice, no source
APART = 2.0  # strokes between a stroke's end and the readings: one stroke without readings is no slip yet
LATELY_M = 3.0  # over which refused readings are counted


def refused_lately(cells: Cells, node: Node) -> str:
    """How many single readings of each channel did not count over the last `LATELY_M`, in words, for who asks; empty
    where none came. Unlike the notice it counts those of a channel that jumped."""
    recent = [(n, r) for n, r in cells if n.s_m > node.s_m - LATELY_M]
    if not recent:
        return ""
    offered = np.sum([r.offered for _, r in recent], 0)
    out = offered - np.sum([r.used for _, r in recent], 0)
    names = [what[0].lower() + what[1:] for what, _ in _CHANNELS]
    parts = [f"{n:.0f} of {of:.0f} {name}" for n, of, name in zip(out, offered, names, strict=True) if n > 0]
    return f"{', '.join(parts) or 'none'} since {max(node.s_m - LATELY_M, cells[0][0].s_m):.1f} m"


def refused(cells: Cells, node: Node) -> list[Notice]:
    """A larger share of single readings refused in one channel than chance explains, over `LATELY_M`."""
    recent = [(n, r) for n, r in cells if n.s_m > node.s_m - LATELY_M]
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


def scatter(nodes: list[Node], node: Node) -> list[Notice]:
    """Readings that scatter far more than [sd] says, in any channel."""
    found = node.scatter.found
    channel = int(np.argmax(found))
    said = found[channel] > SCATTERS[1]
    for n in reversed(nodes):
        if said or found[channel] < SCATTERS[0]:
            break
        said = n.scatter.found[channel] > SCATTERS[1]
        if n.scatter.found[channel] < SCATTERS[0]:
            break
    if not said:
        return []
    what, key = _CHANNELS[channel]
    return [
        Notice(
            "readings_scatter",
            f"{what} scatter {found[channel]:.1f} times as much as [sd] {key} in drive.toml says, and count as rougher. "
            "Look for heat or dust in the beam and for a loose target; else write what the instrument does.",
            float(node.s_m),
        )
    ]


def beam_lost(cells: Cells, node: Node, estimator: Estimator) -> list[Notice]:
    """Readings come, but none with a spot."""
    since = None
    for n, r in reversed(cells):
        if r.offered[:2].any():
            break
        since = n.s_m
    if since is None or node.s_m - since < 0.3:
        return []
    last = _last_spot_m(node, estimator)
    more = " (none yet on this drive)" if last is None else ""
    # rounded down: the spot was still there
    since = since if last is None else math.floor(10.0 * last + 1e-6) / 10.0
    return [
        Notice(
            "beam_lost",
            f"No spot on the target since {since:.1f} m{more}: the estimate goes on by heading and advance alone and "
            "grows less sure. Clear the beam's way.",
            float(since),
        )
    ]


def _last_spot_m(node: Node, estimator: Estimator) -> float | None:
    """Where the last spot was read, m; None where none was. A cell is longer than the way between two readings."""
    for item in reversed(estimator.items):
        if isinstance(item, Cell) and item.s_m <= node.s_m + 1e-9:
            read = np.isfinite(item.values[:, :2]).any(1)
            if read.any():
                return float(item.chainage_m[read].max())
    return None


STANDS_M = 3.0  # over which every channel stands before nothing is steered by it any more
BENDS = 2.0  # mm/m of articulation with which no path goes on straight as far as that


def all_stand(follower: Follower) -> bool:
    """Whether spot and headings repeat their values: what sends them is stuck, or nothing moves."""
    heads = {run.stuck for run in follower.runs.values() if run.count}
    return follower.spot.stands and not follower.spot.stuck and heads == {True}


def blind(follower: Follower, node: Node) -> bool:
    """Whether every channel has stood so long though the machine is bent that the estimate is one of the past."""
    far = node.s_m - follower.spot.run.since_m > STANDS_M
    return far and all_stand(follower) and float(np.hypot(*node.articulation)) > BENDS


def stuck(follower: Follower, node: Node) -> list[Notice]:
    """A channel that repeats one value while the machine advances."""
    found = []
    if follower.spot.stuck:
        run = follower.spot.run
        found.append(
            Notice(
                "spot_stuck",
                f"What is read of the target has stood at exactly {_sides(run.value)} since {run.since_m:.1f} m, over "
                f"{run.count} readings, while the heading changed: it is stuck and is left out. Check the target.",
                float(run.since_m),
            )
        )
    elif all_stand(follower):
        run = follower.spot.run  # the heading is no witness against it then: said, and not left out
        found.append(
            Notice(
                "spot_stuck",
                f"What is read of the target has stood at exactly {_sides(run.value)} since {run.since_m:.1f} m, over "
                f"{run.count} readings, as the heading does: what sends the readings is probably stuck. The spot still "
                "counts: do not rely on the estimate. Check target and logger.",
                float(run.since_m),
            )
        )
    for name, run in follower.runs.items():
        if run.stuck:
            found.append(
                Notice(
                    f"{name}_stuck",
                    f"{name.capitalize()} has read exactly {run.value.real:g} mm/m since {run.since_m:.1f} m, over "
                    f"{run.count} readings: the sensor is stuck and is left out. Check it.",
                    float(run.since_m),
                )
            )
    return found


def _sides(spot: complex) -> str:
    """Right and up (mm), in words."""
    (right, left), (high, low) = SIDES
    across, above = spot.real, spot.imag
    return (
        f"{abs(across):g} mm {right if across > 0 else left}, {abs(above):g} mm {high if above > 0 else low}"
    )


def cylinders(follower: Follower, node: Node) -> list[Notice]:
    """Cylinders that are read no more, one whose reading does not fit the plane of the others, or all of them read
    otherwise than chosen."""
    since_m = follower.cylinders.read_at_m
    if follower.cylinders.silent and node.s_m - since_m > UNREAD * follower.drive.drive.stroke_m:
        text = (
            f"The cylinders have not been read since {since_m:.2f} m. What was set last is taken as how they stand: "
            "look at them before each stroke."
        )
        return [Notice("cylinders_silent", text, since_m)]
    wrong = follower.standing().wrong
    if wrong is None:
        return _not_as_chosen(follower)
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


def _not_as_chosen(follower: Follower) -> list[Notice]:
    """The cylinders read, well into the stroke, otherwise than a person accepted or typed: not set, or stuck."""
    chosen, read = follower.cylinders.chosen, follower.standing().read_mm
    if chosen is None or read is None or follower.cylinders.unread:
        return []
    if follower.cylinders.read_at_m - chosen.at_m < SET_BY * follower.drive.drive.stroke_m:
        return []
    apart = read - np.array(chosen.mm)
    step = max(1.0, follower.drive.machine.cylinders.step_mm)
    if np.abs(apart).max() <= 2.0 * step:
        return []
    found = "; ".join(
        f"{k + 1}: {round(read[k], 1):g} mm, chosen {round(chosen.mm[k], 1):g}"
        for k in np.flatnonzero(np.abs(apart) > step).tolist()
    )
    text = (
        f"The cylinders read otherwise than chosen at {chosen.at_m:.2f} m ({found}). The estimate goes by what is read. "
        "Look whether they were set, or are stuck."
    )
    return [Notice("cylinders_not_as_set", text, chosen.at_m)]


def jumped(follower: Follower, node: Node) -> tuple[list[Notice], bool]:
    """The chainage counter jumped, until a person has spoken of it; and whether there is something to steer by."""
    jump = counter.unanswered(follower, float(node.s_m))
    if jump is None:
        return [], True
    went, since_m = (
        f"from {jump.from_m:.2f} to {jump.to_m:.2f} m",
        jump.to_m if jump.confirmed else jump.from_m,
    )
    doubtful = counter.doubtful(follower, jump)
    if not doubtful:
        text = f"Chainage went {went} without readings between. The estimate is carried over the gap; check the counter."
    elif jump.confirmed:
        text = (
            f"Chainage went {went} without readings or strokes' ends between. No setting is proposed until "
            f"{counter.said_m(jump):.0f} m more are driven, or somebody says that the counter is right (steer counter "
            f"FOLDER --add 0) or what it lacks (steer counter FOLDER --add METRES, which holds from event {jump.first} on)."
        )
    else:
        leap = counter.undone_leap(follower, jump)
        right = (
            f"0: it is right now, and was not when it went to {leap.to_m:.2f} m"
            if leap is not None
            else "0: it is right, these were old readings"
        )
        text = (
            f"Chainage fell back {went}: the counter was probably reset. Its readings do not count, not even beyond that "
            "chainage, until somebody says what the counter lacks (steer counter FOLDER --add METRES, which holds from "
            f"event {jump.first} on; {right})."
        )
    return [Notice("chainage_jumped", text, float(since_m))], not doubtful


def end_apart(follower: Follower, end_m: float | None, before_m: float | None) -> list[Notice]:
    """A stroke's end told far beyond the readings, a slip of the hand or readings that are missing; or not beyond the
    end told before it, at `before_m`."""
    if end_m is None or not follower.track.accepted:
        return []
    if before_m is not None and end_m < before_m + 1e-3:
        text = (
            f"The stroke's end was told at {end_m:.2f} m, not beyond the one before it at {before_m:.2f} m: one of the two "
            "is wrong. Each counts as a stroke. Look at the counter."
        )
        return [Notice("stroke_end_behind", text, end_m)]
    if end_m - follower.top_m <= APART * follower.drive.drive.stroke_m:
        return []
    text = (
        f"The stroke's end was told at {end_m:.2f} m, but the readings have come to {follower.top_m:.2f} m: one of them is "
        "wrong, or readings are missing. What is said of the face holds only if the end is right. Look at the counter."
    )
    return [Notice("stroke_end_apart", text, end_m)]


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
