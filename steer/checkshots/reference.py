"""What error of the reference the check shots found, what shape it has, and how to aim it again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from steer.checkshots.effect import reports, without
from steer.estimate.estimator import Estimator
from steer.estimate.findings.reference import at_target, knocked_at
from steer.estimate.motion import RD, RO
from steer.estimate.nodes import Node, Setting
from steer.text import TURNS

# Bending of a beam by a gradient across it: 0.93e-6 per K at 20 °C (Barrell and Sears; from memory), so
# 0.93e-3 mm/m² a K/m.
BENDING_MM_PER_M2 = 0.93e-3
MOST_GRADIENT_K_PER_M = 3.0  # beyond it refraction is no explanation; common practice, no source
_GUIDANCE_SD_MM = 2.0  # of the face by readings alone, the reference's own error left out
_AS_GOOD = 4.0  # chi-square that one cause may be worse than another and still explain as well
CAUSES = ("offset", "direction", "bending")


@dataclass(frozen=True)
class ReferenceFound:
    """The reference's error (actual minus set; + right, + high), arrays (2,) line and level.

    At the target plane `distance_m` from the start: error and sd in mm; at the start: offset mm; and its
    direction mm/m there. `shape` is one line of words a plane. `knocked_m`: chainage at which the target was
    probably knocked since the reference was set; then the error may be the target's place."""

    distance_m: float
    error_mm: np.ndarray
    error_sd_mm: np.ndarray
    offset_mm: np.ndarray
    offset_sd_mm: np.ndarray
    direction_mm_per_m: np.ndarray
    direction_sd_mm_per_m: np.ndarray
    shape: tuple[str, str] | None = None
    knocked_m: float | None = None

    @property
    def worth_setting(self) -> bool:
        """Whether the error stands out of its own uncertainty: more than 2 mm and 3 sd."""
        found = (np.abs(self.error_mm) > 2.0) & (np.abs(self.error_mm) > 3.0 * self.error_sd_mm)
        return bool(found.any())


def reference_found(estimator: Estimator, node: Node) -> ReferenceFound:
    """The reference at `node`, and which single cause explains its error."""
    return replace(reference_now(estimator, node), shape=shapes(estimator, node))


def reference_now(estimator: Estimator, node: Node) -> ReferenceFound:
    """The reference at `node`, as readings and counted shots say together; its shape not looked at."""
    x, p = node.blend()
    return ReferenceFound(
        *at_target(node, estimator.drive),
        x[:, RO],
        np.sqrt(p[:, RO, RO]),
        x[:, RD],
        np.sqrt(p[:, RD, RD]),
        knocked_m=knocked_at(node, estimator),
    )


@dataclass(frozen=True)
class Aim:
    """How to bring a beam back onto its line at the target, right and up (2,): turned at the shaft by
    `turn_mm_per_m`, which moves it there by `move_mm`; `setting`: how it runs then, against the axis, as the
    members of a reference_set line; `starts_off_mm`: at the shaft it still starts so far off where it was set."""

    move_mm: np.ndarray
    turn_mm_per_m: np.ndarray
    starts_off_mm: np.ndarray
    setting: dict[str, float]


def aim(found: ReferenceFound, setting: Mapping[str, float]) -> Aim:
    """The beam turned in its bracket until it strikes the target where the line asks. It still starts where it does:
    an offset found there that stands out of its uncertainty (2 mm and 3 sd) makes the line it runs on then a slanting
    one; one that does not is left out, as nobody knows it."""
    turn = -found.error_mm / max(found.distance_m, 1.0)
    stands_out = (np.abs(found.offset_mm) > 2.0) & (np.abs(found.offset_mm) > 3.0 * found.offset_sd_mm)
    off = np.where(stands_out, found.offset_mm, 0.0)
    slant = -off / max(found.distance_m, 1.0)
    runs = dict(setting)
    for p, name in enumerate(("right", "up")):
        runs[f"{name}_mm"] = round(setting[f"{name}_mm"] + float(off[p]), 1)
        runs[f"{name}_mm_per_m"] = round(setting[f"{name}_mm_per_m"] + float(slant[p]), 3)
    return Aim(-found.error_mm, turn, off, runs)


def shapes(estimator: Estimator, node: Node) -> tuple[str, str]:
    """Whether one cause, an offset, a direction or refraction, explains what the shots found.

    Each counted shot since the reference was set is held against the estimate by readings alone."""
    settings = [i.s_m for i in estimator.items if isinstance(i, Setting) and i.s_m <= node.s_m]
    since = max(settings, default=-np.inf)
    own = [r for r in reports(estimator) if r.counts and r.shot.s_m >= since and r.shot.s_m <= node.s_m + 0.5]
    if not own:
        return ("no check shot since it was set", "no check shot since it was set")
    if len(own) > 50:
        own = own[:: -(-len(own) // 50)]
    everything = {r.shot.sequence for r in reports(estimator)}
    bare = without(estimator, everything, {r.shot.sequence for r in own})
    alone = {r.shot.sequence: r.innovation for r in reports(bare)}
    d = np.array([r.shot.s_m for r in own]) - estimator.drive.target.behind_face_m
    d = np.maximum(d - estimator.drive.axis.start_chainage_m, 0.0)
    found = []
    for plane, (positive, negative) in enumerate(TURNS):
        error = np.array([alone[r.shot.sequence][plane] for r in own])
        var = np.array([r.covariance_mm2[plane, plane] for r in own]) + _GUIDANCE_SD_MM**2
        known = np.isfinite(error)
        found.append(_shape(error[known], var[known], d[known], positive, negative))
    return found[0], found[1]


def _shape(error: np.ndarray, var: np.ndarray, d: np.ndarray, positive: str, negative: str) -> str:
    n = len(error)
    if n == 0:
        return "no check shot told it"
    nothing = float((error**2 / var).sum())
    if nothing < n + 2.0 * np.sqrt(2.0 * n):  # about 95 % of chi-square
        return "none beyond what the shots can err by"
    fits = {}
    for cause, f in zip(CAUSES, (np.ones(n), d, 0.5 * d * d), strict=True):
        power = float((f * f / var).sum())
        size = float((f * error / var).sum()) / power if power > 0 else 0.0
        fits[cause] = (float(((error - size * f) ** 2 / var).sum()), size)
    best = min(chi for chi, _ in fits.values())
    # as good as the best one, and not merely because none explains much
    good = [c for c in CAUSES if fits[c][0] <= min(best + _AS_GOOD, 0.5 * (nothing + best))]
    gradient = fits["bending"][1] / BENDING_MM_PER_M2
    if "bending" in good and abs(gradient) > MOST_GRADIENT_K_PER_M:
        good.remove("bending")

    def say(cause: str) -> str:
        size = fits[cause][1]
        side = positive if size > 0 else negative
        if cause == "offset":
            return f"a shift of {abs(size):.{0 if abs(size) >= 1.95 else 1}f} mm {side}"
        if cause == "direction":
            return f"a turn of {abs(size):.2f} mm/m {side}"
        return f"refraction by {abs(gradient):.1f} K/m across the beam, colder air {side}"

    words = " or ".join(say(cause) for cause in good) or "no single cause"
    one = " (one shot cannot tell which)" if n == 1 and len(good) > 1 else ""
    no = "" if "bending" in good else f"; refraction would not (it would take {abs(gradient):.1f} K/m)"
    spread = best > n + 3.0 * np.sqrt(2.0 * n)
    return f"{words} explains it{' in part only' if spread and good else ''}{one}{no}"
