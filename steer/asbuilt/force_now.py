"""Jacking force against the joints of the whole driven line, while the drive goes on: the newest force, and what passed
unnoted."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steer.advice import Advice, Notice, Path, ShotView
from steer.asbuilt.joints import joints_of
from steer.asbuilt.lie import Laid
from steer.asbuilt.string_words import permissible
from steer.correct.force_over import JOINT_CODE
from steer.drivefile import DriveFile
from steer.estimate.follow import Follower
from steer.estimate.forces import Peak
from steer.estimate.possible import possible_paths
from steer.estimate.smoother import SmoothedPath
from steer.pipes import AFTER_A_STOP, RingJoint

CODE = "string_force_over"
SURELY_BELOW = 1.5, 1.0  # an angle's upper limit: below so many times the likeliest, and mm/m more
DRAWS = 200  # as the as-built account
_NOTED_BY = re.compile(r"\bforces?\b|(\b|\d)kn\b", re.IGNORECASE)  # a note that has noted what passed


@dataclass(frozen=True)
class _Passed:
    """A stroke whose largest force was more than the joints made by then may carry (kN): surely, or only at the upper
    limit of their angles."""

    peak: Peak
    may_kn: float
    surely: bool


@dataclass(frozen=True)
class _Looked:
    sharpest: tuple[float, float]  # mm/m, at a chainage in m
    passed: tuple[_Passed, ...]
    made_m: float  # up to where joints have come


class SharpestJoint:
    """Watches one drive. The line behind the face changes little within a stroke and takes the whole fold to look
    at: it is looked at once a stroke and with each check shot. Angles are those of the as-built account."""

    def __init__(self, file: DriveFile) -> None:
        self._file = file
        self._ring = RingJoint.of(file.pipe)
        self._looked_for: object = None
        self._looked: _Looked | None = None
        self._close = False  # whether upper limits of angles matter, which take drawn paths

    def tell(
        self,
        advice: Advice,
        shots: Iterable[ShotView],
        follower: Follower,
        path: Path | SmoothedPath,
        decisions: Iterable[Any],
    ) -> Advice:
        """The advice with what the joints behind the face have to say. `path` is the smoothed one of all that
        `follower` has folded, `shots` are those it took, `decisions` the events of what people decided and noted.
        Nothing is added without packer keys or a force."""
        force = follower.newest_force()
        if self._ring is None or not follower.forces.peaks:
            return advice
        look = advice.stroke, tuple((shot.number, shot.verdict) for shot in shots)
        if look != self._looked_for:
            self._looked_for, self._looked = look, self._look(path, follower)
        if self._looked is None:
            return advice
        noted = [d.sequence for d in decisions if d.kind == "note" and _notes_a_force(str(d.body["text"]))]
        left = [p for p in self._looked.passed if p.peak.sequence > max(noted, default=0)]
        told, newest = advice.notices, []
        if force is not None:
            # one force, one notice: the one that says more, of the sharper joint
            may_kn = float(self._ring.permissible_kn(self._looked.sharpest[0]))
            over = force[0] > may_kn
            ahead = any(n.code == JOINT_CODE for n in told)
            sharper = ahead and (advice.joint_mm_per_m or 0.0) >= self._looked.sharpest[0]
            if over and ahead and not sharper:
                told = tuple(n for n in told if n.code != JOINT_CODE)
            others = [p for p in left if (p.peak.kn, p.peak.at_m) != force]
            if not sharper and (over or len(others) == len(left)):
                newest = self._newest(force, may_kn, self._looked)
            if over or ahead:
                left = others
        return replace(advice, notices=(*told, *newest, *self._stands(left)))

    @staticmethod
    def _newest(force: tuple[float, float], may_kn: float, looked: _Looked) -> list[Notice]:
        """The largest force of the last stroke of readings (kN, at a chainage in m): beyond what the sharpest joint may
        carry, or so near that a restart after a stop could pass it."""
        angle, at_m = looked.sharpest
        if AFTER_A_STOP * force[0] <= may_kn:
            return []
        over = force[0] > may_kn
        coming = "" if at_m <= looked.made_m else ", no joint there yet"
        text = (
            f"Jacking force {force[0]:.0f} kN at {force[1]:.1f} m is {'MORE than' if over else 'near'} the "
            f"{permissible(may_kn)} kN that a joint may carry at the sharpest place driven so far "
            f"({angle:.1f} mm/m at {at_m:.1f} m{coming}). "
        )
        text += (
            "Ease the force and ask the engineer."
            if over
            else "A restart after a stop of some hours could pass it: ask the engineer."
        )
        return [Notice(CODE, text, force[1])]

    @staticmethod
    def _stands(left: list[_Passed]) -> list[Notice]:
        """What passed and nobody has noted since, the worst of it in words."""
        if not left:
            return []
        worst = max(left, key=lambda p: (p.surely, p.peak.kn / p.may_kn))
        limit = "" if worst.surely else " at the upper limit of their angles"
        others = len(left) - 1
        more = f", and {others} more stroke{'s' if others > 1 else ''}" if others else ""
        text = (
            f"Jacking force {worst.peak.kn:.0f} kN at {worst.peak.at_m:.1f} m "
            f"{'WAS' if worst.surely else 'MAY HAVE BEEN'} more than the joints made by then may carry, "
            f"{permissible(worst.may_kn)} kN{limit}{more}. Ask the engineer. This stands until a note (key n) says "
            '"force" or "kN".'
        )
        return [Notice(CODE, text, min(p.peak.at_m for p in left))]

    def _look(self, path: Path | SmoothedPath, follower: Follower) -> _Looked | None:
        file, at = self._file, path.chainage_m
        if self._ring is None or len(at) < 2 or at[-1] - at[0] < 2.0 * file.pipe.length_m:
            return None
        laid = Laid(path, (), file.pipe.length_m, file.decision.string_sd_mm)
        joints = joints_of(file, laid, possible_paths(follower.estimator, DRAWS if self._close else 1))
        worst = joints.along.largest()
        if worst is None:
            return None
        sharpest = float(joints.along.angle_mm_per_m[worst]), float(joints.along.chainage_m[worst])
        peaks = [follower.forces.peaks[number] for number in sorted(follower.forces.peaks)]
        made = np.array([peak.end_m for peak in peaks]) - file.machine.length_m - file.pipe.length_m
        angle = np.nan_to_num(joints.along.running_largest(made))
        doubtful = self._ring.permissible_kn(SURELY_BELOW[0] * angle + SURELY_BELOW[1])
        if not (np.array([peak.kn for peak in peaks]) > doubtful).any():
            return _Looked(sharpest, (), joints.passed_m)
        if not self._close:
            self._close = True
            joints = joints_of(file, laid, possible_paths(follower.estimator, DRAWS))
        low = self._ring.permissible_kn(np.nan_to_num(joints.largest_high(made))).tolist()
        passed = [
            _Passed(peak, may if peak.kn > may else least, peak.kn > may)
            for peak, may, least in zip(peaks, self._ring.permissible_kn(angle).tolist(), low, strict=True)
            if peak.kn > min(may, least)
        ]
        return _Looked(sharpest, tuple(passed), joints.passed_m)


def _notes_a_force(text: str) -> bool:
    return _NOTED_BY.search(text) is not None
