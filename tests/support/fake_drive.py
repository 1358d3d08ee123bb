"""An invented drive for the screens' tests: a source like `steer.drive.Drive`, without a log."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from steer.advice import (
    Advice,
    Correction,
    FaceEstimate,
    ForecastPoint,
    Notice,
    Path,
    ShotView,
    Snapshot,
)
from steer.errors import InputRefused

ARRIVED = "2026-03-04T09:41:20+00:00"
ARRIVED_S = 1772617280.0
LATELY = "2 of 60 spots on line, 3 of 58 yaw readings since 93.0 m"


def path(face_m: float) -> Path:
    """A path that wanders and comes back; its uncertainty grows with distance from the last check shot."""
    chainage = np.arange(0.0, face_m + 1e-9, 0.1)
    line = 14.0 * np.sin(chainage / 17.0) + 6.0 * np.sin(chainage / 5.3)
    level = -9.0 * np.sin(chainage / 23.0) - 3.0 * np.cos(chainage / 4.1)
    since = np.mod(chainage, 30.0)
    return Path(chainage, line, 1.5 + 0.12 * since, level, 1.2 + 0.05 * since)


def good(face_m: float = 96.0, hold: bool = False) -> Snapshot:
    """Two thirds of an invented 150 m drive, all well."""
    driven = path(face_m)
    line, level = float(driven.line_mm[-1]), float(driven.level_mm[-1])
    ahead = [face_m + n for n in range(1, 13)]
    with_it = tuple(
        ForecastPoint(s, line * 0.82**n, 2.0 + 0.4 * n, level * 0.8**n, 1.5 + 0.3 * n)
        for n, s in enumerate(ahead, 1)
    )
    without = tuple(
        ForecastPoint(s, line + 1.1 * n + 0.12 * n * n, 2.0 + 0.4 * n, level - 0.9 * n, 1.5 + 0.3 * n)
        for n, s in enumerate(ahead, 1)
    )
    correction = Correction(-3.5, 1.2, (37.0, 39.0, 35.0, 33.0), False)
    if hold:
        correction = Correction(-2.0, 0.8, (36.0, 38.0, 36.0, 34.0), True)
    advice = Advice(
        stroke=int(face_m),
        chainage_m=face_m,
        estimate=FaceEstimate(line, 2.1, level, 1.4, -0.8, 0.3, 0.2, 0.2),
        correction=correction,
        forecast=with_it,
        notices=(),
        reason=(
            "The nose stays within 3 mm of line; a change would gain less than it costs."
            if hold
            else "The nose runs to the right and will be 21 mm off in 12 m; steer early and little."
        ),
        forecast_unchanged=with_it if hold else without,
        cylinder_now_mm=(36.0, 38.0, 36.0, 34.0),
        now_right_mm_per_m=-2.0,
        now_up_mm_per_m=0.8,
        roll_deg=1.2,
        eye_probability=0.92,
        next_survey_m=100.0,
    )
    shots = tuple(
        ShotView(
            n,
            30.0 * n,
            "face",
            float(np.interp(30.0 * n, driven.chainage_m, driven.line_mm)) + 1.0,
            float(np.interp(30.0 * n, driven.chainage_m, driven.level_mm)) - 1.0,
            2.0,
            2.0,
            3.1 - n,
            -1.4 + n,
            4.0,
            3.0,
            "agrees",
            f"2026-03-0{n}T07:15:00+00:00",
        )
        for n in (1, 2, 3)
        if 30.0 * n <= face_m
    )
    return Snapshot(
        name="Quarry Bank, shaft 2 to shaft 3 (invented)",
        start_chainage_m=0.0,
        end_chainage_m=150.0,
        stroke_m=1.0,
        pipe_length_m=1.8,
        tolerance_line_mm=50.0,
        tolerance_level_mm=30.0,
        eye_line_mm=30.0,
        eye_level_mm=20.0,
        cylinder_positions_deg=(45.0, 135.0, 225.0, 315.0),
        cylinder_range_mm=(0.0, 72.0),
        advice=advice,
        path=driven,
        shots=shots,
        readings_used=1907,
        readings_refused=12,
        last_reading_time="2026-03-04T09:41:12+00:00",
        last_event_time=ARRIVED,
        log_sequence=1925,
        extra={"last_reading_arrival": ARRIVED, "refused_lately": LATELY},
    )


def hold() -> Snapshot:
    """Leaving the cylinders alone is as good."""
    return good(hold=True)


def warning() -> Snapshot:
    """Outside the limit in line, three findings, a survey overdue, a shot that disagrees."""
    base = good()
    assert base.advice is not None
    notices = (
        Notice("survey_due", "Check survey overdue: have the face shot before the next stroke.", 94.0),
        Notice(
            "reference_moved",
            "The spot jumped by 9 mm and stayed, the heading did not: the beam has likely moved. "
            "Have a check shot taken, then set the reference anew.",
            91.3,
        ),
        Notice("steering_weak", "The machine answers to 40 % of the expected steering in line.", 88.0),
    )
    driven = replace(base.path, line_mm=base.path.line_mm + np.linspace(0.0, 62.0, len(base.path.line_mm)))
    estimate = replace(base.advice.estimate, line_mm=float(driven.line_mm[-1]), line_sd_mm=6.2)
    with_it = tuple(
        replace(p, line_mm=estimate.line_mm - 2.5 * n) for n, p in enumerate(base.advice.forecast, 1)
    )
    without = tuple(
        replace(p, line_mm=estimate.line_mm + 2.2 * n)
        for n, p in enumerate(base.advice.forecast_unchanged, 1)
    )
    advice = replace(
        base.advice,
        notices=notices,
        estimate=estimate,
        forecast=with_it,
        forecast_unchanged=without,
        next_survey_m=94.0,
        correction=Correction(-12.5, 1.2, (50.0, 52.0, 22.0, 20.0), False),
        eye_probability=0.31,
    )
    odd = replace(
        base.shots[-1],
        innovation_line_mm=21.0,
        verdict="waiting",
        evidence=(
            "For a survey blunder: the shots before and after agree with one another.",
            "For a moved reference: spot and heading jumped together at 91.3 m.",
        ),
    )
    shots = (*base.shots[:-1], odd)
    return replace(base, advice=advice, path=driven, shots=shots)


def unsure() -> Snapshot:
    """The estimate is too unsure to steer by."""
    base = good()
    assert base.advice is not None
    estimate = replace(base.advice.estimate, line_sd_mm=19.0)
    notice = Notice(
        "estimate_unsure",
        "The line is known to ± 38 mm only (95 %), against a tolerance of 50 mm: too unsure to steer by. "
        "Take a check shot.",
        95.0,
    )
    # The core's reason speaks of a setting all the same.
    why = "12 mm left: left 3.5 mm/m for 4 strokes, back on line near 103 m."
    return replace(
        base, advice=replace(base.advice, estimate=estimate, trusted=False, reason=why, notices=(notice,))
    )


def opposite() -> Snapshot:
    """The machine answers the wrong way round."""
    from steer.correct.reason import EITHER_WAY

    base = good()
    assert base.advice is not None
    notice = Notice(
        "steering_opposite",
        "The machine answers right and left opposite to its steering since about 88.2 m. Cylinders or target "
        "are probably mapped the wrong way round. Stop steering by this until the mapping is checked.",
        88.2,
    )
    return replace(
        base, advice=replace(base.advice, trusted=False, reason=f"{EITHER_WAY}.", notices=(notice,))
    )


def empty() -> Snapshot:
    """A drive without a reading."""
    none = np.array([])
    return replace(
        good(),
        advice=None,
        path=Path(none, none, none, none, none),
        shots=(),
        readings_used=0,
        readings_refused=0,
        last_reading_time=None,
        last_event_time=None,
        log_sequence=0,
        extra={},
    )


STATES = {
    "good": good,
    "hold": hold,
    "warning": warning,
    "unsure": unsure,
    "opposite": opposite,
    "empty": empty,
}


@dataclass(frozen=True)
class Tried:
    """As `steer.drive.Drive.try_setting` answers."""

    cylinder_mm: tuple[float, ...]
    right_mm_per_m: float
    up_mm_per_m: float
    problems: tuple[str, ...]
    beyond: tuple = ()
    ahead: tuple = ()


@dataclass(frozen=True)
class Limit:
    code: str
    text: str


@dataclass(frozen=True)
class Logged:
    sequence: int
    arrived: str
    kind: str
    body: dict


@dataclass(frozen=True)
class BuiltPoint:
    chainage_m: float
    line_mm: float
    line_sd_mm: float
    level_mm: float
    level_sd_mm: float
    verdict_line: str
    verdict_level: str


@dataclass(frozen=True)
class BuiltPipe:
    number: int
    chainage_m: float
    line_mm: float
    level_mm: float
    verdict: str
    joint_mm_per_m: float | None
    gap_mm: float | None


@dataclass(frozen=True)
class Built:
    points: tuple
    pipes: tuple
    summary: tuple
    warnings: tuple = ()


def _verdict(value_mm: float, limit_mm: float) -> str:
    if abs(value_mm) > limit_mm + 5.0:
        return "outside"
    return "cannot tell" if abs(value_mm) > limit_mm - 5.0 else "inside"


@dataclass(frozen=True)
class Sight:
    row: int
    station: str
    target: str
    kind: str
    residual: float
    unit: str
    standardised: float | None
    redundancy: float
    suspect: bool = False
    left_out: bool = False


@dataclass(frozen=True)
class Reduced:
    name: str
    state: str
    verdict: tuple[str, ...]
    names: tuple[str, ...]
    points: tuple[str, ...]
    sights: tuple[Sight, ...]
    left_out: tuple[int, ...]
    shots: str


def reduced(left_out: tuple[int, ...] = ()) -> Reduced:
    """A survey whose row 5 is a slip, as long as it is in."""
    bad = 5 not in left_out
    sights = []
    for row in range(2, 14):
        target = f"L{row % 4 + 1}" if row != 13 else "M"
        if row in left_out:
            sights.append(Sight(row, "S1", target, "", 0.0, "", None, 0.0, False, True))
            continue
        for n, (kind, unit) in enumerate((("direction", "sec"), ("zenith", "sec"), ("slope", "mm"))):
            slip = 312.4 if bad and row == 5 and n == 0 else 0.0
            size = slip or 0.4 * ((row * 7 + n * 5) % 9 - 4)
            sights.append(Sight(row, "S1", target, kind, size, unit, size / 1.3, 0.62, slip > 0))
    sights.append(Sight(13, "S1", "M2", "slope", 0.0, "mm", None, 0.0))
    sights.append(Sight(0, "control", "L3", "easting", -0.2, "mm", -0.4, 0.92))
    verdict = (
        (
            "IN DOUBT: global test FAILED, variance factor 812 with 22 degrees of freedom. Suspect: row 5.",
            "Without it the variance factor is 0.94.",
        )
        if bad
        else ("Sound: global test passed, variance factor 0.94 with 19 degrees of freedom.",)
    )
    points = ("M      E 5043.2691  N 2039.6643  level 12.8786 m  ± 5.7, 6.3, 0.5 mm",)
    return Reduced(
        "sights.csv", "in doubt" if bad else "sound", verdict, ("M",), points, tuple(sights), left_out, "M="
    )


class FakeDrive:
    """Same methods as a drive; remembers what it was asked to store."""

    def __init__(self, snapshot: Snapshot | None = None) -> None:
        self.current = snapshot if snapshot is not None else good()
        self.calls: list[tuple[object, ...]] = []
        self._came_in: dict[int, str] = {}  # verdicts before a word was said
        self.changed = False
        self._accepted: Correction | None = None
        self.trouble: Exception | None = None
        self.refreshes = 0

    def put(self, snapshot: Snapshot) -> None:
        """What another process wrote."""
        self.current = snapshot
        self.changed = True

    def refresh(self) -> bool:
        self.refreshes += 1
        if self.trouble is not None:
            raise self.trouble
        changed, self.changed = self.changed, False
        return changed

    def snapshot(self) -> Snapshot:
        return self.current

    def accept(self, shown: Advice) -> None:
        if self._accepted == self.current.advice.correction:
            raise InputRefused(f"stroke {self.current.advice.stroke + 1} was accepted already")
        self._store("accept")
        self._accepted = self.current.advice.correction

    def override(
        self,
        right_mm_per_m: float,
        up_mm_per_m: float,
        shown: Advice | None = None,
        shown_mm=None,
        despite=(),
    ) -> None:
        self._store("override", right_mm_per_m, up_mm_per_m, *despite)

    def note(self, text: str) -> None:
        self._store("note", text)

    def undo_last(self) -> str:
        self._accepted = None
        self._store("undo_last")
        return "The acceptance is taken back."

    def try_setting(self, right_mm_per_m: float, up_mm_per_m: float) -> Tried:
        beyond = tuple(
            Limit(
                f"{plane}_change",
                f"{plane} would change by {change:.1f} mm/m in one stroke; allowed are 10 mm/m",
            )
            for plane, change in (("line", abs(right_mm_per_m + 2.0)), ("level", abs(up_mm_per_m - 0.8)))
            if change > 10.0
        )
        move = 0.57 * right_mm_per_m
        lift = 0.57 * up_mm_per_m
        cylinders = (36 - move - lift, 36 - move + lift, 36 + move + lift, 36 + move - lift)
        problems = tuple(
            f"cylinder {n} would stand at {mm:.1f} mm; allowed are 0 to 72 mm"
            for n, mm in enumerate(cylinders, 1)
            if not 0.0 <= mm <= 72.0
        )
        advice = self.current.advice
        ahead = () if problems or advice is None else advice.forecast
        return Tried(cylinders, right_mm_per_m, up_mm_per_m, problems, beyond, ahead)

    def events(self, after: int = 0):
        """Three hundred readings, a note, a shot."""
        bodies = [("reading", {"chainage_m": 0.05 * n, "yaw_mm_per_m": 0.4}) for n in range(1, 301)]
        bodies += [
            ("note", {"text": "wet sand at the face"}),
            ("check_shot", {"chainage_m": 90.0, "point": "face"}),
        ]
        for number, (kind, body) in enumerate(bodies, 1):
            if number > after:
                yield Logged(number, ARRIVED, kind, body)

    def asbuilt(self) -> Built:
        path = self.current.path
        points = tuple(
            BuiltPoint(
                float(path.chainage_m[n]),
                3.2 * float(path.line_mm[n]),
                float(path.line_sd_mm[n]),
                float(path.level_mm[n]),
                float(path.level_sd_mm[n]),
                _verdict(3.2 * float(path.line_mm[n]), 50.0),
                _verdict(float(path.level_mm[n]), 30.0),
            )
            for n in range(0, len(path.chainage_m), 10)
        )
        pipes = tuple(
            BuiltPipe(
                n,
                1.8 * n - 0.9,
                3.2 * float(np.interp(1.8 * n, path.chainage_m, path.line_mm)),
                float(np.interp(1.8 * n, path.chainage_m, path.level_mm)),
                _verdict(3.2 * float(np.interp(1.8 * n, path.chainage_m, path.line_mm)), 50.0),
                0.1 * n if n > 1 else None,
                0.2 * n if n > 1 else None,
            )
            for n in range(1, 54)
        )
        summary = (
            "Line: inside 74 m, outside 9 m, cannot tell 13 m; RMS 31 mm; worst 64 mm right at 40.0 m.",
            "Level: inside 96 m; RMS 7 mm; worst 12 mm low at 35.0 m.",
        )
        return Built(points, pipes, summary)

    def asbuilt_file(self, ending: str) -> str:
        return f"willow/asbuilt-96.00m{ending}"

    def asbuilt_writer(self, path: str):
        def write() -> str:
            self.calls.append(("export", path))
            return path

        return write

    def read_shots(self, path: str) -> str:
        if not path.endswith(".csv"):
            raise InputRefused([f"{path}: line {n}: sd_mm: missing" for n in range(2, 40)])
        self._store("read_shots", path)
        return "2 shots."

    def holds_sights(self, path: str) -> bool:
        return path.endswith("sights.csv")

    def reduce_survey(self, path: str, control: str, left_out: tuple[int, ...] = ()) -> Reduced:
        if not control.endswith("control.csv"):
            raise InputRefused([f"{control}: cannot be read: no such file"])
        return reduced(left_out)

    def store_survey(
        self, path: str, control: str, left_out: tuple[int, ...], shots: str, despite: bool
    ) -> str:
        if "@" not in shots:
            raise InputRefused([f"{shots}: say at which chainage the face stood, M=target@CHAINAGE"])
        self._store("store_survey", path, control, left_out, shots, despite)
        return "1 check shot stored."

    def accept_shot(self, number: int) -> None:
        self._word(number, "agrees")

    def reject_shot(self, number: int) -> None:
        self._word(number, "rejected")

    def withdraw_shot(self, number: int) -> None:
        self._word(number, "withdrawn")

    def restore_shot(self, number: int) -> str:
        if number not in self._came_in:
            raise InputRefused(
                f"check shot {number}: it is neither accepted, rejected nor withdrawn: there is nothing to take back"
            )
        self._word(number, self._came_in[number])
        del self._came_in[number]
        return f"Shot {number} stands as it came in."

    def _word(self, number: int, verdict: str) -> None:
        (shot,) = (s for s in self.current.shots if s.number == number)
        self._came_in.setdefault(number, shot.verdict)
        shots = tuple(replace(s, verdict=verdict) if s.number == number else s for s in self.current.shots)
        self.current = replace(self.current, shots=shots)
        self._store("shot", number, verdict)

    def _store(self, *call: object) -> None:
        self.calls.append(call)
        # As a drive does: what it stored itself is taken in already, and no news to `refresh`.
        self.current = replace(self.current, log_sequence=self.current.log_sequence + 1)
