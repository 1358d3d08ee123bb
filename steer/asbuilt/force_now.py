"""The newest jacking force against the sharpest joint of the whole driven line, while the drive goes on."""

from __future__ import annotations

import numpy as np

from steer.advice import Notice, Path
from steer.asbuilt.string_words import permissible
from steer.drivefile import DriveFile
from steer.estimate.estimator import Estimator
from steer.estimate.possible import possible_paths
from steer.pipes import AFTER_A_STOP, RingJoint, joint_angles
from steer.pipes.joints import STEP_M

CODE = "string_force_over"


class SharpestJoint:
    """Watches one drive. The line behind the face changes little within a stroke and takes the whole fold to look
    at: it is looked at when `look` changes, say once a stroke and with each check shot. The angle is the likeliest
    one, as in the as-built account."""

    def __init__(self, file: DriveFile) -> None:
        self._file = file
        self._ring = RingJoint.of(file.pipe)
        self._looked: object = None  # what it was looked at for
        self._sharpest: tuple[float, float] | None = None  # mm/m, at a chainage in m

    def notices(
        self, look: object, force: tuple[float, float] | None, path: Path, estimator: Estimator
    ) -> tuple[Notice, ...]:
        """What to say of the largest force of the last stroke of readings (kN, at a chainage in m): beyond what the
        sharpest joint may carry, or so near that a restart after a stop could pass it. Nothing without packer keys
        or a force. `path` is the smoothed one of all that `estimator` has folded."""
        if self._ring is None or force is None:
            return ()
        if look != self._looked:
            self._looked, self._sharpest = look, self._look(path, estimator)
        if self._sharpest is None:
            return ()
        angle, at_m = self._sharpest
        may_kn = float(self._ring.permissible_kn(angle))
        if AFTER_A_STOP * force[0] <= may_kn:
            return ()
        over = force[0] > may_kn
        passed_m = path.chainage_m[-1] - self._file.machine.length_m - self._file.pipe.length_m
        coming = "" if at_m <= passed_m else ", no joint there yet"
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
        return (Notice(CODE, text, force[1]),)

    def _look(self, path: Path, estimator: Estimator) -> tuple[float, float] | None:
        pipe = self._file.pipe
        if len(path.chainage_m) < 2 or path.chainage_m[-1] - path.chainage_m[0] < 2.0 * pipe.length_m:
            return None
        bore = possible_paths(estimator, 1)
        line, level = (
            value + np.interp(path.chainage_m, bore.chainage_m, bore.shift_mm[:, plane])
            for plane, value in enumerate((path.line_mm, path.level_mm))
        )
        at = np.arange(path.chainage_m[0] + pipe.length_m, path.chainage_m[-1] - pipe.length_m + 1e-9, STEP_M)
        found = joint_angles(
            self._file.axis, path.chainage_m, line, level, pipe.length_m, pipe.outer_diameter_mm, at
        )
        worst = found.largest()
        return None if worst is None else (float(found.angle_mm_per_m[worst]), float(at[worst]))
