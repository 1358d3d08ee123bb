"""The as-built record on a terminal, 80 columns wide."""

from __future__ import annotations

import textwrap

from steer.asbuilt import string_words, words
from steer.asbuilt.record import AsBuilt, Plane
from steer.text import PLANES, printable


def page(record: AsBuilt) -> str:
    """The page as one text."""
    file = record.file
    rows = [
        f"AS-BUILT  {printable(file.drive.name, 68)}",
        *_wrapped("covers", [words.covered(record)]),
        *_wrapped("allowed", [f"{words.tolerance(record)}; rule {100 * record.rule:g} %"]),
        *_wrapped("verdict", [words.overall(record)]),
        "",
        f"{'':22}{'line':>17}{'level':>17}{'both':>17}",
    ]
    both = record.both
    for name, key in (
        ("inside", "inside_m"),
        ("outside", "outside_m"),
        ("cannot tell", "cannot_tell_m"),
        ("outside, sd ignored", "naive_outside_m"),
    ):
        cells = [
            f"{getattr(c, key):.1f} m {c.per_cent(getattr(c, key)):5.1f} %"
            for c in (record.line.counted, record.level.counted, both)
        ]
        rows.append(f"{name:22}" + "".join(f"{cell:>17}" for cell in cells))
    rows.append("")
    for k, plane in enumerate((record.line, record.level)):
        rows.extend(_plane(k, plane))
    if record.eye is not None:
        rows.extend(_wrapped("eye", [words.eye(record.eye)]))
    rows.extend(_wrapped("grade", words.falls_lines(record)))
    rows.extend(_wrapped("joints", string_words.joint_lines(record)))
    rows.extend(_wrapped("force", string_words.force_lines(record)))
    rows.extend(_wrapped("surveys", words.survey_lines(record)))
    for notice in record.notices:
        rows.extend(_wrapped("notice", [printable(notice.text)]))
    seal = record.seal
    state = f"{seal.events} events, hash {seal.head[:16]}…" if seal.whole else "NOT WHOLE: see steer verify"
    rows.extend(_wrapped("log", [state]))
    rows.append("")
    caution = f"{words.CAUTION} {string_words.FORCE_CAUTION}" if len(record.force.used) else words.CAUTION
    rows.extend(textwrap.wrap(caution, 80))
    return "\n".join(rows)


def _plane(k: int, plane: Plane) -> list[str]:
    f = plane.figures
    name = PLANES[k]
    mean, rms, most = words.spread(f, k)
    return [
        f"{name:10}mean {mean}, RMS {rms}, 95th percentile {most}",
        f"{'':10}largest {words.largest(f, k)}",
        f"{'':10}longest run outside: {words.run(plane.counted)}",
    ]


def _wrapped(head: str, texts: list[str]) -> list[str]:
    rows: list[str] = []
    for text in texts:
        rows.extend(
            textwrap.wrap(
                text, 80, initial_indent=f"{head if not rows else '':10}", subsequent_indent=" " * 10
            )
        )
    return rows
