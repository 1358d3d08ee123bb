"""The models of one drive side by side, and the steps that every fold is made of: launch, and motion from one
chainage to the next.

The stack holds, for each model of `tuning.MODELS`, the planes [line, level], and last the middle model again for
each way of answering wrongly (`evidence.SHARE`): as if every setting were answered with its negative, as if every
change were, as if no change were answered, as if nothing were answered any more. These only serve `health` and the
correction in doubt.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate import filter as kalman
from steer.estimate import sensors
from steer.estimate.evidence import SHARE, STOOD, WEIGHED, WRONG
from steer.estimate.motion import N_STATES, RD, RO, RR, B, C, D, G, H, K, MotionModel, P, T, Y
from steer.estimate.nodes import Node
from steer.estimate.past import Past
from steer.estimate.tuning import MIDDLE, MODELS, Answer, motion_of, priors_of

LONGEST_STEP_M = 0.5
MOST_STEPS = 64  # lengths of advance whose noise is kept: where chainages come to 0.1 mm few are alike
_PLAY_FROM, _PLAY_MM, _PLAY_SHARE = 0.3, 0.12, 0.15  # of a change of articulation (mm/m): see `Stack.ahead`


class Stack:
    """b planes: `plane` (b,) says which one each is (0 line, 1 level), `motion` has one entry a model, `whole` one a
    plane, `mistaken` one a wrong answer that counts in what is steered by."""

    def __init__(self, drive: DriveFile, models: tuple[Answer, ...] = MODELS) -> None:
        self.drive = drive
        self.axis = drive.axis
        self.models = len(models)
        self.motion = motion_of(drive, models)
        middle = min(MIDDLE, len(models) - 1)
        self.middle = 2 * middle  # its first plane
        # both planes of every model, and the middle one again for each way of answering wrongly
        self._model = np.repeat([*range(len(models)), *WRONG * [middle]], 2)
        self.whole: MotionModel = motion_of(drive, tuple(models[m] for m in self._model))
        self.mistaken = motion_of(drive, WEIGHED * (models[middle],))
        self.odds = np.array([model.odds for model in models])
        self.plane = np.tile([0, 1], self.models + WRONG)
        self.signs = np.append(np.ones(2 * self.models), np.repeat(SHARE, 2))
        late = self.whole.delay_m
        self._delays = [(float(d), late == d) for d in np.unique(late) if d > 0.0]
        self._longest_delay_m = float(late.max())
        # A crab that comes and goes within metres would explain any answer, so that model does not judge whether an
        # answer is wrong. Nor do those that wait (an answer that has not begun looks like none) where it has to be
        # said early; what is steered by takes waiting for as good an explanation as any.
        self.lasting = np.isinf(self.motion.crab_fade_m) | np.isfinite(self.motion.crab_fade_m).all()
        self.prompt = self.lasting & (self.motion.delay_m == self.motion.delay_m[self.lasting].min())
        self.priors = priors_of(drive)
        self.body = sensors.Body(
            drive.machine.front_length_m,
            drive.machine.rear_length_m,
            drive.target.behind_face_m,
            self.whole.crab_coupling_per_m,
            self.whole.crab_fade_m,
        )
        sd = drive.sd
        self.roll_arm = np.array([drive.target.up_mm, drive.target.right_mm], float)[self.plane]
        self.channel_sd = np.array([sd.spot_mm, sd.spot_mm, sd.yaw_mm_per_m, sd.pitch_mm_per_m])
        self.spot_growth = sd.spot_mm_per_100m / 100.0
        self._noises: dict[float, np.ndarray] = {}

    def of_models(self, values: np.ndarray) -> np.ndarray:
        """Those of the models alone, by plane: (b, ...) -> (models, 2, ...)."""
        return values[: 2 * self.models].reshape(self.models, 2, *values.shape[1:])

    def launch(self) -> Node:
        """Where the drive begins, as well as it is known."""
        m, pr = self.whole, self.priors
        b = len(self.plane)
        x = np.zeros((b, N_STATES))
        x[:, H] = m.share_prior
        x[:, D] = m.share_prior * m.travel_of_share
        x[:, G] = m.gain_prior_per_m
        sd = np.zeros((b, N_STATES))
        for state, value in (
            (Y, pr.offset), (T, pr.direction), (C, m.crab_sd), (K, m.tendency_sd), (P, 0.0),
            (G, m.gain_prior_sd_per_m), (RO, pr.reference_offset),
            (RD, pr.reference_direction), (RR, pr.reference_curvature),
        ):  # fmt: skip
            sd[:, state] = value
        sd[:, B] = np.where(self.plane == 0, pr.yaw_zero, pr.pitch_zero)
        p = np.zeros((b, N_STATES, N_STATES))
        p[:, range(N_STATES), range(N_STATES)] = sd * sd
        p[:, H : D + 1, H : D + 1] = m.share_covariance()
        point = self.axis.at(self.axis.start_chainage_m)
        return Node(
            self.axis.start_chainage_m, x, p, x, p, np.broadcast_to(np.eye(N_STATES), p.shape), np.zeros(2),
            float(point.bearing_rad), float(point.grade_mm_per_m), self.odds,
            past=Past.none(self.axis.start_chainage_m),
        )  # fmt: skip

    def acting(self, node: Node, held: np.ndarray) -> np.ndarray:
        """Articulation (2,) as each plane of the stack takes it: (b,)."""
        a: np.ndarray = held[self.plane] * self.signs
        a[2 * self.models :] += (STOOD[:, None] * node.mirror).ravel()
        return a

    def _late(self, past: Past, from_m: float, to_m: float, acting: np.ndarray) -> np.ndarray:
        """Articulation (b,) whose answer begins between these chainages: for a model without delay the one held."""
        late = acting.copy()
        for delay_m, answers in self._delays:
            held = past.means(np.array([from_m - delay_m, to_m - delay_m]))[0]
            late[answers] = held[self.plane[answers]]
        return late

    def noise(self, ds: float) -> np.ndarray:
        """Process noise (b, 12, 12) of an advance (m); kept, since many are alike."""
        key = round(ds, 6)
        found = self._noises.get(key)
        if found is None:
            found = self._noises[key] = self.motion.process_noise(ds)
            if len(self._noises) > MOST_STEPS:
                self._noises = {key: found}
        return found[self._model]

    def ahead(self, node: Node, s_m: float, held: np.ndarray, now: np.ndarray) -> Node:
        """Predict from a node to `s_m`, with an articulation (2,) `held` on the way and `now` (2,) from there on. At a
        change the face can step sideways within the overcut, and play eats part of it."""
        x, p = node.x, node.p
        total = np.eye(N_STATES)
        change = np.asarray(now, float) - node.articulation
        ds = s_m - node.s_m
        bearing, grade = node.bearing_rad, node.grade
        if ds > 0:
            steps = max(1, int(np.ceil(ds / LONGEST_STEP_M - 1e-9)))
            a = self.acting(node, held)
            past = node.past.on(s_m, held, self._longest_delay_m)
            late = self._late(past, node.s_m, s_m, a)
            phi = self.whole.transition(ds / steps, a, late)
            q = self.noise(ds / steps) + self.whole.answer_noise(ds / steps, x, late)
            for i in range(steps):
                point = self.axis.at(node.s_m + ds * (i + 1) / steps)
                turn = 1000.0 * (float(point.bearing_rad) - bearing)
                climb = float(point.grade_mm_per_m) - grade
                bearing, grade = float(point.bearing_rad), float(point.grade_mm_per_m)
                bend = np.array([turn, climb])[self.plane] / (ds / steps)
                x, p = kalman.predict(x, p, phi, self.whole.known_input(ds / steps, bend), q)
                total = phi @ total
        else:
            total, past = np.broadcast_to(total, p.shape), node.past
        if np.abs(change).max() > _PLAY_FROM:
            p = p.copy()
            size = np.abs(change[self.plane])
            p[:, Y, Y] += (_PLAY_MM * size) ** 2
            p[:, T, T] += (_PLAY_SHARE * self.whole.share_prior * size) ** 2
        return replace(
            node, s_m=s_m, x=x, p=p, x_before=x, p_before=p, phi=total, articulation=np.asarray(now, float),
            bearing_rad=bearing, grade=grade, past=past, report=None, stands_for=None,
        )  # fmt: skip

    def bounded(self, x: np.ndarray, p: np.ndarray) -> np.ndarray:
        """The state x (b, 12) held within what machine and ground can be."""
        x = kalman.hold_within(x, p, H, *self.motion.share_bounds)
        x = kalman.hold_within(x, p, D, *self.motion.share_bounds)
        return kalman.hold_within(x, p, G, *self.motion.gain_bounds_per_m)
