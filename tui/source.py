"""What the screens ask of a drive. `steer.drive.Drive` is one; tests bring their own."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from steer.advice import Advice, ForecastPoint, Snapshot


class Source(Protocol):
    """A drive as the screens use it. Every method may raise `steer.errors.SteerError`.

    All calls come from one thread, so a source may hold a database connection. An error that waiting does not mend
    says in its `todo` what does.
    Optional methods, used when a source has them: `try_setting(right_mm_per_m, up_mm_per_m)`,
    `events(after)`, `asbuilt()`, `asbuilt_file(ending)` (a name that no file has yet), `asbuilt_writer(path)`
    (gives a function that writes the account, in any thread, and says where), `read_shots(path)`,
    `holds_sights(path)` (whether a file is one of observations), `reduce_survey(path, control, left_out)`,
    `store_survey(path, control, left_out, shots, despite)`, and
    `accept_shot(number)`, `reject_shot(number)`, `withdraw_shot(number)`, `restore_shot(number)` (takes back the
    last word on a shot; a text says which). Those that store may answer with a text, which is
    shown. Keys for what a source cannot do are not offered.

    Optional entries of `Snapshot.extra`: "decision" (mapping with the fields of `tui.draw.scene.Decision`, or
    None), "last_reading_arrival" (ISO 8601), "reference" (a text: the reference's error as found), "hidden" (a text:
    why the proposal is hidden, in practice), "drive_file" (a text: why the drive file that all of it was made with no
    longer holds), "cylinders_told" (True: nothing reads them) or "cylinders_read_m" (chainage where they were read
    last, when newer readings do not tell them), "own_forecast", "own_joint", "own_eye_probability" (as
    those of `Advice`, with the own setting that stands), "now" and "place" (what is known now, and which stroke it
    is, in a replay).
    """

    def refresh(self) -> bool:
        """True when new events came in since the last call; cheap when nothing did."""

    def snapshot(self) -> Snapshot:
        """All that a screen shows, as of the last refresh."""

    def accept(self, shown: Advice) -> object:
        """Stores that the operator takes the proposal that he was shown for the coming stroke. Refused where
        another one holds by now, or somebody has accepted it already."""

    def override(
        self,
        right_mm_per_m: float,
        up_mm_per_m: float,
        shown: Advice,
        shown_mm: Sequence[float] | None,
        despite: Collection[str],
    ) -> object:
        """Stores the operator's own articulation for the coming stroke, in place of the proposal that he was shown.
        Refused where that stroke has ended by now, other cylinders than `shown_mm` make it, or it passes a limit
        whose code is not in `despite`."""

    def note(self, text: str) -> object:
        """Stores a note."""

    def undo_last(self) -> object:
        """Stores that the last thing done is taken back, a decision, a note or a word on a check shot; a text says which,
        from when, and that it was done elsewhere where it was. Refused once a decision's stroke is driven."""


# What the optional methods give. Any object with these fields will do.


class Tried(Protocol):
    """Answer of `try_setting(right_mm_per_m, up_mm_per_m)`: limits checked, nothing stored."""

    cylinder_mm: tuple[float, ...]
    right_mm_per_m: float  # what those cylinders make
    up_mm_per_m: float
    problems: tuple[str, ...]  # empty: the machine can be set so
    beyond: Sequence[Limit]  # what it passes: stored by who says so knowing which
    ahead: Sequence[ForecastPoint]  # where the face comes with it and the corrections after it; may be empty


class Limit(Protocol):
    """A limit that a setting passes."""

    code: str
    text: str


class LoggedEvent(Protocol):
    """One event of `events(after)`: those with a sequence above `after`, oldest first."""

    sequence: int
    arrived: str  # ISO 8601, UTC
    kind: str
    body: dict[str, object]


class AsBuiltPoint(Protocol):
    """Deviation at a chainage. `verdict` is "inside", "outside" or "cannot tell"."""

    chainage_m: float
    line_mm: float
    line_sd_mm: float
    level_mm: float
    level_sd_mm: float
    verdict_line: str
    verdict_level: str


class AsBuiltPipe(Protocol):
    """The front end of a pipe as it lies, counted from the machine, and the joint there."""

    number: int
    chainage_m: float  # of its front end
    line_mm: float
    level_mm: float
    verdict: str
    joint_mm_per_m: float | None
    gap_mm: float | None


class AsBuilt(Protocol):
    """Answer of `asbuilt()`: what the engineer's screen shows."""

    points: Sequence[AsBuiltPoint]
    pipes: Sequence[AsBuiltPipe]
    summary: Sequence[str]  # a few lines: totals, verdict, force
    warnings: Sequence[str]  # what is or may be over a limit or outside: never cut for want of rows


class ReducedSight(Protocol):
    """One observation after the adjustment; `row` is its line in the file, 0 for a coordinate of the control."""

    row: int
    station: str
    target: str
    kind: str
    residual: float  # adjusted minus observed
    unit: str
    standardised: float | None  # None: nothing else checks it
    redundancy: float
    suspect: bool
    left_out: bool


class Reduced(Protocol):
    """Answer of `reduce_survey(path, control, left_out)`: an adjusted survey, nothing stored."""

    name: str
    state: str  # "sound", "unchecked", "in doubt"
    verdict: Sequence[str]
    names: Sequence[str]  # of the new points
    points: Sequence[str]  # the new points in words
    sights: Sequence[ReducedSight]
    left_out: tuple[int, ...]
    shots: str  # which points are check shots, as far as their names say
