"""What a screen is drawn from: the snapshot, and what stands between it and the person."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

from steer.decisions import same_setting
from steer.text import first_decide, within
from tui.draw.glyphs import UNICODE, Glyphs
from tui.draw.words import duration

if TYPE_CHECKING:
    from steer.advice import Advice, Correction, Snapshot


DEFAULT_STALE_MINUTES = 15.0
OPEN_AGAIN = "Put the file back as it was, or leave (key q) and open again."


@dataclass(frozen=True)
class Decision:
    """What the operator decided for the coming stroke."""

    stroke: int
    kind: str  # "accepted" or "overridden"
    right_mm_per_m: float
    up_mm_per_m: float
    cylinder_mm: tuple[float, ...] | None = None  # what makes the setting, when it is known


@dataclass(frozen=True)
class Scene:
    """One moment, whole. `age_s` is the time since the last reading, None when there is none."""

    snapshot: Snapshot | None
    age_s: float | None = None
    clock_behind_s: float = 0.0  # how far the clock lies behind the log's newest reading, where that counts
    today: str = ""  # the clock's day, ISO 8601, UTC
    stale_after_s: float = DEFAULT_STALE_MINUTES * 60.0  # 0: never
    opening: str = ""  # what is being opened, as long as there is nothing to show of it
    trouble: str = ""  # why the log cannot be read just now
    todo: str = ""  # what to do about that; empty: to wait
    decision: Decision | None = None
    said: str = ""  # answer to the last key, such as "Note stored"
    at_work: str = ""  # what is being read or stored just now, where that takes long
    greeting: bool = False  # no key has been pressed yet
    window_m: float | None = 40.0  # stretch of the strips, None: the whole drive
    close: bool = False  # strips scaled to the path instead of the tolerance
    glyphs: Glyphs = field(default=UNICODE)


class Stop(Enum):
    """Every reason why no proposal is shown: its title, short for the large type under it, and what help says."""

    OPENING = "Opening", "the log is being read"
    NO_READING = "No reading yet", "no reading has come in"
    STOPPED = "Readings stopped", "readings stopped"
    OUT_OF_REACH = "Log out of reach", "the log is out of reach"
    OTHER_FILE = "Drive file changed", "drive.toml has changed since it was opened"
    CLOCK = "Clock is behind", "this computer's clock is behind the log's newest reading"
    COUNTER = "Chainage counter", "the chainage counter jumped or went back and is in doubt"
    STANDS = "Readings stand still", "spot and headings stood still for metres, the machine bent"
    UNSURE = "Too unsure to steer by", "the estimate is too unsure"
    OPPOSITE = "Answers opposite", "the machine answers opposite to its steering"
    HIDDEN = "Proposal hidden", "practice hides it"

    def __init__(self, title: str, in_help: str) -> None:
        self.title, self.in_help = title, in_help


@dataclass(frozen=True)
class Blocked:
    """Why no proposal is shown, and what to do about it."""

    stop: Stop
    why: str
    todo: str


def unread(scene: Scene) -> str:
    """Why nothing of the log can be shown yet: it is being read, or never could be; empty when it was read."""
    if scene.snapshot is not None:
        return ""
    return scene.trouble or (f"The log of {scene.opening} is being read." if scene.opening else "")


def out_of_date(scene: Scene) -> bool:
    """Whether what is shown of the drive is or may be old: the log is out of reach, the readings have stopped,
    or no clock says how old they are."""
    stopped = scene.stale_after_s > 0 and scene.age_s is not None and scene.age_s > scene.stale_after_s
    return bool(scene.trouble) or stopped or clock_wrong(scene)


def clock_wrong(scene: Scene) -> bool:
    """Whether the clock cannot say how old the newest reading is."""
    return scene.stale_after_s > 0 and scene.clock_behind_s > 0


def stopped(scene: Scene) -> str:
    """Why what is shown is made with another drive file, is old, or both, for the pages that show it all the same;
    empty while it is not."""
    if scene.snapshot is None:
        return ""
    return " ".join(why for why in (other_file(scene.snapshot), _old(scene)) if why)


def _old(scene: Scene) -> str:
    if not out_of_date(scene):
        return ""
    if scene.trouble:
        return f"Log out of reach: {scene.trouble.rstrip('.')}. What came in since is not in this."
    if clock_wrong(scene):
        return f"{_behind(scene)} What was driven since is not in this."
    return f"Readings stopped {duration(scene.age_s or 0.0)} ago: what was driven since is not in this."


def other_file(snapshot: Snapshot) -> str:
    """Why the drive file that all of this was made with no longer holds; empty while it does."""
    said = snapshot.extra.get("drive_file")
    return said if isinstance(said, str) else ""


def own_setting(scene: Scene) -> bool:
    """Whether the crew set something of its own for the coming stroke: what follows from the proposal does not then."""
    return scene.decision is not None and scene.decision.kind == "overridden"


def follows(scene: Scene) -> tuple[str, float | None, str]:
    """What comes of what is set for the coming stroke: what it asks of the joints, the chance of arriving inside the
    eye (None: not known), and "as proposed" where an own setting stands and they are known of the proposal only."""
    snapshot = scene.snapshot
    if snapshot is None or snapshot.advice is None or blocked(scene) is not None:
        return "", None, ""
    joint, eye = snapshot.advice.joint, snapshot.advice.eye_probability
    if not own_setting(scene):
        return joint, eye, ""
    own_joint, own_eye = snapshot.extra.get("own_joint"), snapshot.extra.get("own_eye_probability")
    if not isinstance(own_joint, str):
        return joint, eye, "as proposed"
    return own_joint, own_eye if isinstance(own_eye, float) else None, ""


def left_behind(scene: Scene) -> Decision | None:
    """The acceptance of a proposal for the coming stroke that new readings have changed since; None where what was
    accepted is what is proposed."""
    made, snapshot = scene.decision, scene.snapshot
    if made is None or made.kind != "accepted" or snapshot is None or snapshot.advice is None:
        return None
    return None if same_proposal(made, snapshot.advice.correction) else made


def same_proposal(one: Decision | Correction, other: Decision | Correction) -> bool:
    """Whether the same cylinders make both, or where those are not known the same figures are shown of both."""
    if one.cylinder_mm and other.cylinder_mm:
        return same_setting(one.cylinder_mm, other.cylinder_mm)
    apart = one.right_mm_per_m - other.right_mm_per_m, one.up_mm_per_m - other.up_mm_per_m
    return max(map(abs, apart)) < 0.05


def _behind(scene: Scene) -> str:
    return (
        f"This computer's clock is {duration(scene.clock_behind_s)} behind the newest reading in the log: "
        "how old that is, is not known."
    )


def blocked(scene: Scene) -> Blocked | None:
    """Why the proposal must not be shown; None when it may be.

    An old number never looks like a new one: without a fresh reading, a readable log and an
    estimate good enough to steer by, there is no number at all.
    """
    snapshot = scene.snapshot
    if scene.trouble:
        return Blocked(
            Stop.OUT_OF_REACH,
            scene.trouble,
            scene.todo or "It is tried again twice a second.",
        )
    if snapshot is None and scene.opening:
        return Blocked(Stop.OPENING, unread(scene), "It takes a moment.")
    if snapshot is None or snapshot.advice is None:
        return Blocked(Stop.NO_READING, "The log holds no reading.", "Start the logger, or: steer read.")
    other = other_file(snapshot)
    if other:
        return Blocked(Stop.OTHER_FILE, other, OPEN_AGAIN)
    hidden = snapshot.extra.get("hidden")
    if isinstance(hidden, str):
        return Blocked(Stop.HIDDEN, hidden, "Key o sets your own; space jacks the stroke.")
    if clock_wrong(scene):
        return Blocked(
            Stop.CLOCK,
            _behind(scene),
            "Set the computer's clock right and open again; the next reading brings it back too.",
        )
    if out_of_date(scene) and scene.age_s is not None:
        return Blocked(
            Stop.STOPPED,
            f"The last reading came {duration(scene.age_s)} ago, "
            f"at chainage {snapshot.advice.chainage_m:.2f} m.",
            "Check the logger; the next reading brings it back.",
        )
    if not snapshot.advice.trusted:
        return _distrusted(snapshot, snapshot.advice, scene.glyphs.plus_minus)
    return None


def _distrusted(snapshot: Snapshot, advice: Advice, plus_minus: str) -> Blocked:
    """Why the core itself says that its setting is not to be steered by; its reason holds figures of that setting."""
    opposite = next((n for n in advice.notices if n.code == "steering_opposite"), None)
    if opposite is not None:
        return Blocked(
            Stop.OPPOSITE,
            opposite.text.split(". ")[0].rstrip(".") + ".",
            "Stop steering by this; check how cylinders and target are mapped.",
        )
    unsure = next((n for n in advice.notices if n.code == "estimate_unsure"), None)
    lost = next((n for n in advice.notices if n.code == "chainage_jumped"), None)
    stands = next((n for n in advice.notices if n.code == "spot_stuck"), None)
    # The core distrusts for three reasons only, and says so where it is the estimate.
    if lost is not None and unsure is None:
        return Blocked(
            Stop.COUNTER,
            lost.text.split(". ")[0].rstrip(".") + ".",
            "Say what the counter lacks: steer counter FOLDER --add METRES (0: it is right).",
        )
    if stands is not None and unsure is None:
        return Blocked(
            Stop.STANDS,
            stands.text.split(". ")[0].rstrip(".") + ".",
            "Check target and logger, have a check shot taken and enter it.",
        )
    estimate = advice.estimate
    waiting = sum(shot.verdict == "waiting" and shot.reached for shot in snapshot.shots)
    key = "" if "place" in snapshot.extra else " (key 2)"  # a replay has no other screen
    return Blocked(
        Stop.UNSURE,
        f"The face is known to {plus_minus} {within(estimate.line_sd_mm)} mm in line and "
        f"{plus_minus} {within(estimate.level_sd_mm)} mm in level only (95 %).",
        first_decide(waiting, key) or "Have a check shot taken and enter it.",
    )
