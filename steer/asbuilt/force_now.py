"""Jacking force while the drive goes on: the newest against the joints of the whole driven line, and what passed their
limits or those of the drive file unnoted."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from steer.advice import Advice, Notice
from steer.asbuilt.joints import Joints, joints_of
from steer.asbuilt.lie import Laid, SmoothedArrays
from steer.asbuilt.string_words import permissible
from steer.checkshots.effect import reports
from steer.correct import force_over
from steer.correct.force_over import JOINT_CODE, NOT_THERE
from steer.drivefile import DriveFile
from steer.estimate.follow import Follower
from steer.estimate.forces import Peak
from steer.estimate.possible import possible_paths
from steer.log import Event
from steer.pipes import AFTER_A_STOP, RingJoint

CODE = "string_force_over"
SURELY_BELOW = 1.5, 1.0  # an angle's upper limit: below so many times the likeliest, and mm/m more
DRAWS = 200  # as the as-built account
_NOTED_BY = re.compile(r"\bforces?\b|(\b|\d)kn\b", re.IGNORECASE)  # a note that has noted what passed

_STANDS = 'This stands until a note says "force" or "kN".'


@dataclass(frozen=True)
class _Passed:
    """A stroke whose largest force was more than the joints made by then may carry (kN): surely, or only at the upper
    limit of their angles."""

    peak: Peak
    may_kn: float
    surely: bool


class Driven(Protocol):
    """What is asked of `steer.drive.Drive`."""

    @property
    def follower(self) -> Follower: ...
    @property
    def decisions(self) -> list[Event]: ...
    def smoothed(self) -> SmoothedArrays: ...


class SharpestJoint:
    """Watches one drive. The line behind the face changes little within a stroke and takes the whole fold to look
    at: it is looked at once a stroke and with each check shot. The forces are looked at each time, since a late reading
    may tell of any stroke. Angles are those of the as-built account."""

    def __init__(self, file: DriveFile) -> None:
        self._file = file
        self._ring = RingJoint.of(file.pipe)
        self._looked_for: object = None
        self._joints: Joints | None = None
        self._close = False  # whether upper limits of angles matter, which take drawn paths

    def tell(
        self,
        advice: Advice,
        follower: Follower,
        path: SmoothedArrays,
        decisions: Iterable[Any],
    ) -> Advice:
        """The advice with what passed the limits of the drive file, and with what the joints behind the face have to say
        (not without packer keys). `path` is the smoothed one of all that `follower` has folded, `decisions`
        the events of what people decided and noted."""
        force = follower.newest_force()
        decisions = tuple(decisions)
        noted = _noted(decisions)
        advice = self.limits(advice, follower, decisions)
        if self._ring is None or not follower.forces.peaks:
            return advice
        shots = reports(follower.estimator)
        look = advice.stroke, tuple((shot.shot.sequence, shot.verdict) for shot in shots)
        if look != self._looked_for:
            self._looked_for, self._joints = look, self._look(path, follower)
        joints = self._joints
        worst = None if joints is None else joints.along.largest()
        if joints is None or worst is None:
            return advice
        left = [p for p in self._passed(joints, path, follower) if p.peak.sequence > noted]
        told, newest, before = advice.notices, [], False
        if force is not None:
            # one force, one notice: of a joint that is there already, else the one that says more, of the sharper joint
            made = joints.along.largest(joints.passed_m)
            there = made is not None and force[0] > self._may_kn(joints, made)
            place = made if there and made is not None else worst
            over = there or force[0] > self._may_kn(joints, place)
            ahead = any(n.code == JOINT_CODE for n in told)
            angle = float(joints.along.angle_mm_per_m[place])
            sharper = ahead and not there and (advice.joint_mm_per_m or 0.0) >= angle
            if over and ahead and not sharper:
                told = tuple(n for n in told if n.code != JOINT_CODE)
            others = [p for p in left if (p.peak.kn, p.peak.at_m) != force]
            before = over and len(others) < len(left)
            if not sharper and (over or len(others) == len(left)):
                newest = self._newest(force, joints, place)
            if over or ahead:
                left = others
        return replace(advice, notices=(*told, *newest, *self._stands(left, before)))

    def _may_kn(self, joints: Joints, place: int) -> float:
        assert self._ring is not None
        return float(self._ring.permissible_kn(float(joints.along.angle_mm_per_m[place])))

    def _newest(self, force: tuple[float, float], joints: Joints, place: int) -> list[Notice]:
        """The largest force of the last stroke of readings (kN, at a chainage in m): beyond what a joint may carry at a
        place of the driven line, or so near that a restart after a stop could pass it."""
        may_kn = self._may_kn(joints, place)
        if AFTER_A_STOP * force[0] <= may_kn:
            return []
        angle, at_m = float(joints.along.angle_mm_per_m[place]), float(joints.along.chainage_m[place])
        over = force[0] > may_kn
        there = at_m <= joints.passed_m + 1e-9  # both are sums of steps
        text = (
            f"Jacking force {force[0]:.0f} kN at {force[1]:.1f} m is {'MORE than' if over else 'near'} the "
            f"{permissible(may_kn)} kN that a joint may carry at the sharpest place "
            f"{'joints have come to' if there else 'driven so far'} "
            f"({angle:.1f} mm/m at {at_m:.1f} m{'' if there else ', no joint there yet'}). "
        )
        if not over:
            text += "A restart after a stop of some hours could pass it: ask the engineer."
        elif there:
            text += "Ease the force and ask the engineer."
        else:
            text += f"{NOT_THERE} Ease the force and ask the engineer."
        return [Notice(CODE, text, force[1])]

    @staticmethod
    def _stands(left: list[_Passed], earlier: bool) -> list[Notice]:
        """What passed and nobody has noted since, the worst of it in words; `earlier`: the newest force, which passed
        too, has a notice of its own and is not among them."""
        if not left:
            return []
        worst = max(left, key=lambda p: (p.surely, p.peak.kn / p.may_kn))
        limit = "" if worst.surely else " at the upper limit of their angles"
        surely = sum(p.surely for p in left)
        text = (
            f"Jacking force {worst.peak.kn:.0f} kN at {worst.peak.at_m:.1f} m "
            f"{'WAS' if worst.surely else 'MAY HAVE BEEN'} more than the joints made by then may carry, "
            f"{permissible(worst.may_kn)} kN{limit}."
            f"{_how_often(surely, len(left) - surely, earlier)} Ask the engineer. {_STANDS}"
        )
        return [Notice(CODE, text, min(p.peak.at_m for p in left))]

    def _look(self, path: SmoothedArrays, follower: Follower) -> Joints | None:
        file, at = self._file, path.chainage_m
        if len(at) < 2 or at[-1] - at[0] < 2.0 * file.pipe.length_m:
            return None
        laid = Laid(path, (), file.pipe.length_m, file.decision.string_sd_mm)
        return joints_of(file, laid, possible_paths(follower.estimator, DRAWS if self._close else 1))

    def _passed(self, joints: Joints, path: SmoothedArrays, follower: Follower) -> list[_Passed]:
        assert self._ring is not None
        peaks = [follower.forces.peaks[number] for number in sorted(follower.forces.peaks)]
        made = (
            np.array([peak.end_m for peak in peaks]) - self._file.machine.length_m - self._file.pipe.length_m
        )
        angle = np.nan_to_num(joints.along.running_largest(made))
        doubtful = self._ring.permissible_kn(SURELY_BELOW[0] * angle + SURELY_BELOW[1])
        if not (np.array([peak.kn for peak in peaks]) > doubtful).any():
            return []
        if not self._close:
            self._close = True
            self._joints = joints = self._look(path, follower) or joints
        low = self._ring.permissible_kn(np.nan_to_num(joints.largest_high(made))).tolist()
        return [
            _Passed(peak, may if peak.kn > may else least, peak.kn > may)
            for peak, may, least in zip(peaks, self._ring.permissible_kn(angle).tolist(), low, strict=True)
            if peak.kn > min(may, least)
        ]

    def limits(self, advice: Advice, follower: Follower, decisions: Iterable[Any]) -> Advice:
        """The advice with what passed the limits of the drive file alone: that takes no look at the path."""
        passed = _limits_passed(self._file, follower, _noted(decisions))
        return replace(advice, notices=(*advice.notices, *passed))

    @property
    def angle_mm_per_m(self) -> float | None:
        """The sharpest place as it was looked at last; None before there was one."""
        worst = None if self._joints is None else self._joints.along.largest()
        if self._joints is None or worst is None:
            return None
        return float(self._joints.along.angle_mm_per_m[worst])


class AtStrokeEnds:
    """The same for answer after answer of one drive, where a look each time would take longer than the answer: only once
    a force comes near what the joints may carry. How sharp they may have become since the last look, what the path
    ahead has asked of them by then says, with the room that their upper limits have."""

    def __init__(self, file: DriveFile) -> None:
        self._joints = SharpestJoint(file)
        self._ring = RingJoint.of(file.pipe)
        self._sharpest: float | None = None

    def tell(self, drive: Driven, advice: Advice) -> Advice:
        """The advice with what passed limits, and with what the joints behind the face have to say."""
        follower = drive.follower
        if not follower.forces.peaks:
            return advice
        if self._sharpest is not None:
            self._sharpest = max(self._sharpest, advice.joint_mm_per_m or 0.0)
        if self._ring is None or self._far_below(max(peak.kn for peak in follower.forces.peaks.values())):
            return self._joints.limits(advice, follower, drive.decisions)
        told = self._joints.tell(advice, follower, drive.smoothed(), drive.decisions)
        looked = self._joints.angle_mm_per_m
        if looked is not None:
            self._sharpest = max(looked, self._sharpest or 0.0, advice.joint_mm_per_m or 0.0)
        return told

    def _far_below(self, largest_kn: float) -> bool:
        if self._sharpest is None or self._ring is None:
            return False
        doubtful = self._ring.permissible_kn(SURELY_BELOW[0] * self._sharpest + SURELY_BELOW[1])
        return AFTER_A_STOP * largest_kn <= float(doubtful)


def _noted(decisions: Iterable[Any]) -> int:
    """The newest note that has noted what passed: its sequence, 0 without one."""
    notes = (d for d in decisions if d.kind == "note" and _notes_a_force(str(d.body["text"])))
    return max((d.sequence for d in notes), default=0)


def _limits_passed(file: DriveFile, follower: Follower, noted: int) -> list[Notice]:
    """The strokes before the newest force in which a limit of the drive file was passed, and that nobody has noted
    since (`noted` is the last note's sequence)."""
    allowed = force_over.allowed(file)
    newest = follower.newest_force()
    over = [
        peak
        for peak in follower.forces.peaks.values()
        if peak.sequence > noted and peak.kn > min(allowed.values(), default=np.inf)
    ]
    left = [peak for peak in over if not (newest and _is(peak, newest))]
    if not left:
        return []
    worst = max(left, key=lambda peak: peak.kn)
    passed = [f"{name} {kn:.0f} kN" for name, kn in allowed.items() if worst.kn > kn]
    text = (
        f"Jacking force {worst.kn:.0f} kN at {worst.at_m:.1f} m WAS beyond what drive.toml allows: {', '.join(passed)}."
        f"{_how_often(len(left), 0, len(left) < len(over))} Have it looked into. {_STANDS}"
    )
    return [Notice(force_over.CODE, text, min(peak.at_m for peak in left))]


def _is(peak: Peak, force: tuple[float, float]) -> bool:
    """Whether the newest force (kN, at a chainage in m) is the largest of this stroke, or as large."""
    return peak.kn == force[0] and peak.at_m <= force[1] <= peak.end_m


def _how_often(surely: int, perhaps: int, earlier: bool) -> str:
    """In how many strokes it was so, the named one among them; empty when that is the only one."""
    if surely + perhaps < 2:
        return ""
    named = surely or perhaps
    strokes = f"{named} {'earlier ' if earlier else ''}stroke{'s' if named > 1 else ''} not noted yet"
    if not surely:
        return f" It MAY HAVE BEEN so in {strokes}."
    more = (
        f", and MAY HAVE BEEN in {perhaps} more at the upper limit of the joints' angles" if perhaps else ""
    )
    return f" It was so in {strokes}{more}."


def _notes_a_force(text: str) -> bool:
    return _NOTED_BY.search(text) is not None
