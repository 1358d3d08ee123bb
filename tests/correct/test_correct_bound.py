"""Which limit makes the machine hold: held against the correction of the same drive without that limit."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from steer.correct import advise
from steer.correct.advise import make_advice, propose
from steer.correct.settings import settled

WAYS = {"right": (0, 1.0), "left": (0, -1.0), "up": (1, 1.0), "down": (1, -1.0)}


def without(drive, which):
    """The same drive with a limit of this kind far off."""
    machine, pipe = drive.machine, drive.pipe
    if which == "articulation":
        machine = machine.model_copy(update={"max_articulation_mm_per_m": 500.0})
    elif which == "cylinder":
        low, high = machine.cylinders.range_mm
        far = 1000.0 * machine.cylinders.step_mm
        wide = machine.cylinders.model_copy(update={"range_mm": (low - far, high + far)})
        machine = machine.model_copy(update={"cylinders": wide})
    else:
        pipe = pipe.model_copy(update={"max_joint_angle_mm_per_m": 500.0})
    return dataclasses.replace(drive, machine=machine, pipe=pipe)


def held(draw, seed):
    """Drive, estimator, node and cylinders of a machine that was set as proposed until it was told to hold."""
    _, drive, estimator, node = draw(seed)
    cyl = drive.machine.cylinders
    mm = np.full(len(cyl.positions_deg), np.round(cyl.neutral_mm / cyl.step_mm) * cyl.step_mm)
    for _ in range(12):
        node = dataclasses.replace(node, articulation=settled(drive.machine, mm, 0.0))
        found = propose(drive, estimator, node, mm, 0.0)
        if found.hold:
            break
        mm = found.chosen.cylinder_mm
    return drive, estimator, node, mm, found


def test_a_limit_is_named_only_where_the_correction_goes_further_without_it(draw) -> None:
    """A face far off line takes the machine to its limits. Each is looked for in the words and taken away."""
    seen = {"articulation": 0, "cylinder": 0, "joint": 0, "": 0}
    for seed in range(90):
        drive, estimator, node, mm, found = held(draw, seed)
        kinds = [k for k in ("articulation", "cylinder", "joint") if k in found.bound]
        kind = kinds[0] if kinds else ""
        seen[kind] += found.hold
        reason = make_advice(drive, estimator, node, 3, mm, 0.0, ()).reason
        assert (found.bound in reason) and (
            ("would gain less than it costs" in reason) == (found.hold and not kind)
        )
        if not kind:
            continue
        other = drive
        for k in kinds:
            other = without(other, k)
        free = propose(other, estimator, node, mm, 0.0)
        assert not free.hold
        change = free.plan.best - found.now
        ways = re.search(r"further (\w+)(?: and (\w+))?", found.bound)
        for word in filter(None, ways.groups()):
            plane, sign = WAYS[word]
            assert sign * change[plane] > 0.05, (seed, found.bound, change)
        if kinds == ["cylinder"]:
            numbers = [int(n) - 1 for n in re.findall(r"\d+", found.bound)]
            low, high = drive.machine.cylinders.range_mm
            end = np.minimum(mm - low, high - mm)[numbers]
            assert (end < 2.0 * drive.machine.cylinders.step_mm).all()
        if kind == "articulation":
            assert f"{drive.machine.max_articulation_mm_per_m:g} mm/m" in found.bound
    assert min(seen.values()) >= 3, seen


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_change_since_what_was_advised_is_named(draw, sign: float) -> None:
    """Cylinders left straight where a full change was advised to the other side: no more that way this stroke."""
    seen = 0
    for seed in range(90):
        drive, estimator, node, mm, found = held(draw, seed)
        if not found.hold or found.bound:
            continue
        x = node.x.copy()
        x[0, 0] -= sign * 200.0
        off = dataclasses.replace(node, x=x)
        advised = found.now - [sign * drive.machine.max_change_mm_per_m, 0.0]
        now = propose(drive, estimator, off, mm, 0.0, advised=advised)
        if now.hold and "advised before" in now.bound:
            seen += 1
            free = propose(drive, estimator, off, mm, 0.0)
            word = "right" if sign > 0 else "left"
            assert f"further {word}" in now.bound
            assert sign * (free.plan.best - found.now)[0] > 0.05
    assert seen >= 3


def test_a_change_is_said_to_be_cut_short_only_where_it_goes_further_without_that_limit(draw, monkeypatch):
    seen = {"change": 0, "articulation": 0, "cylinder": 0, "": 0}
    limits_of = advise.limits_of

    def free_in(plane):
        """The next change as large as one likes in this plane, all else as it is."""
        far = 100.0 * np.eye(2)[plane]

        def wider(*given):
            limits, low, high = limits_of(*given)
            wide = dataclasses.replace(
                limits, first_low=limits.first_low - far, first_high=limits.first_high + far
            )
            return wide, low, high

        return wider

    for seed in range(60):
        _, drive, estimator, node = draw(seed)
        x = node.x.copy()
        x[0::2, 0] += 150.0 * (seed % 3)  # far enough off that one stroke's change is not all that keeps it
        node = dataclasses.replace(node, x=x)
        cyl = drive.machine.cylinders
        mm = np.full(len(cyl.positions_deg), np.round(cyl.neutral_mm / cyl.step_mm) * cyl.step_mm)
        for _ in range(8):
            node = dataclasses.replace(node, articulation=settled(drive.machine, mm, 0.0))
            found = propose(drive, estimator, node, mm, 0.0)
            if found.hold:
                assert not found.cut
                break
            reason = make_advice(drive, estimator, node, 3, mm, 0.0, ()).reason
            assert ("Cut short" in reason) == bool(found.cut) and reason.endswith(f"{found.cut}.")
            change = found.plan.best - found.now
            kinds = [k for k in ("change", "articulation", "cylinder") if k in found.cut]
            for kind in kinds or [""]:
                seen[kind] += 1
            if "change" in kinds:
                planes = found.cut.split(":")[0].removeprefix("on ").split(" and ")
                for plane in (("line", "level").index(name) for name in planes):
                    with monkeypatch.context() as freed:
                        freed.setattr(advise, "limits_of", free_in(plane))
                        free = propose(drive, estimator, node, mm, 0.0).plan.best - found.now
                    assert free[plane] / change[plane] > 1.0, (seed, found.cut, change, free)
            elif kinds:
                other = drive
                for kind in kinds:
                    other = without(other, kind)
                free = propose(other, estimator, node, mm, 0.0).plan.best - found.now
                assert float(change @ (free - change)) > 0.0, (seed, found.cut, change, free)
            mm = found.chosen.cylinder_mm
    assert min(seen.values()) >= 3, seen
