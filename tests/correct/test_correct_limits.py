"""No limit is broken after rounding, whatever the situation, and there is always an answer."""

from __future__ import annotations

import dataclasses
from itertools import product

import numpy as np
import pytest

from steer.correct.advise import make_advice
from steer.correct.settings import settled
from steer.estimate.nodes import WRONG
from steer.machine.cylinders import extensions
from steer.says import advice_object

SITUATIONS = 1000


def standing(rng, drive):
    """Cylinders as they stand: whole steps within every limit; off-step; out of range; or not known."""
    cyl = drive.machine.cylinders
    low, high = cyl.range_mm
    n = len(cyl.positions_deg)
    angle, size = rng.uniform(0, 2 * np.pi), drive.machine.max_articulation_mm_per_m * np.sqrt(rng.random())
    a = np.array([np.cos(angle), np.sin(angle)]) * size
    fit = np.clip(extensions(a[0], a[1], 0.0, cyl), low, high)
    kind = rng.choice(
        ["whole", "off", "outside", "unknown", "wild", "some missing"], p=[0.5, 0.2, 0.1, 0.1, 0.05, 0.05]
    )
    if kind == "whole":
        return kind, np.clip(
            np.round(fit / cyl.step_mm),
            np.ceil(low / cyl.step_mm - 1e-9),
            np.floor(high / cyl.step_mm + 1e-9),
        ) * cyl.step_mm
    if kind == "off":
        return kind, fit + rng.uniform(-0.4, 0.4, n)
    if kind == "outside":
        return kind, fit + rng.choice([-1, 1]) * rng.uniform(0, 0.3 * (high - low))
    if kind == "wild":
        return kind, rng.uniform(low - 50, high + 50, n)
    if kind == "some missing":
        fit[0] = np.nan
        return kind, fit
    return kind, None


def broken(drive, cylinder_mm, made, now, advised):
    """Which limits a setting breaks, written apart from the code under test."""
    cyl, m = drive.machine.cylinders, drive.machine
    found = set()
    if np.hypot(*made) > m.max_articulation_mm_per_m + 1e-6:
        found.add("articulation")
    if now is not None and np.abs(made - now).max() > m.max_change_mm_per_m + 1e-6:
        found.add("change")
    if advised is not None and np.abs(made - advised).max() > m.max_change_mm_per_m + 1e-6:
        found.add("change since advised")
    if cylinder_mm.min() < cyl.range_mm[0] - 1e-9 or cylinder_mm.max() > cyl.range_mm[1] + 1e-9:
        found.add("range")
    if np.abs(cylinder_mm / cyl.step_mm - np.round(cylinder_mm / cyl.step_mm)).max() > 1e-6:
        found.add("step")
    return found


def can_be_kept(drive, roll_deg, now, advised):
    """Whether any whole-step setting near keeps articulation, change and range: looked for by brute force."""
    cyl, m = drive.machine.cylinders, drive.machine
    low, high = cyl.range_mm
    up = np.array(list(product((0, 1), repeat=len(cyl.positions_deg))))  # the step below, or the one above
    for c in (now, 0.5 * (now + advised) if advised is not None else now, now * 0.9):
        exact = extensions(c[0], c[1], roll_deg, cyl) / cyl.step_mm
        mm = (np.floor(exact) + up) * cyl.step_mm
        mm = mm[(mm.min(1) >= low) & (mm.max(1) <= high)]
        made = settled(drive.machine, mm, roll_deg).T
        kept = np.hypot(made[:, 0], made[:, 1]) <= m.max_articulation_mm_per_m - 2e-3
        for start in [now] if advised is None else [now, advised]:
            kept &= np.abs(made - start).max(1) <= m.max_change_mm_per_m - 2e-3
        if kept.any():
            return True
    return False


def test_no_limit_is_broken_in_a_thousand_situations(draw) -> None:
    seen = {}
    for seed in range(SITUATIONS):
        rng, drive, estimator, node = draw(seed)
        kind, now_mm = standing(rng, drive)
        roll = float(rng.choice([rng.normal() * 1.0, rng.uniform(-180, 180)]))
        opposite = bool(rng.random() < 0.15)
        if opposite:
            against, mirror = rng.uniform(0.0, 20.0, (WRONG, 2)), rng.normal(size=(WRONG, 2)) * 5.0
            node = dataclasses.replace(node, against=against, torn=against, mirror=mirror)
        if now_mm is None or not np.isfinite(now_mm).all():
            node = dataclasses.replace(node, articulation=node.articulation * 0.5)
            now = node.articulation
        else:
            now = settled(drive.machine, now_mm, roll)
        advised = None if rng.random() < 0.3 else now + rng.normal(size=2) * rng.choice([0.2, 2.0, 15.0])
        advice = make_advice(
            drive, estimator, node, 1, now_mm if kind != "some missing" else None, roll, (),
            opposite=opposite, trusted=not opposite, advised=advised,
        )  # fmt: skip
        text = repr(advice_object(advice))
        assert "nan" not in text and "inf" not in text.replace("'inf", ""), (seed, text)
        mm = np.array(advice.correction.cylinder_mm)
        made = settled(drive.machine, mm, roll)
        said = np.array([advice.correction.right_mm_per_m, advice.correction.up_mm_per_m])
        assert np.abs(made - said).max() < 1e-9
        found = broken(drive, mm, made, now, advised)
        assert not found & {"range", "step"}, (seed, kind, found)
        gave = [n for n in advice.notices if n.code == "limit_gave_way"]
        if found & {"articulation", "change"}:
            assert gave, (seed, kind, found)
            for limit in found & {"articulation", "change"}:
                assert f"{limit} of" in gave[0].text.lower(), (seed, found, gave[0].text)
            assert not can_be_kept(drive, roll, now, None), (seed, kind, found)
        elif "change since advised" in found:
            assert not can_be_kept(drive, roll, now, advised), (seed, kind, found)
        seen[kind] = seen.get(kind, 0) + bool(found & {"articulation", "change"})
    # what starts inside every limit never leaves it, unless a single step is coarser than the limit
    assert seen["whole"] <= 3, seen


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_what_is_not_a_number_never_comes_out(draw, bad: float) -> None:
    _, drive, estimator, node = draw(3)
    n = len(drive.machine.cylinders.positions_deg)
    for now_mm, roll in ((np.full(n, bad), 0.0), (np.full(n, drive.machine.cylinders.neutral_mm), bad)):
        advice = make_advice(drive, estimator, node, 1, now_mm, roll, ())
        shown = advice_object(advice)
        assert np.isfinite(shown["correction"]["cylinder_mm"]).all()
        assert np.isfinite([shown["correction"]["right_mm_per_m"], shown["correction"]["up_mm_per_m"]]).all()
    broken_state = dataclasses.replace(node, x=np.full_like(node.x, np.nan))
    advice = make_advice(drive, estimator, broken_state, 1, None, 0.0, ())
    assert np.isfinite(advice.correction.cylinder_mm).all()
    assert advice.forecast == () and advice.eye_probability is None
