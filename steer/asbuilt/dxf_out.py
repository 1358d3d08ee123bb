"""Plan and long section as DXF (ezdxf), in metres.

The plan lies in the survey's own coordinates, design and as-built as polylines in space. Beside it, so
that nothing has to be guessed, two strips over chainage: the long section with heights exaggerated, and
line and level deviations at DEVIATION times their size, with tolerance and 95 % band.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from steer.asbuilt import words
from steer.asbuilt.conformance import Verdict
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.tolerances import tolerance_along
from steer.text import printable

DEVIATION = 100.0  # 10 mm are drawn 1 m high
_HEIGHTS = (1, 2, 5, 10, 20, 50, 100, 200, 500)
LAYERS = (  # name, colour index, line type
    ("DESIGN", 7, "CONTINUOUS"), ("AS_BUILT", 5, "CONTINUOUS"), ("TOLERANCE", 8, "DASHED"),
    ("JOINTS", 3, "CONTINUOUS"), ("OUTSIDE", 1, "CONTINUOUS"), ("TEXT", 7, "CONTINUOUS"),
    ("FRAME", 9, "CONTINUOUS"), ("BAND_95", 4, "CONTINUOUS"),
)  # fmt: skip


def write_dxf(record: AsBuilt, path: Path) -> None:
    """Write the drawing."""
    import ezdxf
    from ezdxf import units

    drawing = ezdxf.new("R2010", setup=True)
    drawing.units = units.M
    for name, colour, kind in LAYERS:
        drawing.layers.add(name, color=colour, linetype=kind)
    space = drawing.modelspace()
    _plan(space, record)
    axis = record.file.axis
    at = record.metres.lie.chainage_m
    origin = float(record.metres.easting_m.min()), float(record.metres.northing_m.min())
    length = axis.end_chainage_m - axis.start_chainage_m
    size = max(length / 110.0, 0.2)  # text height
    below = origin[1] - 0.15 * length - 10 * size
    below = _section(space, record, origin[0], below, size)
    for plane, name in enumerate(("line deviation, right is up", "level deviation, high is up")):
        below = _strip(space, record, plane, name, origin[0], below, size)
    _text(
        space, f"{record.file.drive.name}: as built, chainage {at[0]:.1f} to {at[-1]:.1f} m", origin[0],
        below, 1.5 * size,
    )  # fmt: skip
    for line in (
        f"steer {record.version}, log of {record.seal.events} events, SHA-256 {record.seal.head[:24]}…",
        "An estimate from readings and surveys: it replaces no survey. Circles: outside tolerance.",
    ):
        below -= 2.0 * size
        _text(space, line, origin[0], below, size)
    drawing.saveas(path)


def _plan(space: Any, record: AsBuilt) -> None:
    axis = record.file.axis
    s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 501)
    point = axis.at(s)
    space.add_polyline3d(
        list(zip(point.easting_m, point.northing_m, point.level_m, strict=True)),  # type: ignore[arg-type]
        dxfattribs={"layer": "DESIGN"},
    )
    m = record.metres
    built = list(zip(m.easting_m.tolist(), m.northing_m.tolist(), m.level_m.tolist(), strict=True))
    space.add_polyline3d(built, dxfattribs={"layer": "AS_BUILT"})
    p = record.pipes
    for e, n, z in zip(p.easting_m.tolist(), p.northing_m.tolist(), p.level_m.tolist(), strict=True):
        space.add_point((e, n, z), dxfattribs={"layer": "JOINTS"})
    for i in np.flatnonzero(m.both == Verdict.OUTSIDE):
        space.add_circle(built[i], 0.3, dxfattribs={"layer": "OUTSIDE"})
    step = _step(axis.end_chainage_m - axis.start_chainage_m)
    for at in np.arange(np.ceil(axis.start_chainage_m / step) * step, axis.end_chainage_m + 1e-6, step):
        here = axis.at(float(at))
        _text(space, f"{at:g}", float(here.easting_m), float(here.northing_m), step / 25.0)


def _section(space: Any, record: AsBuilt, left: float, top: float, size: float) -> float:
    """Long section; returns where the next strip begins."""
    axis, m = record.file.axis, record.metres
    s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 501)
    design = np.asarray(axis.at(s).level_m, float)
    low, high = min(design.min(), m.level_m.min()), max(design.max(), m.level_m.max())
    length = axis.end_chainage_m - axis.start_chainage_m
    times = next((h for h in reversed(_HEIGHTS) if (high - low) * h <= 0.3 * length), 1)
    base = top - (high - low) * times - 4 * size

    def place(chainage: np.ndarray, level: np.ndarray) -> list[tuple[float, float]]:
        return list(
            zip(
                (left + chainage - axis.start_chainage_m).tolist(),
                (base + (level - low) * times).tolist(),
                strict=True,
            )
        )

    _text(space, f"long section, heights {times} times, level of base {low:.3f} m", left, top, size)
    space.add_lwpolyline(place(s, design), dxfattribs={"layer": "DESIGN"})
    space.add_lwpolyline(place(m.lie.chainage_m, m.level_m), dxfattribs={"layer": "AS_BUILT"})
    everywhere, limits = tolerance_along(record.file)
    middle = np.asarray(axis.at(everywhere).level_m, float)
    for edge in (limits[:, 1], -limits[:, 1]):
        drawn = place(everywhere, middle + edge / 1000.0)
        space.add_lwpolyline(drawn, dxfattribs={"layer": "TOLERANCE"})
    for at in (axis.start_chainage_m, axis.end_chainage_m):
        level = float(axis.at(at).level_m)
        ((x, y),) = place(np.array([at]), np.array([level]))
        _text(space, f"{level:.3f} m", x - 5.5 * size if at == axis.start_chainage_m else x + size, y, size)
    _ticks(space, record, left, base - 2 * size, size)
    return base - 8 * size


def _strip(space: Any, record: AsBuilt, plane: int, name: str, left: float, top: float, size: float) -> float:
    m, start = record.metres, record.file.axis.start_chainage_m
    scale = DEVIATION / 1000.0
    value = m.lie.offset_mm[:, plane]
    everywhere, limits = tolerance_along(record.file)
    half = max(float(np.abs(value).max()), float(limits[:, plane].max())) * scale
    middle = top - half - 4 * size
    x = (left + m.lie.chainage_m - start).tolist()

    def line(y: np.ndarray, layer: str, at: np.ndarray = m.lie.chainage_m) -> None:
        points = list(zip((left + at - start).tolist(), (middle + scale * y).tolist(), strict=True))
        space.add_lwpolyline(points, dxfattribs={"layer": layer})

    _text(space, f"{name}, {DEVIATION:g} times, tolerance dashed", left, top, size)
    line(0.0 * everywhere, "DESIGN", everywhere)
    line(value, "AS_BUILT")
    for sign in (1.0, -1.0):
        line(sign * limits[:, plane], "TOLERANCE", everywhere)
        at = sign * float(limits[0, plane])
        _text(space, words.side(at, plane), left - 7.0 * size, middle + scale * at, size)
    _text(space, "0 mm", left - 7.0 * size, middle, size)
    band = 1.96 * m.lie.sd_mm[:, plane]
    for y in (value + band, value - band):
        line(y, "BAND_95")
    for i in np.flatnonzero(m.verdict[:, plane] == Verdict.OUTSIDE):
        space.add_circle((x[i], middle + scale * value[i]), 0.3, dxfattribs={"layer": "OUTSIDE"})
    _ticks(space, record, left, middle - half - 2 * size, size)
    return middle - half - 8 * size


def _ticks(space: Any, record: AsBuilt, left: float, y: float, size: float) -> None:
    axis = record.file.axis
    step = _step(axis.end_chainage_m - axis.start_chainage_m)
    first = np.ceil(axis.start_chainage_m / step) * step
    for at in np.arange(first, axis.end_chainage_m + 1e-6, step):
        x = left + at - axis.start_chainage_m
        space.add_line((x, y), (x, y + size), dxfattribs={"layer": "FRAME"})
        _text(space, f"{at:g}", x, y - 1.5 * size, size)


def _step(length_m: float) -> float:
    return next((s for s in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if length_m / s <= 20), 200.0)


def _text(space: Any, text: str, x: float, y: float, height: float) -> None:
    # DXF reads %% and ^ in a text as codes
    plain = printable(text).replace("%%", "% %").replace("^", "^ ")
    space.add_text(plain, height=height, dxfattribs={"layer": "TEXT"}).set_placement((x, y))
