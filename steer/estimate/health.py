"""What the innovations say about sensors, reference, ground and steering, all findings together."""

from __future__ import annotations

from dataclasses import dataclass

from steer.advice import Notice
from steer.estimate.findings import ground, readings, reference, steering
from steer.estimate.follow import Follower
from steer.estimate.nodes import Node, cells_of
from steer.estimate.sureness import sureness

LAST_NODES = 400  # of the estimate, further back than any finding looks


@dataclass(frozen=True)
class Health:
    """Findings, and what they mean for the proposal."""

    notices: tuple[Notice, ...]
    opposite: bool
    trusted: bool
    unseen: bool = False  # the spot is lost or stuck
    survey_asked: bool = False  # a finding asks for a check shot now, however sure the estimate is


def examine(
    follower: Follower, node: Node, end_m: float | None = None, end_before_m: float | None = None
) -> Health:
    """Every finding that holds at `node`, the newest state, in the order in which they are told. `end_m` is the chainage
    of a stroke's end that was told after the readings, `end_before_m` that of the end told before it."""
    estimator, drive = follower.estimator, follower.drive
    nodes = [n for n in estimator.nodes[-LAST_NODES:] if n.s_m <= node.s_m + 1e-9]
    cells = cells_of(nodes)
    opposite = steering.steering_opposite(cells, node)
    unsure, sure = sureness(node, drive, len(reference.undecided(estimator)))
    jumped, placed = readings.jumped(follower, node)
    moved, asked = reference.moved(nodes, cells, node, estimator)
    lost = [] if follower.spot.stuck else readings.beam_lost(cells, node, estimator)
    notices = (
        *readings.refused(cells, node),
        *readings.scatter(nodes, node),
        *lost,
        *reference.launch(cells, node),
        *moved,
        *reference.waiting(node, estimator),
        *(n for n in reference.drifting(node, estimator) if n.code not in {m.code for m in moved}),
        *readings.stuck(follower, node),
        *readings.cylinders(follower, node),
        *([opposite] if opposite else steering.steering_weak(cells, node, estimator)),
        *ground.ground_changed(cells, node),
        *jumped,
        *([] if jumped else readings.end_apart(follower, end_m, end_before_m)),
        *readings.went_wrong(node, estimator),
        *unsure,
    )
    unseen = bool(lost) or follower.spot.stuck
    blind = readings.blind(follower, node)
    return Health(notices, opposite is not None, sure and placed and not blind, unseen, asked or blind)
