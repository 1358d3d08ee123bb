"""Invented practice drive and replay for pictures of their screens: the core's own words over invented figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib import resources

import numpy as np
from fake_drive import FakeDrive, good, warning

from steer.advice import Advice, Snapshot
from steer.closed_loop import Measures
from steer.closed_loop.whole import Driven
from steer.drivefile import DriveFile, parse_drive
from steer.errors import InputRefused
from steer.practice import Debrief, report
from steer.practice.debrief import Apart
from steer.practice.showing import shown
from steer.replay import compared
from steer.replay.moments import Moment
from steer.replay.reel import Frame, Known, looked_ahead
from steer.replay.said import beside
from steer.replay.whatif import WhatIf

FACES_M = (1.0, 34.0, 66.0, 96.0)  # moments of the replay


def file() -> DriveFile:
    """The sample drive's own file, for its tolerances and limits."""
    return parse_drive((resources.files("sample_surveys") / "quillbeck_lane" / "drive.toml").read_text())


def measures(scale: float) -> Measures:
    return Measures(
        6.2 * scale, 3.1 * scale, 17.0 * scale, 9.0 * scale, 1.2 * max(0.0, scale - 2.0), 3.4 * scale,
        1.1 * scale, 4.0 * scale, -2.0 * scale, None, 1240.0 + 90.0 * scale, 3400.0 - 160.0 * scale,
        0.32 + 0.04 * scale,
    )  # fmt: skip


class FakePractice(FakeDrive):
    """Hides the proposal when that is the exercise; `jack` goes one stroke on."""

    def __init__(self, proposal: str = "shown", face_m: float = 0.0) -> None:
        super().__init__(good(face_m))
        self.proposal, self.chosen = proposal, None
        self.finished = False

    @property
    def may_accept(self) -> bool:
        return self.proposal != "hidden"

    def snapshot(self) -> Snapshot:
        named = replace(self.current, name="PRACTICE on mixed face (invented ground)")
        return shown(named, self.proposal, self.chosen)

    def override(
        self,
        right_mm_per_m: float,
        up_mm_per_m: float,
        shown: Advice | None = None,
        shown_mm=None,
        despite=(),
    ) -> None:
        mm = self.try_setting(right_mm_per_m, up_mm_per_m).cylinder_mm
        self.chosen = {
            "kind": "overridden", "right_mm_per_m": right_mm_per_m, "up_mm_per_m": up_mm_per_m,
            "cylinder_mm": mm,
        }  # fmt: skip
        super().override(right_mm_per_m, up_mm_per_m)

    def jack(self) -> str:
        self.chosen = None
        self.put(good(self.current.advice.chainage_m + 1.0))
        return f"Jacked to {self.current.advice.chainage_m:.2f} m with cylinders as they stood, straight."

    def debrief(self, told: Callable[[str, int, int], None]) -> list[str]:
        at = self.current.path.chainage_m
        strokes = np.zeros((int(at[-1]), 2))
        three = [Driven(at, at, at, strokes, measures(scale)) for scale in (3.1, 1.2, 0.7)]
        apart = tuple(
            Apart(n, n - 1.0, (0.0, 0.1), (-8.6 + n / 10, 7.8)) for n in (37, 12, 58) if n <= at[-1]
        )
        return report(file(), Debrief(int(at[-1]), *three, apart))


class FakeReplay(FakeDrive):
    """Four moments of the invented drive; the last one is its end, and has notices."""

    def __init__(self, number: int = 0) -> None:
        super().__init__()
        self.number = number
        self.put(self.current)

    def wind(self, strokes: int) -> bool:
        wanted = min(max(self.number + strokes, 0), len(FACES_M) - 1)
        moved, self.number = wanted != self.number, wanted
        self.changed = True
        return moved

    def snapshot(self) -> Snapshot:
        last = self.number == len(FACES_M) - 1
        then = warning() if last else good(FACES_M[self.number])
        assert then.advice is not None
        estimate = then.advice.estimate
        now = Known(
            then.advice.chainage_m, estimate.line_mm - 3.0, 1.4, 0.1 if last else estimate.level_mm, 1.1
        )
        point = looked_ahead(then.advice)
        assert point is not None
        came = Known(point.chainage_m, point.line_mm + 4.0, 1.5, point.level_mm - 2.0, 1.5)
        frame = Frame(
            Moment(self.number, 0, now.chainage_m), then.advice, then, now,
            None if last else (-2.4, 0.6), "" if last else "accepted", None if last else came, (),
        )  # fmt: skip
        place = f"stroke {self.number + 1} of {len(FACES_M)}"
        return replace(
            then, name=f"REPLAY {then.name}", extra=then.extra | {"now": tuple(beside(frame)), "place": place}
        )

    def check_what_if(self, text: str) -> None:
        for setting in text.split():
            if "width" in setting:
                raise InputRefused(f"--set {setting}: allowed are tolerance.line_mm, tolerance.level_mm")

    def what_if(self, text: str, told: Callable[[int, int], None] | None = None) -> list[str]:
        settings = text.split()
        self.check_what_if(text)
        begin = FACES_M[self.number]
        at = np.arange(begin, 96.1, 0.5)
        stroke = np.arange(begin, 96.1, 1.0)
        line, level = 12.0 * np.sin(at / 9.0), -6.0 * np.sin(at / 7.0)
        set_mm = np.column_stack([3.0 * np.cos(stroke[1:] / 9.0), 1.0 * np.sin(stroke[1:] / 7.0)])
        found = WhatIf(
            begin, at, np.column_stack([line, level]), np.column_stack([0.7 * line, 1.1 * level]),
            np.full((len(at), 2), 0.8), stroke, set_mm, 0.8 * set_mm, measures(1.4), measures(1.0),
        )  # fmt: skip
        return [*compared.report(file(), found, settings), "", *compared.table(found)]
