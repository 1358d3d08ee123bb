"""The fold: cells, check shots and reference settings along the chainage, each once, with checkpoints.

The estimate is a pure function of the events. Nodes are ordered by chainage (then cell before shot
before setting, then sequence); news that belongs further back cuts the fold there and runs it again
from the node before, so it comes to the same result whenever it arrives.

The stack holds, for each model of `tuning.MODELS`, the planes [line, level], and last the middle model
again for each way of answering wrongly (`evidence.SHARE`): as if every setting were answered with its
negative, as if every change were, as if no change were answered, as if nothing were answered any more.
They only serve `health` and the correction in doubt: while one foretells the readings worse than the stack
it is set back to the middle model's state, so that evidence begins when the wrong answer begins (a
sequential test: Page, Continuous inspection schemes, Biometrika 41, 1954, from memory). The models' weights
follow from how well each foretells the readings, over the last `MODEL_MEMORY_M`; what is reported is their
mixture (moment matching: Bar-Shalom, Li and Kirubarajan 2001, section 11.6, from memory), so that doubt
about the ground's way of answering is part of every standard deviation.
"""

from __future__ import annotations

import bisect
from dataclasses import replace

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate import filter as kalman
from steer.estimate import opening, sensors
from steer.estimate.cells import Cell
from steer.estimate.evidence import (
    AGAINST_DOUBT,
    GROUND_CHI,
    SHARE,
    STOOD,
    WEIGHED,
    WRONG,
    lean,
    wrong_answers,
)
from steer.estimate.geometry import setback
from steer.estimate.motion import N_STATES, RD, RO, RR, B, C, D, G, H, K, MotionModel, P, T, Y
from steer.estimate.nodes import CellReport, Node, Recovery, Setting
from steer.estimate.past import Past
from steer.estimate.shots import REACHED_M, Shot, ShotReport, sighting
from steer.estimate.sift import sift
from steer.estimate.tuning import (
    MIDDLE,
    MODELS,
    Answer,
    motion_of,
    priors_of,
)

MODEL_MEMORY_M = 40.0  # over which the models' records are compared
# log-likelihood that a model can be behind the best one: where the ground changes it is soon back
MOST_BEHIND = 12.0
LONGEST_STEP_M = 0.5
STEERED, STEERED_M = 2.0, 1.5  # a change (mm/m) that counts, and how long it is waited for
MOST_STEPS = 1000  # lengths of advance whose noise is kept: where chainages come to 0.1 mm few are alike
WHOLE = 60  # newest nodes that are not packed: an advice looks back so far, two pipes and a metre
_CELL, _SHOT, _SETTING = 0, 1, 2


class Estimator:
    """Folds cells, shots and settings of one drive. `put_*` add news, `run` brings the fold up to date."""

    def __init__(self, drive: DriveFile, models: tuple[Answer, ...] = MODELS) -> None:
        self.drive = drive
        self.axis = drive.axis
        self.models = len(models)
        self.motion = motion_of(drive, models)
        middle = min(MIDDLE, len(models) - 1)
        # both planes of every model, and the middle one again for each way of answering wrongly
        self.model = np.repeat([*range(len(models)), *WRONG * [middle]], 2)  # of each plane
        self.stack: MotionModel = motion_of(drive, tuple(models[m] for m in self.model))
        self.mistaken = motion_of(drive, WEIGHED * (models[middle],))  # one entry a wrong answer that counts
        self.odds = np.array([model.odds for model in models])
        self.plane = np.tile([0, 1], self.models + WRONG)
        self.signs = np.append(np.ones(2 * self.models), np.repeat(SHARE, 2))
        self.middle = 2 * middle
        self.delays = [(float(d), self.stack.delay_m == d) for d in np.unique(self.stack.delay_m) if d > 0.0]
        self.longest_delay_m = float(self.stack.delay_m.max())
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
            self.stack.crab_coupling_per_m,
            self.stack.crab_fade_m,
        )
        sd = drive.sd
        self.roll_arm = np.array([drive.target.up_mm, drive.target.right_mm], float)[self.plane]
        self.channel_sd = np.array([sd.spot_mm, sd.spot_mm, sd.yaw_mm_per_m, sd.pitch_mm_per_m])
        self.spot_growth = sd.spot_mm_per_100m / 100.0
        self.keys: list[tuple[float, int, int, int]] = []
        self.items: list[Cell | Shot | Setting] = []
        self.nodes: list[Node] = []
        self.recovered: list[Recovery] = []
        self.start = self._launch()
        self._steps: dict[float, np.ndarray] = {}
        self._top_m: float | None = None  # furthest cell
        self._unreached: int | None = None  # first node whose shot lies ahead of the face

    # ---- news

    def put(self, item: Cell | Shot | Setting) -> None:
        """Add or (for a cell that has grown) replace one item; the fold is cut back to it."""
        if isinstance(item, Cell):
            key = (item.s_m, _CELL, item.first, 0)
        elif isinstance(item, Shot):
            key = (item.s_m, _SHOT, item.order, item.sequence)
        else:
            key = (item.s_m, _SETTING, item.sequence, 0)
        at = bisect.bisect_left(self.keys, key)
        self.keys.insert(at, key)
        self.items.insert(at, item)
        # a cell beyond it may be what a shot ahead of the face was waiting for
        waits = isinstance(item, Cell) and self._unreached is not None
        self._cut(min(at, self._unreached) if waits and self._unreached is not None else at)

    def take_out(self, item: Cell | Shot | Setting) -> None:
        """Remove an item (a cell about to be replaced, a shot withdrawn); the fold is cut back to it."""
        at = next(i for i in range(len(self.items) - 1, -1, -1) if self.items[i] is item)
        del self.keys[at], self.items[at]
        self._cut(at)

    def _cut(self, at: int) -> None:
        if at < len(self.nodes):
            again = self._real(at - 1).s_m
            self.recovered = [r for r in self.recovered if r.s_m <= again or not r.left_out]
        del self.nodes[at:]
        if self._unreached is not None and self._unreached >= at:
            self._unreached = None

    def run(self, before: Cell | None = None) -> None:
        """Fold every item that has not been folded yet; with `before` those that come before that cell."""
        if len(self.nodes) == len(self.items):
            return
        self._top_m = next((item.s_m for item in reversed(self.items) if isinstance(item, Cell)), None)
        kept = True  # the node that the fold goes on from is from an earlier run
        while len(self.nodes) < len(self.items):
            i = len(self.nodes)
            if self.items[i] is before:
                return
            last = self._real(i - 1)
            if kept and not last.sound:
                self._fall_back(self.items[i])
                continue
            kept = False
            with np.errstate(invalid="ignore", over="ignore", divide="ignore"):  # judged by its result
                made = self._fold(last, self.items[i])
            if not made.sound:
                made = self._left_out(last, self.items[i])
            if self._unreached is None and isinstance(made.report, ShotReport) and not made.report.reached:
                self._unreached = i
            self.nodes.append(made)
            if len(self.nodes) > WHOLE:
                self.nodes[-1 - WHOLE].pack()

    def _fall_back(self, item: Cell | Shot | Setting) -> None:
        """Cut the fold back to the last sound node."""
        at = len(self.nodes)
        while at > 0 and not self._real(at - 1).sound:
            at -= 1
        self._cut(at)
        if at == 0:
            self.start = self._launch()
        from_m = self._real(at - 1).s_m
        self.recovered.append(Recovery(max(item.s_m, from_m), from_m, False))

    def _left_out(self, before: Node, item: Cell | Shot | Setting) -> Node:
        """A sound node in place of one that is not: the item is left out, and doubt as at the launch added."""
        s_m, p = max(item.s_m, before.s_m), before.p + self.start.p
        self.recovered.append(Recovery(s_m, before.s_m, True))
        return Node(
            s_m, before.x, p, before.x, p, np.broadcast_to(np.eye(N_STATES), p.shape),
            before.articulation, before.bearing_rad, before.grade, before.score,
            roll_deg=before.roll_deg, roll_doubt=before.roll_doubt, steered_m=before.steered_m,
            past=before.past, torn=before.torn, scatter=before.scatter,
        )  # fmt: skip

    def _real(self, i: int) -> Node:
        node = self.nodes[i] if i >= 0 else self.start
        return node.stands_for or node

    # ---- the state now

    @property
    def last(self) -> Node:
        """The newest node, or the launch."""
        return self._real(len(self.nodes) - 1)

    def node_at(self, s_m: float) -> Node:
        """The newest node not beyond `s_m`."""
        at = bisect.bisect_right(self.keys, (s_m + 1e-9, 9, 0, 0))
        return self._real(min(at, len(self.nodes)) - 1)

    def ahead(self, node: Node, s_m: float, articulation: np.ndarray) -> Node:
        """Predict from a node to `s_m` with an articulation (2,) held; no measurement."""
        return self._predict(node, s_m, articulation, articulation)

    # ---- inside

    def _launch(self) -> Node:
        m, pr = self.stack, self.priors
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

    def _acting(self, node: Node, held: np.ndarray) -> np.ndarray:
        """Articulation (2,) as each plane of the stack takes it: (b,)."""
        a: np.ndarray = held[self.plane] * self.signs
        a[2 * self.models :] += (STOOD[:, None] * node.mirror).ravel()
        return a

    def _late(self, past: Past, from_m: float, to_m: float, acting: np.ndarray) -> np.ndarray:
        """Articulation (b,) whose answer begins between these chainages: for a model without delay the one held."""
        late = acting.copy()
        for delay_m, answers in self.delays:
            held = past.means(np.array([from_m - delay_m, to_m - delay_m]))[0]
            late[answers] = held[self.plane[answers]]
        return late

    def _noise(self, ds: float) -> np.ndarray:
        key = round(ds, 6)
        found = self._steps.get(key)
        if found is None:
            found = self._steps[key] = self.motion.process_noise(ds)
            if len(self._steps) > MOST_STEPS:
                self._steps = {key: found}
        return found[self.model]

    def _predict(self, node: Node, s_m: float, held: np.ndarray, now: np.ndarray) -> Node:
        x, p = node.x, node.p
        total = np.eye(N_STATES)
        change = np.asarray(now, float) - node.articulation
        ds = s_m - node.s_m
        bearing, grade = node.bearing_rad, node.grade
        if ds > 0:
            steps = max(1, int(np.ceil(ds / LONGEST_STEP_M - 1e-9)))
            a = self._acting(node, held)
            past = node.past.on(s_m, held, self.longest_delay_m)
            late = self._late(past, node.s_m, s_m, a)
            phi = self.stack.transition(ds / steps, a, late)
            q = self._noise(ds / steps) + self.stack.answer_noise(ds / steps, x, late)
            for i in range(steps):
                point = self.axis.at(node.s_m + ds * (i + 1) / steps)
                turn = 1000.0 * (float(point.bearing_rad) - bearing)
                climb = float(point.grade_mm_per_m) - grade
                bearing, grade = float(point.bearing_rad), float(point.grade_mm_per_m)
                bend = np.array([turn, climb])[self.plane] / (ds / steps)
                x, p = kalman.predict(x, p, phi, self.stack.known_input(ds / steps, bend), q)
                total = phi @ total
        else:
            total, past = np.broadcast_to(total, p.shape), node.past
        if np.abs(change).max() > 0.3:
            # The face can step sideways within the overcut, and play eats part of a change.
            p = p.copy()
            size = np.abs(change[self.plane])
            p[:, Y, Y] += (0.12 * size) ** 2
            p[:, T, T] += (0.15 * self.stack.share_prior * size) ** 2
        return Node(
            s_m, x, p, x, p, total, np.asarray(now, float), bearing, grade, node.score, node.trend,
            node.against, node.mirror, past=past, torn=node.torn, scatter=node.scatter,
        )  # fmt: skip

    def _fold(self, node: Node, item: Cell | Shot | Setting) -> Node:
        if isinstance(item, Cell):
            made = self._fold_cell(node, item)
            made.roll_deg, made.roll_doubt = item.roll_deg, opening.roll_doubt(item.roll_read_m)
            return made
        there = self._predict(node, max(item.s_m, node.s_m), node.articulation, node.articulation)
        made = self._fold_setting(there) if isinstance(item, Setting) else self._fold_shot(node, there, item)
        made.roll_deg, made.steered_m, made.roll_doubt = node.roll_deg, node.steered_m, node.roll_doubt
        return made

    def _fold_setting(self, node: Node) -> Node:
        x, p = node.x.copy(), node.p.copy()
        pr = self.priors
        for state, sd in ((RO, pr.reference_offset), (RD, pr.reference_direction), (RR, None)):
            if sd is None:
                continue
            x[:, state] = 0.0
            p[:, state, :] = 0.0
            p[:, :, state] = 0.0
            p[:, state, state] = sd * sd
        # the cut in the covariance is not a motion: the smoother must not carry it back
        phi = node.phi.copy()
        phi[:, RO, :] = phi[:, RD, :] = 0.0
        return Node(
            node.s_m, x, p, x, p, phi, node.articulation, node.bearing_rad, node.grade, node.score,
            node.trend, node.against, node.mirror, past=node.past, torn=node.torn, scatter=node.scatter,
        )  # fmt: skip

    def _fold_shot(self, before: Node, node: Node, shot: Shot) -> Node:
        x, p = node.x, node.p
        a = self._acting(node, node.articulation)
        seen = sighting(
            shot, self.body, self.axis, a, self.plane, before.roll_deg, x, p, node.weights, before.roll_doubt
        )
        reached = self._top_m is None or shot.s_m <= self._top_m + REACHED_M
        counts = reached and (
            shot.word == "accepted"
            if shot.word
            else not (shot.asks and (seen.disagrees.any() or shot.repeats is not None))
        )
        report = ShotReport(
            shot, seen.innovation, seen.innovation_sd, bool(counts and seen.disagrees.any()),
            node.blend()[0][:, Y], counts, reached, seen.disagrees, seen.values_mm, seen.covariance_mm2,
            seen.arm_mm,
        )  # fmt: skip
        if not counts:
            return replace(before, report=report, stands_for=before)
        opened = seen.disagrees
        if opened.any():
            # News of this size is not in the model: let it be the reference's, along the directions
            # (face and reference together) that the readings cannot tell.
            beam_m = node.s_m - self.body.target_m - self.axis.start_chainage_m
            p = opening.of_shot(
                p, self.plane, seen.each, opened, beam_m if self.drive.reference.kind == "beam" else None
            )
        p_before = p
        x, p, _, _ = kalman.update(x, p, seen.z, seen.row, seen.r, seen.use)
        x = self._bounded(x, p)
        return Node(
            node.s_m, x, p, node.x, p_before, node.phi, node.articulation, node.bearing_rad, node.grade,
            node.score, node.trend, node.against, node.mirror, report, past=node.past, torn=node.torn, scatter=node.scatter,
        )  # fmt: skip

    def _bounded(self, x: np.ndarray, p: np.ndarray) -> np.ndarray:
        x = kalman.hold_within(x, p, H, *self.motion.share_bounds)
        x = kalman.hold_within(x, p, D, *self.motion.share_bounds)
        return kalman.hold_within(x, p, G, *self.motion.gain_bounds_per_m)

    def _fold_cell(self, before: Node, cell: Cell) -> Node:
        node = self._predict(before, max(cell.s_m, before.s_m), cell.advance_mm_per_m, cell.now_mm_per_m)
        ds = max(node.s_m - before.s_m, 1e-6)
        bend = np.array([1000.0 * (node.bearing_rad - before.bearing_rad), node.grade - before.grade]) / ds
        curve = bend[self.plane] if ds > 1e-3 else np.zeros(len(self.plane))
        a = self._acting(node, cell.now_mm_per_m)
        point = self.axis.at(node.s_m)
        back_mm = setback(self.axis, point, self.body.target_m)[self.plane]
        x, p = node.x, opening.of_roll(
            node.p, self.roll_arm, before.roll_doubt, opening.roll_doubt(cell.roll_read_m),
            max(cell.s_m - before.s_m, 0.0), self.priors.reference_offset,
        )  # fmt: skip
        said = self.channel_sd.copy()
        said[:2] += self.spot_growth * cell.distance_m
        sd = said * before.scatter.scale

        def rows(back_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
            spot, spot_0 = sensors.target_row(self.body, a, back_m, curve, back_mm)
            head, head_0 = sensors.heading_row(self.body, a, back_m, curve, cell.distance_m, self.plane == 0)
            return sensors.add_reference(spot, cell.distance_m), spot_0, head, head_0

        back_i = node.s_m - cell.chainage_m
        # where they are when all of them count, so that the same rows serve again below
        mean_back = float(back_i @ cell.weights(np.ones(cell.values.shape, bool))[:, 0])
        middle_rows = rows(mean_back)
        spot, spot_0, head, head_0 = middle_rows
        w = node.weights
        predicted, spread = np.empty(4), np.empty(4)
        for pair, row, const in ((0, spot, spot_0), (2, head, head_0)):
            each = (np.einsum("bi,bi->b", row, x) + const)[: 2 * self.models].reshape(-1, 2)
            own = np.einsum("bi,bij,bj->b", row, p, row)[: 2 * self.models].reshape(-1, 2)
            predicted[pair : pair + 2] = middle = w @ each
            spread[pair : pair + 2] = w @ (own + (each - middle) ** 2)
        going = (x[:, T] + x[:, D] * a + x[:, C])[: 2 * self.models].reshape(-1, 2)
        slope = np.concatenate([w @ going, [0.0, 0.0]])
        residual = cell.values - predicted + (back_i - mean_back)[:, None] * slope
        change = np.abs(cell.now_mm_per_m - before.articulation).max()
        steered_m = node.s_m if change > STEERED else before.steered_m
        earlier = before.report.shifted if isinstance(before.report, CellReport) else np.full(4, np.nan)
        sifted = sift(cell, residual, spread, sd, earlier, node.s_m - steered_m > STEERED_M)
        use, shifted, both = sifted.use, sifted.shifted, sifted.moved
        # a channel that never agreed has not jumped: the machine stands elsewhere than the launch was said to be
        first = both & np.isnan(before.scatter.left)
        both = both & ~first
        if first.any():
            p = opening.of_launch(p, self.plane, first, shifted, spread)
        if both.any():
            # Two cells in a row agree with each other and not with us: news, not noise. Open what
            # can have jumped and take them in.
            p = opening.of_jump(p, self.plane, both, shifted, cell.distance_m)
        used, offered = use.sum(0), sifted.offered
        p_before = p
        weights = cell.weights(use)
        mean_i = (weights * np.where(use, cell.values, 0.0)).sum(0)
        back_c = (weights * back_i[:, None]).sum(0)
        factor = cell.repeats_factor(use)
        r = sd * sd * factor
        innovation, innovation_sd = np.full(4, np.nan), np.full(4, np.nan)
        score = np.zeros(len(self.plane))
        for pair in (0, 2):
            channels = pair + self.plane
            ok = used[channels] > 0
            if not ok.any():
                continue
            back_m = float(back_c[pair : pair + 2][used[pair : pair + 2] > 0].mean())
            # where every reading counts, their mean place is the cell's
            spot, spot_0, head, head_0 = middle_rows if abs(back_m - mean_back) < 1e-9 else rows(back_m)
            row, const = (spot, spot_0) if pair == 0 else (head, head_0)
            x, p, nu, s = kalman.update(x, p, mean_i[channels] - const, row, r[channels], ok)
            score += np.where(ok, -0.5 * (nu * nu / s + np.log(s)), 0.0)
            each, own = nu[: 2 * self.models].reshape(-1, 2), s[: 2 * self.models].reshape(-1, 2)
            middle = w @ each
            innovation[pair : pair + 2] = np.where(ok[:2], middle, np.nan)
            innovation_sd[pair : pair + 2] = np.where(
                ok[:2], np.sqrt(w @ (own + (each - middle) ** 2)), np.nan
            )
        x = self._bounded(x, p)
        taken_in = np.where(np.isfinite(innovation), innovation * (1.0 - r / innovation_sd**2), 0.0)
        scatter = before.scatter.after(residual, use, said, taken_in)
        m2 = 2 * self.models
        gone = max(node.s_m - before.s_m, 0.0)

        def held(evidence: np.ndarray, by: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            judges = np.concatenate([score[:m2].reshape(-1, 2)[by].ravel(), score[m2:]])
            return wrong_answers(evidence, judges, w[by] / w[by].sum(), gone)

        log_ratio, against = held(before.against, self.prompt)
        torn = np.where(against > 0.0, held(before.torn, self.lasting)[1], 0.0)
        none = np.append(np.zeros(m2, bool), against.ravel() <= 0.0)
        if none.any():
            x, p = x.copy(), p.copy()
            from_middle = self.middle + self.plane[none]
            x[none], p[none] = x[from_middle], p[from_middle]
        mirror = np.where(against <= 0.0, cell.now_mm_per_m, before.mirror)
        trend, chi = lean(before.trend, innovation / innovation_sd, gone)
        news = both | first
        changed = (chi > GROUND_CHI) & ~news[:2] & ~news[2:] & (against[:2].max(0) < AGAINST_DOUBT)
        if news.any():
            trend = np.zeros_like(trend)
        if changed.any():
            # The innovations lean one way for metres: the ground's own tendency is no longer what it was.
            p = opening.of_ground(p, self.plane, changed)
            trend = np.where(changed[[0, 1, 0, 1]], 0.0, trend)
        report = CellReport(
            innovation, innovation_sd, used, offered, shifted, log_ratio, cell.now_mm_per_m,
            cell.now_mm_per_m - before.articulation, chi, changed, both, first,
        )  # fmt: skip
        fade = np.exp(-gone / MODEL_MEMORY_M)
        total = self.odds + fade * (before.score - self.odds) + score[:m2].reshape(-1, 2).sum(1)
        total = np.maximum(total, total.max() - MOST_BEHIND)
        return Node(
            node.s_m, x, p, node.x, p_before, node.phi, node.articulation, node.bearing_rad, node.grade,
            total, trend, against, mirror, report, steered_m=steered_m, past=node.past, torn=torn, scatter=scatter,
        )  # fmt: skip
