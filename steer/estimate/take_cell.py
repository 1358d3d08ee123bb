"""What the readings of one cell do to the stack.

While a wrong answer foretells the readings worse than the models, it is set back to the middle model's state, so that
evidence begins when the wrong answer begins (a sequential test: Page, Continuous inspection schemes, Biometrika 41,
1954, from memory). The models' weights follow from how well each foretells the readings, over the last
`MODEL_MEMORY_M`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from steer.estimate import filter as kalman
from steer.estimate import opening, sensors
from steer.estimate.cells import Cell
from steer.estimate.evidence import AGAINST_DOUBT, GROUND_CHI, lean, wrong_answers
from steer.estimate.geometry import setback
from steer.estimate.motion import C, D, T
from steer.estimate.nodes import CellReport, Node
from steer.estimate.sift import sift
from steer.estimate.stack import Stack

MODEL_MEMORY_M = 40.0  # over which the models' records are compared
# log-likelihood that a model can be behind the best one: where the ground changes it is soon back
MOST_BEHIND = 12.0
STEERED, STEERED_M = 2.0, 1.5  # a change (mm/m) that counts, and how long it is waited for

Row = tuple[np.ndarray, np.ndarray]  # (b, 12) and constant (b,), for the channel of each plane


def take_cell(stack: Stack, before: Node, cell: Cell) -> Node:
    """The node that a cell makes from the one before it."""
    node = stack.ahead(before, max(cell.s_m, before.s_m), cell.advance_mm_per_m, cell.now_mm_per_m)
    gone = max(node.s_m - before.s_m, 0.0)
    doubt = opening.roll_doubt(cell.roll_read_m)
    p = opening.of_roll(
        node.p, stack.roll_arm, before.roll_doubt, doubt, max(cell.s_m - before.s_m, 0.0),
        stack.priors.reference_offset,
    )  # fmt: skip
    said = stack.channel_sd.copy()
    said[:2] += stack.spot_growth * cell.distance_m
    sd = said * before.scatter.scale

    rows = _rows(stack, before, node, cell)
    back_i = node.s_m - cell.chainage_m
    # where they are when all of them count, so that the same rows serve again in the update
    back_m = float(back_i @ cell.weights(np.ones(cell.values.shape, bool))[:, 0])
    whole = rows(back_m)
    predicted, spread, slope = _expected(stack, node, p, whole, cell)
    residual = cell.values - predicted + (back_i - back_m)[:, None] * slope
    change = cell.now_mm_per_m - before.articulation
    steered_m = node.s_m if np.abs(change).max() > STEERED else before.steered_m
    earlier = before.report.shifted if isinstance(before.report, CellReport) else np.full(4, np.nan)
    sifted = sift(cell, residual, spread, sd, earlier, node.s_m - steered_m > STEERED_M)
    use, shifted = sifted.use, sifted.shifted
    # a channel that never agreed has not jumped: the machine stands elsewhere than the launch was said to be
    first = sifted.moved & np.isnan(before.scatter.left)
    jumped = sifted.moved & ~first
    if first.any():
        p = opening.of_launch(p, stack.plane, first, shifted, spread)
    if jumped.any():
        # Two cells in a row agree with each other and not with us: news, not noise. Open what can have
        # jumped and take them in.
        p = opening.of_jump(p, stack.plane, jumped, shifted, cell.distance_m)

    p_before = p
    taken = _taken_in(
        stack, node, p, cell, use, sd, back_i, lambda m: whole if abs(m - back_m) < 1e-9 else rows(m)
    )
    x, p = stack.bounded(taken.x, taken.p), taken.p
    scatter = before.scatter.after(residual, use, said, taken.moved)

    log_ratio, against = _evidence(stack, node, taken.score, before.against, stack.prompt, gone)
    torn = _evidence(stack, node, taken.score, before.torn, stack.lasting, gone)[1]
    x, p = _set_back(stack, x, p, against)
    trend, chi = lean(before.trend, taken.innovation / taken.innovation_sd, gone)
    news = sifted.moved
    changed = (chi > GROUND_CHI) & ~news[:2] & ~news[2:] & (against[:2].max(0) < AGAINST_DOUBT)
    if news.any():
        trend = np.zeros_like(trend)
    if changed.any():
        # The innovations lean one way for metres: the ground's own tendency is no longer what it was.
        p = opening.of_ground(p, stack.plane, changed)
        trend = np.where(changed[[0, 1, 0, 1]], 0.0, trend)
    report = CellReport(
        taken.innovation, taken.innovation_sd, use.sum(0), sifted.offered, shifted, log_ratio, cell.now_mm_per_m,
        change, chi, changed, jumped, first,
    )  # fmt: skip
    return replace(
        node, x=x, p=p, x_before=node.x, p_before=p_before, score=_records(stack, before.score, taken.score, gone),
        trend=trend, against=against, torn=np.where(against > 0.0, torn, 0.0),
        mirror=np.where(against <= 0.0, cell.now_mm_per_m, before.mirror), report=report, roll_deg=cell.roll_deg,
        roll_doubt=doubt, steered_m=steered_m, scatter=scatter,
    )  # fmt: skip


def _rows(stack: Stack, before: Node, node: Node, cell: Cell) -> Callable[[float], tuple[Row, Row]]:
    """What spots and headings taken so far (m) before the node see of the state there."""
    ds = max(node.s_m - before.s_m, 1e-6)
    bend = np.array([1000.0 * (node.bearing_rad - before.bearing_rad), node.grade - before.grade]) / ds
    curve = bend[stack.plane] if ds > 1e-3 else np.zeros(len(stack.plane))
    a = stack.acting(node, cell.now_mm_per_m)
    back_mm = setback(stack.axis, stack.axis.at(node.s_m), stack.body.target_m)[stack.plane]

    def at(back_m: float) -> tuple[Row, Row]:
        spot, spot_0 = sensors.target_row(stack.body, a, back_m, curve, back_mm)
        head = sensors.heading_row(stack.body, a, back_m, curve, cell.distance_m, stack.plane == 0)
        return (sensors.add_reference(spot, cell.distance_m), spot_0), head

    return at


def _expected(
    stack: Stack, node: Node, p: np.ndarray, rows: tuple[Row, Row], cell: Cell
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the models together expect of the channels: mean, variance, and change for each metre driven, (4,) each."""
    w = node.weights
    predicted, spread = np.empty(4), np.empty(4)
    for pair, (row, const) in zip((0, 2), rows, strict=True):
        each = stack.of_models(np.einsum("bi,bi->b", row, node.x) + const)
        own = stack.of_models(np.einsum("bi,bij,bj->b", row, p, row))
        predicted[pair : pair + 2], spread[pair : pair + 2] = _mixed(w, each, own)
    a = stack.acting(node, cell.now_mm_per_m)
    going = stack.of_models(node.x[:, T] + node.x[:, D] * a + node.x[:, C])
    return predicted, spread, np.concatenate([w @ going, [0.0, 0.0]])


def _mixed(w: np.ndarray, each: np.ndarray, own: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance (2,) of the models' means and variances (models, 2)."""
    middle = w @ each
    return middle, w @ (own + (each - middle) ** 2)


@dataclass(frozen=True)
class _Taken:
    """The stack after the update, the innovations (4,) of the channels' means and their sd (NaN: none), the
    log-likelihood (b,) of each plane, and by how much each channel's expectation moved (4,)."""

    x: np.ndarray
    p: np.ndarray
    innovation: np.ndarray
    innovation_sd: np.ndarray
    score: np.ndarray
    moved: np.ndarray


def _taken_in(
    stack: Stack, node: Node, p: np.ndarray, cell: Cell, use: np.ndarray, sd: np.ndarray, back_i: np.ndarray,
    rows: Callable[[float], tuple[Row, Row]],
) -> _Taken:  # fmt: skip
    """Take in the mean of the readings that count, `use` (n, 4), one of each channel being as good as `sd` (4,)."""
    x = node.x
    used, weights = use.sum(0), cell.weights(use)
    mean = (weights * np.where(use, cell.values, 0.0)).sum(0)
    back = (weights * back_i[:, None]).sum(0)
    r = sd * sd * cell.repeats_factor(use)
    innovation, innovation_sd = np.full(4, np.nan), np.full(4, np.nan)
    score = np.zeros(len(stack.plane))
    for pair in (0, 2):
        channels = pair + stack.plane
        ok = used[channels] > 0
        if not ok.any():
            continue
        both = slice(pair, pair + 2)
        row, const = rows(float(back[both][used[both] > 0].mean()))[pair // 2]
        x, p, nu, s = kalman.update(x, p, mean[channels] - const, row, r[channels], ok)
        score += np.where(ok, -0.5 * (nu * nu / s + np.log(s)), 0.0)
        middle, variance = _mixed(node.weights, stack.of_models(nu), stack.of_models(s))
        innovation[both] = np.where(ok[:2], middle, np.nan)
        innovation_sd[both] = np.where(ok[:2], np.sqrt(variance), np.nan)
    moved = np.where(np.isfinite(innovation), innovation * (1.0 - r / innovation_sd**2), 0.0)
    return _Taken(x, p, innovation, innovation_sd, score, moved)


def _evidence(
    stack: Stack, node: Node, score: np.ndarray, before: np.ndarray, judges: np.ndarray, gone_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Log-likelihood ratios of the wrong answers against the models that judge (models,), and their sums, (4, 2)."""
    w = node.weights[judges]
    each = np.concatenate([stack.of_models(score)[judges].ravel(), score[2 * stack.models :]])
    return wrong_answers(before, each, w / w.sum(), gone_m)


def _set_back(
    stack: Stack, x: np.ndarray, p: np.ndarray, against: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The wrong answers for which nothing speaks begin anew at the middle model's state."""
    none = np.append(np.zeros(2 * stack.models, bool), against.ravel() <= 0.0)
    if not none.any():
        return x, p
    x, p = x.copy(), p.copy()
    from_middle = stack.middle + stack.plane[none]
    x[none], p[none] = x[from_middle], p[from_middle]
    return x, p


def _records(stack: Stack, before: np.ndarray, score: np.ndarray, gone_m: float) -> np.ndarray:
    """The models' fading log-likelihoods (models,)."""
    fade = np.exp(-gone_m / MODEL_MEMORY_M)
    total = stack.odds + fade * (before - stack.odds) + stack.of_models(score).sum(1)
    found: np.ndarray = np.maximum(total, total.max() - MOST_BEHIND)
    return found
