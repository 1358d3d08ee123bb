"""Stretches of another tolerance on the strips, against what the as-built account judges by."""

import re
from dataclasses import replace
from types import SimpleNamespace

import fake_drive
import numpy as np
import pytest

from steer.advice import ToleranceStretch
from tui.draw import spans, stretch, strip
from tui.draw.limits import limit_mm, runs
from tui.draw.scene import Scene

STRETCHES = (ToleranceStretch(80.0, 92.0, 20.0, 10.0), ToleranceStretch(90.0, 120.0, 35.0, 15.0))


def rows(plane, stretches, height=11, width=120):
    scene = Scene(replace(fake_drive.good(), tolerance_stretches=stretches), age_s=5.0)
    where = stretch.reach(scene, width)
    return where, [spans.plain(row)[where.margin :] for row in strip.draw(scene, plane, where, height)]


def rule(line, column):
    """Whether a row shows a limit thereabouts: drawn, or named."""
    return any(c == "─" or c.isalnum() for c in line[column - 2 : column + 3])


def test_the_tightest_counts_as_in_the_as_built_account():
    from steer.asbuilt.tolerances import tolerance_mm

    snapshot = replace(fake_drive.good(), tolerance_stretches=STRETCHES)
    file = SimpleNamespace(tolerance=SimpleNamespace(line_mm=50.0, level_mm=30.0, ranges=STRETCHES))
    at = np.arange(0.0, 150.0, 0.25)
    told = tolerance_mm(file, at)
    assert [limit_mm(snapshot, "line", s) for s in at] == told[:, 0].tolist()
    assert [limit_mm(snapshot, "level", s) for s in at] == told[:, 1].tolist()


def test_a_stretch_shorter_than_a_column_still_shows():
    snapshot = replace(fake_drive.good(), tolerance_stretches=(ToleranceStretch(10.2, 10.3, 5.0, 5.0),))
    assert limit_mm(snapshot, "line", 10.0, 11.0) == 5.0
    assert limit_mm(snapshot, "line", 11.0, 12.0) == 50.0


@pytest.mark.parametrize("plane", ["line", "level"])
def test_the_rule_steps_in_where_the_tolerance_is_tighter(plane):
    where, plain = rows(plane, ())
    _, stepped = rows(plane, STRETCHES)
    free, tight = where.column(75.0), where.column(85.0)
    assert rule(plain[0], free) and rule(plain[0], tight)
    assert rule(stepped[0], free) and not rule(stepped[0], tight)
    # Each rule is named, with its unit where the row leaves room for it.
    named = {
        "line": (r" 20 (mm )?right", r" 35 (mm )?right"),
        "level": (r" 10 (mm )?high", r" 15 (mm )?high"),
    }
    assert all(any(re.search(name, line) for line in stepped) for name in named[plane])


def test_outside_is_judged_where_the_face_is():
    snapshot = replace(fake_drive.good(), tolerance_stretches=(ToleranceStretch(95.0, 97.0, 10.0, 30.0),))
    text = spans.join(strip.draw(Scene(snapshot, age_s=5.0), "line", stretch.reach(Scene(snapshot), 80), 6))
    assert "OUTSIDE THE LIMIT" in text  # 12 mm left; the drive's own 50 mm does not count here
    assert "OUTSIDE" not in "\n".join(rows("line", ())[1])


def test_runs():
    assert list(runs([50.0, 50.0, 20.0, 50.0])) == [(0, 2, 50.0), (2, 3, 20.0), (3, 4, 50.0)]


@pytest.mark.parametrize("height", [4, 5, 8, 12])
def test_a_forecast_without_the_correction_that_runs_away_leaves_path_and_limits_apart(height):
    """It leaves the strip at a sign; each limit keeps a row of its own beside the axis."""
    base = fake_drive.good()
    away = tuple(
        replace(p, line_mm=p.line_mm + 30.0 * n) for n, p in enumerate(base.advice.forecast_unchanged)
    )
    path = replace(base.path, line_mm=base.path.line_mm * 0.2)
    snapshot = replace(base, advice=replace(base.advice, forecast_unchanged=away), path=path, shots=())
    scene = Scene(snapshot, age_s=1.0)
    rows = [spans.plain(row) for row in strip.draw(scene, "line", stretch.reach(scene, 80), height)]
    ruled = [y for y, row in enumerate(rows) if "limit" in row]
    driven = [y for y, row in enumerate(rows) if "▀" in row or "▄" in row or "█" in row]
    assert len(ruled) == 2 and not set(ruled) & set(driven)
    assert "^" in rows[0] and "without" in rows[0]
