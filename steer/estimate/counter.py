"""Doubt about the chainage counter: which jump nobody has answered yet, and what an answer means."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from steer.estimate.cells import NEAR_M, Jump
from steer.estimate.rulings import counter_lacks

if TYPE_CHECKING:
    from steer.estimate.follow import Follower

SAID_M = 15.0  # how far on a leap of the chainage is said at least
SAME_M = 5e-4  # a counter shows millimetres: what differs by less is the same
STROKES = 1.5  # so many strokes more than were told of may lie between two readings


def unanswered(follower: Follower, face_m: float) -> Jump | None:
    """The jump that holds at `face_m` and of which no person has spoken. A leap ahead holds until as much again is
    driven, since a file or a broken feed brings many metres at once; a fall as long as the track is lost."""
    for jump in reversed(follower.track.jumps):
        if _holds(follower, jump, face_m):
            return jump
    return None


def _holds(follower: Follower, jump: Jump, face_m: float) -> bool:
    if not jump.confirmed:
        return follower.track.lost
    spoken = max((ruling for _, _, ruling in follower.known.counter), default=0)
    return jump.sequence > spoken and 0 <= face_m - jump.to_m < said_m(jump)


def said_m(leap: Jump) -> float:
    """How far on from where it led a leap ahead is said (m)."""
    return max(SAID_M, leap.to_m - leap.from_m)


def doubtful(follower: Follower, jump: Jump) -> bool:
    """Whether nothing is to be steered by its chainage: it fell back, or leapt further than strokes' ends tell of."""
    driven_m = (jump.ends + STROKES) * follower.drive.drive.stroke_m
    return not jump.confirmed or jump.to_m - jump.from_m > driven_m


def undone_leap(follower: Follower, fall: Jump) -> Jump | None:
    """The leap ahead that a fall back took back, so that the counter reads what it would have without both."""
    leaps = [j for j in follower.track.jumps if j.confirmed and j.sequence < fall.first]
    back = [j for j in leaps if j.from_m - NEAR_M <= fall.to_m < j.to_m - NEAR_M]
    return back[-1] if back else None


def answers(follower: Follower, face_m: float, add_m: float) -> list[dict[str, Any]]:
    """What a person says of the counter who names no event: bodies of `chainage_set`, without `from_sequence` where it
    holds for readings still to come. While a jump is unanswered, what the counter lacks (m) holds from there on.
    0 says that it is right: now, where it fell back from a leap, which then was none."""
    jump = unanswered(follower, face_m)
    if jump is None:
        return [{"add_m": add_m}]
    if add_m != 0.0:
        return [{"add_m": add_m, "from_sequence": jump.first}]
    leap = None if jump.confirmed else undone_leap(follower, jump)
    if leap is None:
        return [{"add_m": 0.0}]
    return [
        {
            "add_m": counter_lacks(follower.known.counter, leap.first) + leap.from_m - leap.to_m,
            "from_sequence": leap.first,
        },
        {"add_m": 0.0, "from_sequence": jump.first},
    ]


def changes_nothing(follower: Follower, face_m: float, since: int, add_m: float) -> bool:
    """Whether this much (m) is added to the counter from the sequence `since` on already, and no jump waits for a
    word: then a person's word would be one more event and nothing else."""
    said = follower.known.counter
    from_there = [since, *(first for first, _, _ in said if first > since)]
    return unanswered(follower, face_m) is None and all(
        abs(counter_lacks(said, at) - add_m) < SAME_M for at in from_there
    )
