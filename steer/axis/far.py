"""What may be wrong with a point that lies far from the axis."""

from __future__ import annotations

import math

from steer.axis.axis import Axis

FAR_M = 10.0  # off the axis or beyond its ends: what nobody surveys of a drive; own choice, no source
_FOOT_M = 0.3048


def off_axis_m(axis: Axis, easting_m: float, northing_m: float, level_m: float) -> tuple[float, float]:
    """Distance (m) from the axis, and how far beyond its ends the foot lies (m, + beyond the end, - before the
    start, 0 between them); both inf without a unique foot."""
    place = axis.locate(easting_m, northing_m, level_m)
    if not place.ok:
        return math.inf, math.inf
    s = float(place.chainage_m)
    beyond = max(s - axis.end_chainage_m, 0.0) + min(s - axis.start_chainage_m, 0.0)
    return math.hypot(float(place.line_mm), float(place.level_mm)) / 1000.0, beyond


def doubt(axis: Axis, easting_m: float, northing_m: float, level_m: float) -> str | None:
    """Words for a point more than FAR_M off the axis or beyond its ends; None for any other.

    Says which slip would bring it to the axis: easting and northing changed over, level in another place,
    feet for metres.
    """
    off, beyond = off_axis_m(axis, easting_m, northing_m, level_m)
    if off == math.inf or (off <= FAR_M and abs(beyond) <= FAR_M):
        return None
    e, n, z = easting_m, northing_m, level_m
    where = [f"{_far(off)} off the axis"] if off > FAR_M else []
    if abs(beyond) > FAR_M:
        where.append(f"{_far(abs(beyond))} {'beyond its end' if beyond > 0.0 else 'before its start'}")
    slips = (
        ("easting and northing are changed over", (n, e, z)),
        *(
            ("easting, northing and level are changed over", order)
            for order in ((e, z, n), (n, z, e), (z, e, n), (z, n, e))
        ),
        ("they are in feet", (e * _FOOT_M, n * _FOOT_M, z * _FOOT_M)),
        ("the level is in feet", (e, n, z * _FOOT_M)),
        ("the level is in millimetres", (e, n, z / 1000.0)),
    )
    said = "another grid, or another point?"
    for words, (e2, n2, z2) in slips:
        other, past = off_axis_m(axis, e2, n2, z2)
        if other <= FAR_M and abs(past) <= FAR_M:
            said = f"perhaps {words}: it would lie {_near(other)} off the axis then"
            break
    return f"lies {' and '.join(where)}: {said}"


def _far(metres: float) -> str:
    return f"{metres / 1000.0:.1f} km" if metres >= 9950.0 else f"{metres:.0f} m"


def _near(metres: float) -> str:
    return f"{metres:.1f} m" if metres >= 0.95 else f"{1000.0 * metres:.0f} mm"
