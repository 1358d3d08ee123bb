"""Last page: what the record rests on, decision rule, log, signatures."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from steer.asbuilt import string_words, words
from steer.asbuilt.lie import BRIDGE_PIPES
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.lettering import wrapped
from steer.asbuilt.report.sheet import Sheet, room_mm

_HEAD_MM = 38.0  # of the column of heads
_SIZE = 8.0
_SIGNED_MM = 30.0  # room for the signatures

Paragraph = tuple[str, str]


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """One page, or more where there is more to say than fits; the signatures on the last."""
    parts = _parts(_paragraphs(record), *room_mm(record.file.report.paper))
    return [
        ("What this record rests on", False, partial(_draw, paragraphs=part, last=part is parts[-1]))
        for part in parts
    ]


def _parts(paragraphs: list[Paragraph], width: float, height: float) -> list[list[Paragraph]]:
    """The paragraphs page by page, the last with room for the signatures below."""
    parts: list[list[Paragraph]] = [[]]
    left = height
    for number, (head, text) in enumerate(paragraphs):
        lines = len(wrapped(text, width - _HEAD_MM, _SIZE))
        tall = lines * Sheet.line_mm(_SIZE) + 2.6
        needed = tall + (_SIGNED_MM + 6.0 if number == len(paragraphs) - 1 else 0.0)
        if parts[-1] and needed > left:
            parts.append([])
            left = height
        parts[-1].append((head, text))
        left -= tall
    return parts


def _paragraphs(record: AsBuilt) -> list[Paragraph]:
    file, seal, sd = record.file, record.seal, record.file.sd
    pipe = file.pipe
    overlap = " Where stretches overlap the tightest counts." if len(file.tolerance.ranges) > 1 else ""
    found = [
        ("Tolerance", words.tolerance(record) + "." + overlap),
        ("Decision rule", words.rule(record)),
        (
            "Deviation",
            "Estimated from every reading and check survey of the log together, smoothed backward. "
            "Stations stand every metre; each counts half way to its neighbours, so the "
            "totals can be added up again from the table. At a check shot that disagrees the line steps: the "
            "reference may have moved anywhere since the shot before, so from there to it the standard deviation "
            "grows by the disagreement; beyond it too (by 0.7 of it) while the shot waits for a word. "
            + words.basis(record),
        ),
        (
            "Pipe surveys",
            "A survey of a laid pipe wins over the machine's path for half a pipe either side, with its own "
            "standard deviation. Beyond, its difference from the path fades out over "
            f"{BRIDGE_PIPES:g} pipes, or "
            "goes over in a straight line into that of a survey within that distance, and the "
            "uncertainty grows "
            "to the path's. Of two surveys at one place the last counts.",
        ),
        (
            "Given accuracy",
            f"Standard deviations in drive.toml: spot {sd.spot_mm:g} mm + {sd.spot_mm_per_100m:g} mm "
            f"per 100 m, yaw {sd.yaw_mm_per_m:g} mm/m, pitch "
            f"{sd.pitch_mm_per_m:g} mm/m, inclinometer zero {sd.pitch_bias_mm_per_m:g} mm/m, launch "
            f"{sd.launch_mm:g} mm and {sd.launch_mm_per_m:g} mm/m, reference {sd.reference_mm:g} mm and "
            f"{sd.reference_mm_per_m:g} mm/m. Bands on these pages hold 95 % (1.96 sd), if these "
            "figures are right. On 50 simulated drives they held the truth at 97.6 % of all metres, on the worst "
            "of them at 71 %: an error of the reference is one error for the whole drive.",
        ),
        (
            "Joints",
            "Every chainage once carries a joint: its angle is that between the chords of one pipe length "
            "before and behind along the machine's path, in space, design curve included; gap = angle times "
            "outer diameter. A smoothed path is rounder than the bore. So sudden turns that the readings betray "
            "are put in and steps at check shots that disagree are taken out, which the positions of the tables do "
            "not show, and upper limits come from 200 "
            "paths drawn from all that the log leaves possible. On 50 simulated drives an angle was known to "
            "0.3 mm/m (RMS) and lay below its upper limit at 98 % of places; the largest found was 0.8 to 1.1 of "
            "the true one on 9 drives in 10, and its upper limit held the true one on 48 of 50. Measured gaps win.",
        ),
    ]
    if record.force.ring is not None:
        ring = record.force.ring
        found.append(
            (
                "Permissible force",
                f"Bearing ring {2 * ring.outer_radius_mm:g}/{2 * ring.inner_radius_mm:g} mm, packer "
                f"{pipe.packer_thickness_mm:g} mm thick, modulus {pipe.packer_modulus_mpa:g} MPa, "
                "largest stress "
                f"{pipe.max_joint_stress_mpa:g} MPa; stress linear across the joint, no tension, "
                "faces rigid. The "
                "whole jacking force is taken at the worst joint made so far. " + string_words.FORCE_CAUTION,
            )
        )
    if record.force.stretches:
        found.append(
            (
                "Friction",
                "Slope of the force, less face pressure times face area where that was measured, "
                "over advance: "
                "median of all pairs' slopes (Theil 1950, Sen 1968) by stretch; stretches found by "
                "least squares with "
                "a price for each cut. Usual range: Pipe Jacking Association, introduction, section 6.",
            )
        )
    found += [
        (
            "Log",
            f"{seal.events} events, each chained to the one before by SHA-256; the last hash is "
            f"{seal.head or 'none'}. "
            + (
                "Recomputed for this report: whole."
                if seal.whole
                else "Recomputed for this report: NOT WHOLE: " + "; ".join(seal.faults[:4])
            )
            + f" The same drive.toml and log give the same record. Made with steer {record.version}.",
        ),
        ("Caution", words.CAUTION),
    ]
    return found


def _draw(sheet: Sheet, paragraphs: list[Paragraph], last: bool) -> None:
    y = sheet.top
    for head, text in paragraphs:
        sheet.text(sheet.left, y, head, bold=True)
        y = sheet.paragraph(sheet.left + _HEAD_MM, y, text, sheet.inner - _HEAD_MM, _SIZE) + 2.6
    if last:
        _signatures(sheet, max(y + 6.0, sheet.bottom - _SIGNED_MM))


def _signatures(sheet: Sheet, y: float) -> None:
    wide = (sheet.inner - 16.0) / 3.0
    for i, head in enumerate(("Prepared by", "Checked by", "Accepted by")):
        x = sheet.left + i * (wide + 8.0)
        sheet.text(x, y, head, bold=True)
        for k, field in enumerate(("name", "date", "signature")):
            at = y + 9.0 + 8.0 * k
            sheet.rule(at, 0.4, x + 16.0, x + wide)
            sheet.text(x, at - 3.0, field, 7.0)
