"""What a check shot, or the reference set anew, does to the stack."""

from __future__ import annotations

from dataclasses import replace

from steer.estimate import filter as kalman
from steer.estimate import opening
from steer.estimate.motion import RD, RO, Y
from steer.estimate.nodes import Node
from steer.estimate.shots import Shot, ShotReport, sighting
from steer.estimate.stack import Stack


def take_setting(stack: Stack, before: Node, s_m: float) -> Node:
    """The node after the reference was set anew at `s_m`: its errors are drawn afresh."""
    node = stack.ahead(before, s_m, before.articulation, before.articulation)
    x, p = node.x.copy(), node.p.copy()
    for state, sd in ((RO, stack.priors.reference_offset), (RD, stack.priors.reference_direction)):
        x[:, state] = 0.0
        p[:, state, :] = 0.0
        p[:, :, state] = 0.0
        p[:, state, state] = sd * sd
    # the cut in the covariance is not a motion: the smoother must not carry it back
    phi = node.phi.copy()
    phi[:, RO, :] = phi[:, RD, :] = 0.0
    return replace(node, x=x, p=p, x_before=x, p_before=p, phi=phi)


def take_shot(stack: Stack, before: Node, shot: Shot, reached: bool) -> Node:
    """The node after a check shot; `reached`: the face has been where it was taken. One that does not count leaves
    the node before as it was, and stands for it."""
    node = stack.ahead(before, max(shot.s_m, before.s_m), before.articulation, before.articulation)
    x, p = node.x, node.p
    a = stack.acting(node, node.articulation)
    seen = sighting(
        shot, stack.body, stack.axis, a, stack.plane, before.roll_deg, x, p, node.weights, before.roll_doubt
    )
    asks = shot.asks and (seen.disagrees.any() or shot.repeats is not None)
    counts = reached and (shot.word == "accepted" if shot.word else not asks)
    report = ShotReport(
        shot, seen.innovation, seen.innovation_sd, bool(counts and seen.disagrees.any()),
        node.blend()[0][:, Y], counts, reached, seen.disagrees, seen.values_mm, seen.covariance_mm2,
        seen.arm_mm,
    )  # fmt: skip
    if not counts:
        return replace(before, report=report, stands_for=before)
    if seen.disagrees.any():
        # News of this size is not in the model: let it be the reference's, along the directions
        # (face and reference together) that the readings cannot tell.
        beam_m = node.s_m - stack.body.target_m - stack.axis.start_chainage_m
        beam = stack.drive.reference.kind == "beam"
        p = opening.of_shot(p, stack.plane, seen.each, seen.disagrees, beam_m if beam else None)
    p_before = p
    x, p, _, _ = kalman.update(x, p, seen.z, seen.row, seen.r, seen.use)
    return replace(node, x=stack.bounded(x, p), p=p, x_before=node.x, p_before=p_before, report=report)
