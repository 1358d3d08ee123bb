"""Total-station observations to coordinates by least squares.

residual      adjusted minus observed.
standardised  a residual over its own sd (Baarda's w).
redundancy    the share of an observation's error that shows in its residual, 0 (unchecked) to 1.
a priori      computed from the given sd, not scaled by how well the network fits.

The way through the room: `files` reads, `placing` and `frames` find first coordinates, `adjusting` solves,
`snooping` names suspects, `reduced` hands out the records.
"""

from steer.survey.files import read_control, read_observations
from steer.survey.observations import ControlPoint, Observation
from steer.survey.reduced import ReducedNetwork, ReducedPoint, reduce_network

__all__ = [
    "ControlPoint",
    "Observation",
    "ReducedNetwork",
    "ReducedPoint",
    "read_control",
    "read_observations",
    "reduce_network",
]
