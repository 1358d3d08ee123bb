"""The machine's own geometry: cylinders to articulation and back, and the target's lever arm."""

from steer.machine.cylinders import (
    Articulation,
    Cylinders,
    Misread,
    articulation,
    completed,
    extension_rows,
    extensions,
    misread,
)
from steer.machine.target import (
    axis_offset_from_spot,
    axis_offset_from_target,
    spot_from_axis_offset,
    to_gravity,
    to_machine,
)

__all__ = [
    "Articulation",
    "Cylinders",
    "Misread",
    "articulation",
    "axis_offset_from_spot",
    "axis_offset_from_target",
    "completed",
    "extension_rows",
    "extensions",
    "misread",
    "spot_from_axis_offset",
    "to_gravity",
    "to_machine",
]
