"""A study on disk: a row a drive as CSV, written whole or not at all; and the plot."""

from __future__ import annotations

import contextlib
import csv
import io
import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from steer.drivefile import DriveFile
from steer.errors import FolderUnusable
from steer.study.answers import Answers
from steer.study.task import Outcome

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = (
    "seed", "factor", "level", "ground", "in_eye", "end_line_mm", "end_level_mm", "worst_line_mm",
    "worst_level_mm", "rms_line_mm", "rms_level_mm", "outside_m", "joint_mm_per_m", "change_mm_per_m",
    "force_kn", "allowed_kn", "joint_share", "failed",
)  # fmt: skip


def csv_text(outcomes: Sequence[Outcome]) -> str:
    """A row a drive, ordered by task, whatever the order they came in."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(COLUMNS)
    for o in sorted(outcomes, key=lambda o: o.task.index):
        if o.failed:
            row: list[Any] = [""] * 13
        else:
            figures = [
                o.end_line_mm, o.end_level_mm, o.worst_line_mm, o.worst_level_mm, o.rms_line_mm,
                o.rms_level_mm, o.outside_m, o.joint_mm_per_m, o.change_mm_per_m, o.force_kn, o.allowed_kn,
                o.joint_share,
            ]  # fmt: skip
            row = [int(o.in_eye), *("" if math.isnan(v) else f"{v:.3f}" for v in figures)]
        table.writerow([o.task.seed, o.task.factor, f"{o.task.level:g}", o.kind, *row, o.failed])
    return out.getvalue()


def write_whole(path: Path, content: bytes) -> None:
    """Replace a file in one go. Raises FolderUnusable when it cannot be written."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content)
        os.replace(part, path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise FolderUnusable(f"{path}: cannot be written: {error.strerror}") from None


def draw_plot(file: DriveFile, outcomes: Sequence[Outcome], answers: Answers) -> Figure:
    """Offsets along the drive as bands, where drives arrive, joint angles, effects; black on white."""
    from matplotlib.figure import Figure

    base = sorted((o for o in outcomes if not o.failed and not o.task.factor), key=lambda o: o.task.index)
    figure = Figure(figsize=(11, 8), layout="constrained")
    axes = figure.subplots(3, 2)
    figure.suptitle(f"{file.drive.name}: {len(base)} drives on drawn (invented) grounds", fontsize=11)
    start, end = file.axis.start_chainage_m, file.axis.end_chainage_m
    for n, (plane, sides) in enumerate((("line", "left / right"), ("level", "low / high"))):
        ax = axes[n][0]
        limit = getattr(file.tolerance, f"{plane}_mm")
        reach = 1.6 * limit
        if base:
            traces = np.array([o.trace[n] for o in base])
            at = np.linspace(start, end, traces.shape[1])
            low, quarter, middle, three, high = np.quantile(traces, (0.025, 0.25, 0.5, 0.75, 0.975), axis=0)
            ax.fill_between(at, low, high, color="0.85", label="95 % of drives")
            ax.fill_between(at, quarter, three, color="0.65", label="half of the drives")
            ax.plot(at, middle, color="black", lw=1, label="median")
            reach = max(reach, 1.1 * float(np.abs([low, high]).max()))
        ax.axhline(limit, color="black", ls="--", lw=0.8, label="tolerance")
        ax.axhline(-limit, color="black", ls="--", lw=0.8)
        ax.set_ylabel(f"{plane}, mm ({sides})")
        ax.set_xlabel("chainage, m")
        ax.legend(fontsize=7, ncols=4, loc="upper left")
        ax.set_ylim(-reach, reach)
        ax = axes[n][1]
        ends = [getattr(o, f"end_{plane}_mm") for o in base]
        if ends:
            ax.hist(ends, bins=min(40, max(8, len(ends) // 10)), color="0.6", edgecolor="black", lw=0.4)
        eye = getattr(file.tolerance.eye or file.tolerance, f"{plane}_mm")
        ax.axvline(eye, color="black", lw=1.2)
        ax.axvline(-eye, color="black", lw=1.2)
        ax.set_xlabel(f"{plane} on arrival, mm ({sides}); upright lines: reception eye")
        ax.set_ylabel("drives")
        ax.yaxis.get_major_locator().set_params(integer=True)  # drives come whole
    ax = axes[2][0]
    joints = np.sort([o.joint_mm_per_m for o in base])
    if len(joints):
        ax.step(joints, np.arange(1, len(joints) + 1) / len(joints), color="black", where="post")
    ax.axvline(file.pipe.max_joint_angle_mm_per_m, color="black", ls="--", lw=0.8)
    ax.set_xlabel("largest joint angle of a drive, mm/m (broken line: what joint and packer allow)")
    ax.set_ylabel("share of drives below")
    ax.set_ylim(0, 1)
    _draw_effects(axes[2][1], answers)
    return figure


def _draw_effects(ax: Any, answers: Answers) -> None:
    if not answers.effects:
        ax.set_axis_off()
        return
    ax.axvline(0.0, color="black", lw=0.6)
    names = []
    for n, effect in enumerate(answers.effects):
        rms = effect.figures[3]
        if math.isfinite(rms.low):
            ax.plot([rms.low, rms.high], [n, n], color="black", lw=1.2)
        ax.plot([rms.value], [n], "o", color="black", ms=4)
        names.append(f"{effect.factor} {effect.level}")
    ax.set_yticks(range(len(names)), names, fontsize=8)
    ax.invert_yaxis()
    ax.set_xlabel("change of root mean square offset, mm, with 95 %")
