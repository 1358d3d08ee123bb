"""Whether a gravity line on this axis would fall all the way."""

from __future__ import annotations

import numpy as np

from steer.drivefile import DriveFile
from steer.feasibility.curves import chainages
from steer.feasibility.findings import Finding


def fall(drive: DriveFile) -> Finding:
    """The least grade, low and high points, and how far the level tolerance can undo the fall."""
    at = chainages(drive.axis)
    grade = np.asarray(drive.axis.at(at).grade_mm_per_m)
    least = float(np.abs(grade).min())
    where = float(at[int(np.argmax(np.abs(grade) < least + 1e-9))])
    some = np.flatnonzero(np.abs(grade) > 1e-9)  # a summit's own place has none
    turns = np.flatnonzero(np.diff(np.sign(grade[some])) != 0)
    if turns.size or least < 0.005:
        places = [float(0.5 * (at[some[i]] + at[some[i + 1]])) for i in turns[:6]]
        low = grade[-1] > 0.0
        text = (
            "the grade changes between rising and falling at chainage "
            + ", ".join(f"{p:.1f}" for p in places)
            + " m: a gravity line would hold water at a low point and run both ways from a high one"
            if places
            else "the axis is level all the way: a gravity line has no fall"
            if not some.size
            else f"the axis is level at chainage {where:.1f} m{' and rises from there' if low else ''}: "
            "a gravity line has no fall there"
        )
        return Finding("Fall", least, None, "mm/m", "tight", text)
    way = "rising" if grade[0] > 0.0 else "falling"
    lost = 2.0 * drive.tolerance.level_mm / least
    text = (
        f"{way} all the way, least {least:.2f} mm/m at chainage {where:.1f} m. Between two points closer "
        f"than {lost:.0f} m the level tolerance alone can undo it; a pipe pitched {least:.2f} mm/m "
        "off grade lies level"
    )
    return Finding("Fall", least, None, "mm/m", "note", text)
