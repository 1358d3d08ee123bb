"""Steering again from a chainage on, with other limits or weights, on the ground as the drive taught it.

What the ground did by itself stays as it was; only the answer to the difference of articulation is new.
With ΔA = A_new − A_driven and the learned gain G, shares and lags, the difference of the path follows
the estimate's own motion (see `steer.estimate.motion`), which is linear:

    dΔY/ds = ΔT + D·ΔA,   dΔT/ds = ΔP,   dΔP/ds = (G·ΔA − ΔP)/lag.

At every stroke the correction is proposed from what was known then, moved by that difference: the crew
would have seen it. G is the smoothed gain at each chainage, D and the weights of the lags those at the
end of the drive.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from pydantic import ValidationError

from steer.closed_loop import Measures, measure
from steer.correct.advise import propose
from steer.drive import Drive
from steer.drivefile import DriveFile
from steer.errors import CommandLineWrong
from steer.estimate.motion import D, P, T, Y
from steer.estimate.nodes import Node
from steer.estimate.past import Past
from steer.estimate.possible import possible_paths
from steer.replay.reel import Reel

STEP_M = 0.1
MAY_CHANGE = (
    "steering.firmness",
    "steering.return_over_m",
    "steering.hold_mm",
    "machine.max_articulation_mm_per_m",
    "machine.max_change_mm_per_m",
    "tolerance.line_mm",
    "tolerance.level_mm",
    "pipe.max_joint_angle_mm_per_m",
)


@dataclass(frozen=True)
class WhatIf:
    """Both paths from `from_m` on, as known now: chainage (n,), driven and other (n, 2) line and level mm,
    `sd_mm` (n, 2) of their difference (from the gain's), settings (strokes, 2) mm/m of either, held between
    the places `stroke_m` (strokes + 1,)."""

    from_m: float
    chainage_m: np.ndarray
    driven_mm: np.ndarray
    other_mm: np.ndarray
    sd_mm: np.ndarray
    stroke_m: np.ndarray
    driven_set: np.ndarray
    other_set: np.ndarray
    driven: Measures
    other: Measures


def changed(file: DriveFile, settings: list[str]) -> DriveFile:
    """The drive file with `TABLE.KEY=VALUE` settings in it. Raises CommandLineWrong for a key that may
    not change or a value that drive.toml would not take."""
    for setting in settings:
        name, _, text = setting.partition("=")
        name, text = name.strip(), text.strip()
        if name not in MAY_CHANGE or not text:
            raise CommandLineWrong(f"--set {setting}: allowed are {', '.join(MAY_CHANGE)}, each as KEY=VALUE")
        table, key = name.split(".")
        section = getattr(file, table)
        value: object = text
        if key != "firmness":
            try:
                value = float(text)
            except ValueError:
                raise CommandLineWrong(f"--set {name}: {text!r} is not a number") from None
        try:
            new = type(section).model_validate(section.model_dump(exclude_unset=True) | {key: value})
        except ValidationError as error:
            raise CommandLineWrong(f"--set {name}={text}: {error.errors()[0]['msg']}") from None
        file = replace(file, **cast(Any, {table: new}))
    return file


class Difference:
    """ΔY, ΔT, ΔP of every model, (models, 2), carried along; kept at each step for later questions."""

    def __init__(self, lag_m: np.ndarray, delay_m: np.ndarray, share: np.ndarray, from_m: float) -> None:
        self.lag, self.delay_m, self.share, self.at_m = lag_m[:, None], delay_m, share, from_m
        self.past = Past.none(from_m)
        zero = np.zeros(share.shape)
        self.y, self.t, self.p = zero, zero.copy(), zero.copy()
        self.passed: list[tuple[float, np.ndarray, np.ndarray, np.ndarray]] = [(from_m, zero, zero, zero)]

    def go(self, ds_m: float, gain: np.ndarray, apart: np.ndarray) -> None:
        """Advance with gain (2,) 1/m and articulation apart (2,) mm/m held; exact for constant ones."""
        self.past = self.past.on(self.at_m + ds_m, apart, float(self.delay_m.max()))
        begins = np.array([0.0, ds_m]) + self.at_m
        late = np.array([self.past.means(begins - delay)[0] for delay in self.delay_m])
        lag, decay = self.lag, np.exp(-ds_m / self.lag)
        once = lag * (1.0 - decay)
        twice, half = lag * (ds_m - once), 0.5 * ds_m * ds_m
        pull = gain * late
        y = self.y + self.t * ds_m + self.p * twice + self.share * apart * ds_m + pull * (half - twice)
        self.t = self.t + self.p * once + pull * (ds_m - once)
        self.p = self.p * decay + pull * (1.0 - decay)
        self.y, self.at_m = y, self.at_m + ds_m
        self.passed.append((self.at_m, self.y, self.t, self.p))

    def at(self, s_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(ΔY, ΔT, ΔP) at a chainage passed; zero before the first."""
        chainages = [row[0] for row in self.passed]
        i = int(np.searchsorted(chainages, s_m + 1e-6)) - 1
        if i < 0:
            zero = np.zeros(self.share.shape)
            return zero, zero, zero
        _, y, t, p = self.passed[i]
        return y, t, p


def what_if(
    reel: Reel, file: DriveFile, from_m: float, told: Callable[[int, int], None] | None = None
) -> WhatIf:
    """Steers the drive of `reel` again from the first moment at or beyond `from_m`, by the limits and
    weights of `file`; `told(stroke, strokes)` hears how far it is. Raises CommandLineWrong when nothing was
    driven beyond `from_m`."""
    path = reel.today
    first = reel.number_at(from_m)
    begin, end = reel.moments[first].chainage_m, float(path.chainage_m[-1])
    if end - begin < 2 * file.drive.stroke_m:
        raise CommandLineWrong(
            f"steering again from {from_m:.2f} m: the drive went to {end:.2f} m; at least two strokes must lie beyond"
        )
    at_the_end = reel.drive_at(len(reel.moments) - 1).follower
    at_the_end.bring_up()
    last_node, motion = at_the_end.estimator.last, at_the_end.estimator.stack.motion
    models = len(motion.lag_m)
    weights = last_node.weights
    share = last_node.x[: 2 * models, D].reshape(models, 2)
    difference = Difference(motion.lag_m, motion.delay_m, share, begin)
    held = np.zeros(2)  # before the first stroke compared
    set_new: list[np.ndarray] = []
    set_then: list[np.ndarray] = []
    now_mm: np.ndarray | None = None
    ends = [m.chainage_m for m in reel.moments[first + 1 :]]
    if not ends or ends[-1] < end - 1e-6:
        ends.append(end)
    for k, stop in enumerate(ends):
        drive = reel.drive_at(first + k)
        node = _node(drive)
        if now_mm is None:
            now_mm, held = drive.follower.standing().mm, node.articulation
        own = set_new[-1] if set_new else node.articulation
        moved = _moved(node, difference, models, own)
        seen = copy.copy(drive.follower.estimator)
        seen.nodes = _moved_behind(drive, difference, models, node, own, file)
        found = propose(file, seen, moved, now_mm, drive.follower.roll_deg)
        now_mm = np.asarray(found.chosen.cylinder_mm, float)
        new = np.asarray(found.chosen.articulation, float)
        set_new.append(new)
        set_then.append(_driven_articulation(reel, min(difference.at_m + 0.5 * file.drive.stroke_m, end)))
        while difference.at_m < stop - 1e-9:
            ds = min(STEP_M, stop - difference.at_m)
            middle = difference.at_m + 0.5 * ds
            gain = np.array([np.interp(middle, path.chainage_m, path.gain_per_m[:, p]) for p in (0, 1)])
            difference.go(ds, gain, new - _driven_articulation(reel, middle))
        if told is not None:
            told(k + 1, len(ends))
    at = np.array([row[0] for row in difference.passed])
    shift = np.array([weights @ row[1] for row in difference.passed])
    driven = np.column_stack([np.interp(at, path.chainage_m, v) for v in (path.line_mm, path.level_mm)])
    doubt = np.column_stack(
        [
            np.interp(at, path.chainage_m, path.gain_sd_per_m[:, p] / np.maximum(path.gain_per_m[:, p], 1e-6))
            for p in (0, 1)
        ]
    )
    other = driven + shift
    # as the as-built account takes joints: sudden turns put in, steps at check shots that disagree taken out
    bore = possible_paths(at_the_end.estimator, 1)
    turns = np.column_stack([np.interp(at, bore.chainage_m, bore.shift_mm[:, p]) for p in (0, 1)])
    then, new_set = np.array(set_then), np.array(set_new)
    return WhatIf(
        begin, at, driven, other, np.abs(shift) * np.minimum(doubt, 1.0), np.array([begin, *ends]), then, new_set,
        measure(file, at, driven[:, 0], driven[:, 1], np.vstack([held, then]), bore_mm=driven + turns),
        measure(file, at, other[:, 0], other[:, 1], np.vstack([held, new_set]), bore_mm=other + turns),
    )  # fmt: skip


def _node(drive: Drive) -> Node:
    """The estimate that the advice of that moment starts from."""
    follower = drive.follower
    follower.bring_up()
    node = follower.node(drive.stroke_end_m if not follower.track.accepted else None)
    if drive.stroke_end_m is not None and drive.stroke_end_m > node.s_m:
        node = follower.estimator.ahead(node, drive.stroke_end_m, follower.cylinders.articulation)
    return node


def _moved(node: Node, difference: Difference, models: int, articulation: np.ndarray) -> Node:
    """The estimate as it would have been. The wrong answers that it watches, beyond the models, would have
    seen the same path: they are moved by the models' mean."""
    x = node.x.copy()
    for what, apart in zip((Y, T, P), difference.at(node.s_m), strict=True):
        mean = np.tile(node.weights @ apart, (len(x) - 2 * models) // 2)
        x[:, what] += np.concatenate([apart.reshape(-1), mean])
    past = node.past.plus(difference.past)
    return replace(node, x=x, articulation=np.asarray(articulation, float), past=past)


def _moved_behind(
    drive: Drive, difference: Difference, models: int, face: Node, own: np.ndarray, file: DriveFile
) -> list[Node]:
    """The nodes of the last two pipes' lengths, moved; the proposal looks back so far for joint angles."""
    back = face.s_m - 2.0 * file.pipe.length_m - 1.5
    return [
        _moved(node, difference, models, own if node.s_m > difference.passed[0][0] else node.articulation)
        for node in drive.follower.estimator.nodes
        if back <= node.s_m <= face.s_m + 1e-9
    ]


def _driven_articulation(reel: Reel, s_m: float) -> np.ndarray:
    """The articulation (2,) that acted at a chainage: a node's is that held on the way to it."""
    path = reel.today
    i = min(int(np.searchsorted(path.chainage_m, s_m)), len(path.chainage_m) - 1)
    found: np.ndarray = path.articulation_mm_per_m[i]
    return found
