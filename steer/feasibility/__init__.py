"""Whether the drive can be driven at all: pipes, machine and guidance against the design axis.

Geometry from drive.toml before a machine is in the ground. Limits are those of the drive file; where it
gives none, the figure stands alone.
"""

from __future__ import annotations

from steer.drivefile import DriveFile
from steer.feasibility import beam as _beam
from steer.feasibility import curves as _curves
from steer.feasibility import grades as _grades
from steer.feasibility import transitions as _transitions
from steer.feasibility.findings import CAUTION, Finding, Verdict, answer, page

__all__ = ["CAUTION", "Finding", "Verdict", "answer", "feasibility", "page"]


def feasibility(drive: DriveFile) -> tuple[Finding, ...]:
    """Every finding on this drive, in the order of a page: pipes, machine, guidance, fall."""
    force, build_up = _curves.force(drive), _transitions.build_up(drive)
    return (
        _curves.joints(drive),
        *((force,) if force is not None else ()),
        _curves.overcut(drive),
        _curves.articulation(drive),
        *((build_up,) if build_up is not None else ()),
        _curves.cylinders(drive),
        *_beam.beam(drive),
        _grades.fall(drive),
    )
