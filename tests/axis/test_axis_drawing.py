"""`steer axis --plot`: what stands on the sheet, and that all of it can be read."""

import re
import shutil
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from steer.axis.drawing import axis_figure, draw_axis
from steer.axis.lettering import Sheet, beside, edge
from steer.cli.main import main
from steer.drivefile import load_drive

DATA = Path(__file__).parent / "data"


@pytest.fixture
def folder(tmp_path):
    drive = tmp_path / "drive"
    drive.mkdir()
    shutil.copy(DATA / "drive_curved.toml", drive / "drive.toml")
    return drive


def line(m):
    return f'{{ kind = "line", length_m = {m} }}, '


def spiral(m, start, end, turn):
    return f'{{ kind = "spiral", length_m = {m}, radius_start_m = {start}, radius_end_m = {end}, turn = "{turn}" }}, '


def arc(m, radius, turn):
    return f'{{ kind = "arc", length_m = {m}, radius_m = {radius}, turn = "{turn}" }}, '


def grade(m, g):
    return f'{{ kind = "grade", length_m = {m}, grade_mm_per_m = {g} }}, '


def parabola(m, g0, g1):
    return (
        f'{{ kind = "parabola", length_m = {m}, grade_start_mm_per_m = {g0}, grade_end_mm_per_m = {g1} }}, '
    )


INF = '"inf"'


def curve(m, radius, turn):
    return spiral(m, INF, radius, turn) + arc(m, radius, turn) + spiral(m, radius, INF, turn)


# start chainage, bearing, plan, profile
SHEETS = {
    "reversing curves and short profile elements": (
        0.0, 200.0, line(30) + curve(20, 600, "right") + curve(20, 500, "left") + line(10),
        grade(40, 4) + parabola(20, 4, 7) + grade(20, 7) + parabola(10, 7, 5) + grade(10, 5) + parabola(10, 5, 8)
        + grade(50, 8),
    ),
    "everything in the first metres": (
        0.0, 200.0, line(5) + spiral(1, INF, 300, "left") + arc(2, 300, "left") + line(1000), grade(1008, 0),
    ),
    "far round": (
        0.0, 20.0, line(40) + arc(900, 400, "left") + line(60),
        grade(300, 4) + parabola(200, 4, -6) + grade(500, -6),
    ),
    "a closed ring": (0.0, 90.0, arc(628.3185, 100, "right"), grade(628.3185, 5)),
    "over eighty elements": (
        1234.567, 310.0, line(200) + "".join(curve(4, 800, "right") + line(3) for _ in range(20)), grade(500, -3),
    ),
    "one metre": (0.0, 0.0, line(1), grade(1, 4)),
}  # fmt: skip


def drawn(folder, start, bearing, plan, profile):
    path = folder / "drive.toml"
    text = path.read_text()
    axis = (
        f"[axis]\nstart = {{ chainage_m = {start}, easting_m = 455000.123, northing_m = 5932000.456, "
        f"level_m = 12.34, bearing_deg = {bearing} }}\nhorizontal = [{plan}]\nvertical = [{profile}]\n\n"
    )
    path.write_text(re.sub(r"\[axis\].*?(?=\[tolerance\])", lambda _: axis, text, flags=re.DOTALL))
    drive = load_drive(folder)
    return drive.axis, axis_figure(drive.axis, drive.drive.name)


@pytest.mark.parametrize("name", SHEETS)
def test_no_words_lie_on_others_or_on_the_line(folder, name):
    """Extents as the drawing library itself measures them on the finished sheet."""
    figure = drawn(folder, *SHEETS[name])[1]
    figure.canvas.draw()
    for ax in figure.axes[:2]:
        frame = ax.get_window_extent()
        boxes = [(t.get_text(), t.get_window_extent()) for t in ax.texts if t.get_text()]
        for words, box in boxes:
            assert frame.x0 <= box.x0 and box.x1 <= frame.x1, words
            assert frame.y0 <= box.y0 and box.y1 <= frame.y1, words
        for (words, a), (others, b) in combinations(boxes, 2):
            assert not a.overlaps(b), (words, others)
        on_page = ax.transData.transform(ax.lines[0].get_xydata())
        for words, box in boxes:
            assert not ((on_page > box.min) & (on_page < box.max)).all(axis=1).any(), words


def test_every_element_is_named_or_counted(folder):
    axis, figure = drawn(folder, *SHEETS["over eighty elements"])
    plan = figure.axes[0]
    named = [t for t in plan.texts if t.get_text().startswith(("line", "arc", "clothoid"))]
    told = re.search(r"no room to name (\d+) of (\d+) elements", plan.get_title(loc="left"))
    assert len(axis.plan.elements) == int(told[2]) == len(named) + int(told[1])
    axis, figure = drawn(folder, *SHEETS["reversing curves and short profile elements"])
    for ax, elements in zip(figure.axes, (axis.plan.elements, axis.profile.elements), strict=False):
        words = [t for t in ax.texts if re.match("line|arc|clothoid|parabola|.*rising", t.get_text())]
        assert len(words) == len(elements) and "no room" not in ax.get_title(loc="left")


def test_the_plan_has_one_scale(folder):
    """The chord between the ends measured on the page, at whatever direction, by one number of pixels a metre."""
    for sheet in ("far round", "reversing curves and short profile elements"):
        axis, figure = drawn(folder, *SHEETS[sheet])
        plan = figure.axes[0]
        figure.canvas.draw()
        s = np.linspace(axis.start_chainage_m, axis.end_chainage_m, 2000)
        at = axis.at(s)
        true = np.hypot(at.easting_m - at.easting_m[0], at.northing_m - at.northing_m[0])[1:]
        page = plan.transData.transform(plan.lines[0].get_xydata())
        scale = np.hypot(*(page - page[0])[1:].T) / true
        assert np.ptp(scale) < 1e-6 * scale[0]


def test_room_is_found_or_not():
    sheet = Sheet((0.0, 0.0, 100.0, 50.0))
    sheet.draw(np.array([[0.0, 25.0], [100.0, 25.0]]))
    size = (40.0, 10.0)
    assert not sheet.free(np.array([50.0, 25.0]), size)  # on the line
    assert not sheet.free(np.array([10.0, 40.0]), size)  # across the frame
    at, along = np.array([50.0, 25.0]), np.array([1.0, 0.0])
    below = sheet.place(size, beside(at, along, size, (4.0, 8.0), 5.0), at)
    assert tuple(below) == (50.0, 16.0)
    above = sheet.place(size, beside(at, along, size, (4.0, 8.0), 5.0), at)
    assert tuple(above) == (50.0, 34.0)
    assert tuple(edge(above, size, at)) == (50.0, 29.0)
    # a third one finds no way past the two without crossing a leader or leaving the frame
    assert sheet.place(size, [np.array([50.0, 45.0])], at) is None


@pytest.mark.parametrize("suffix", ["png", "pdf", "svg"])
def test_drawing(folder, capsys, tmp_path, suffix):
    path = tmp_path / f"axis.{suffix}"
    assert main(["axis", str(folder), "--plot", str(path)]) == 0
    assert path.name in capsys.readouterr().err
    begins = {"png": b"\x89PNG", "pdf": b"%PDF", "svg": b"<?xml"}[suffix]
    assert path.read_bytes().startswith(begins)
    assert main(["axis", str(folder), "--plot", str(tmp_path / "no" / f"axis.{suffix}")]) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_drawing_says_what_is_drawn(folder, tmp_path, monkeypatch):
    """The words on the sheet, read from an SVG that keeps them as text."""
    import matplotlib

    monkeypatch.setitem(matplotlib.rcParams, "svg.fonttype", "none")
    draw_axis(load_drive(folder).axis, tmp_path / "axis.svg", "Test drive")
    text = (tmp_path / "axis.svg").read_text()
    for words in (
        "Test drive: design axis",
        "line 60.000 m",
        "clothoid right 20.000 m",
        "straight to R 600.00 m",
        "arc right R 600.00 m",
        "4.000 mm/m rising, 100.000 m",
        "parabola, +4.000 to +7.000 mm/m",
        "E 5122.286",
        "heights 25 times the lengths",
    ):
        assert words in text, words
