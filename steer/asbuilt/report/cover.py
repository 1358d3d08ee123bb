"""First page: title block, verdict, totals, findings, caution."""

from __future__ import annotations

from collections.abc import Callable

from steer.asbuilt import string_words, words
from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report.lettering import fitted, wrapped
from steer.asbuilt.report.marks import BAND, BUILT, TOLERANCE, chainage_limits, verdict_bar
from steer.asbuilt.report.sheet import BLUE, GREY, INK, RED, Sheet
from steer.asbuilt.tolerances import tolerance_along
from steer.text import PLANES, SIDES, printable


def pages(record: AsBuilt) -> list[tuple[str, bool, Callable[[Sheet], None]]]:
    """One page."""
    return [("As-built record of line and level", False, lambda sheet: _draw(sheet, record))]


def _draw(sheet: Sheet, record: AsBuilt) -> None:
    y = _title_block(sheet, record, sheet.top)
    y = _verdict(sheet, record, y + 5.0)
    y = _totals(sheet, record, y + 5.0)
    for head, lines in _findings(record):
        if y > sheet.bottom - 24.0:
            sheet.text(sheet.left, y, "More on the following pages.", bold=True)
            break
        sheet.text(sheet.left, y, head, bold=True)
        y = sheet.paragraph(sheet.left + 24.0, y, " ".join(lines), sheet.inner - 24.0) + 1.6
    _caution(sheet)
    tall = min(sheet.bottom - y - 31.0, 26.0)  # what the caution, titles and bars leave
    if tall > 12.0:
        _at_a_glance(sheet, record, sheet.bottom - 25.0 - tall, tall)


def _at_a_glance(sheet: Sheet, record: AsBuilt, y: float, tall: float) -> None:
    """Both planes against their tolerance, small, with the verdict below each."""
    m = record.metres
    half = (sheet.inner - 16.0) / 2.0
    for plane in (0, 1):
        x = sheet.left + 6.0 + plane * (half + 10.0)
        ax = sheet.axes(x, y, half, tall)
        value, band = m.lie.offset_mm[:, plane], 1.96 * m.lie.sd_mm[:, plane]
        ax.fill_between(m.lie.chainage_m, value - band, value + band, **BAND)
        ax.plot(m.lie.chainage_m, value, **BUILT)
        ax.axhline(0.0, color=INK, linewidth=0.5)
        along, limit = tolerance_along(record.file)
        for sign in (-1.0, 1.0):
            ax.plot(along, sign * limit[:, plane], **TOLERANCE)
        reach = 1.15 * max(float(limit[:, plane].max()), float((abs(value) + band).max()))
        ax.set_ylim(-reach, reach)
        ax.set_xlim(*chainage_limits(record))
        ax.tick_params(labelbottom=False, labelsize=6.5)
        ax.set_title(
            f"{_capital(PLANES[plane])}, mm (+ {SIDES[plane][0]}), tolerance dashed",
            fontsize=7.5,
            pad=2,
        )
        bar = sheet.axes(x, y + tall + 1.0, half, 2.6)
        verdict_bar(bar, m, m.verdict[:, plane], record)
        bar.tick_params(labelsize=6.5)


def _title_block(sheet: Sheet, record: AsBuilt, y: float) -> float:
    file, axis = record.file, record.file.axis
    block = file.report
    start, end = axis.at(axis.start_chainage_m), axis.at(axis.end_chainage_m)
    seal = record.seal
    pipe, machine = file.pipe, file.machine

    def place(point: object) -> str:
        e, n, z = (getattr(point, k) for k in ("easting_m", "northing_m", "level_m"))
        return f"E {e:.3f}  N {n:.3f}  level {z:.3f} m"

    left = [
        ("Drive", printable(file.drive.name)),
        ("Contract", printable(block.contract or "")),
        ("Client", printable(block.client or "")),
        ("Contractor", printable(block.contractor or "")),
        ("Engineer", printable(block.engineer or "")),
        ("Covers", f"{axis.start_chainage_m:.1f} to {record.face_m:.1f} m of {axis.end_chainage_m:.1f} m"),
        (
            "Readings",
            f"{_day(seal.first_time)} to {_day(seal.last_time)}" if seal.first_time else "not dated",
        ),
    ]
    right = [
        ("Axis start", f"chainage {axis.start_chainage_m:.3f} m"),
        ("", place(start)),
        ("Axis end", f"chainage {axis.end_chainage_m:.3f} m"),
        ("", place(end)),
        ("Pipe", f"{pipe.length_m:g} m long, {pipe.outer_diameter_mm:g}/{pipe.inner_diameter_mm:g} mm"),
        ("Machine", f"{machine.outer_diameter_mm:g} mm, {machine.length_m:g} m face to tail"),
        ("Tolerance", _tolerance(record)),
    ]
    height = 5.2 * len(left) + 3.0
    middle = sheet.left + 0.52 * sheet.inner
    sheet.box(sheet.left, y, sheet.inner, height)
    for rows, x, wide in ((left, sheet.left + 2.0, 66.0), (right, middle, 64.0)):
        at = y + 2.2
        for head, text in rows:
            sheet.text(x, at, head, size=7.0, colour="#505050")
            if text or not head:
                sheet.text(x + 20.0, at - 0.3, fitted(text, wide, 8.0), size=8.0)
            else:
                sheet.rule(at + 3.0, 0.2, x + 20.0, x + 20.0 + wide)
            at += 5.2
    return y + height


def _day(time: str | None) -> str:
    return (time or "").replace("T", " ")[:16]


def _tolerance(record: AsBuilt) -> str:
    tolerance = record.file.tolerance
    text = f"line ±{tolerance.line_mm:g}, level ±{tolerance.level_mm:g} mm"
    return text + (", other in places" if tolerance.ranges else "")


def _verdict(sheet: Sheet, record: AsBuilt, y: float) -> float:
    size, width = 11.5, sheet.inner - 34.0
    lines = wrapped(_capital(words.overall(record)) + ".", width, size, True)
    height = 6.0 + 5.6 * len(lines) + 4.5
    sheet.box(sheet.left, y, sheet.inner, height, 1.4, "#f0f3f7")
    sheet.box(sheet.left, y, 2.2, height, 0.0, _stripe(record))
    sheet.text(sheet.left + 5.0, y + 3.2, "Verdict", size=9.0)
    at = y + 3.0
    for line in lines:
        sheet.text(sheet.left + 28.0, at, line, size=size, bold=True)
        at += 5.6
    sheet.text(
        sheet.left + 28.0, at + 0.6,
        f"Decision rule: {100 * record.rule:g} % conformance probability, each plane by itself (JCGM "
        "106:2012).",
        size=7.5,
    )  # fmt: skip
    return y + height


def _stripe(record: AsBuilt) -> str:
    """The box's edge, which only repeats what its words say."""
    if record.both.outside_m > 0:
        return RED
    return GREY if record.both.cannot_tell_m > 0 else BLUE


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _totals(sheet: Sheet, record: AsBuilt, y: float) -> float:
    counted = (record.line.counted, record.level.counted, record.both)
    rows = [["", "line", "level", "both"]]
    for name, key in (
        ("inside tolerance", "inside_m"), ("outside", "outside_m"), ("cannot tell", "cannot_tell_m"),
        ("outside, uncertainty ignored", "naive_outside_m"),
    ):  # fmt: skip
        rows.append([name, *(words.metres_of(c, getattr(c, key)) for c in counted)])
    rows.append(["longest run outside", *(words.run(c) for c in counted)])
    planes = (record.line.figures, record.level.figures)
    rows += [
        *(
            [name, *cells, ""]
            for name, *cells in zip(
                ("mean", "RMS", "95th percentile of the size"),
                *(words.spread(f, k) for k, f in enumerate(planes)),
                strict=True,
            )
        ),
        ["largest", *(words.largest(f, k) for k, f in enumerate(planes)), ""],
    ]
    first = 43.0
    wide = (sheet.inner - first) / 3.0
    return sheet.table(sheet.left, y, [first, wide, wide, wide], rows, size=8.0) + 2.5


def _findings(record: AsBuilt) -> list[tuple[str, list[str]]]:
    found = []
    if record.eye is not None:
        found.append(("Reception eye", [_capital(words.eye(record.eye)) + "."]))
    found += [
        ("Grade", words.falls_lines(record)),
        ("Joints", string_words.joint_lines(record)),
        ("Force", string_words.force_in_short(record)),
    ]
    found.append(("Surveys", words.survey_lines(record)))
    if record.notices:
        texts = [printable(n.text) for n in record.notices[:4]]
        more = len(record.notices) - len(texts)
        found.append(("Notices", texts + ([f"and {more} more, listed further on."] if more else [])))
    if not record.seal.whole:
        found.append(("Log", ["THE LOG IS NOT WHOLE: " + "; ".join(record.seal.faults[:3])]))
    return found


def _caution(sheet: Sheet) -> None:
    size, width = 7.5, sheet.inner - 26.0
    lines = wrapped(words.CAUTION, width, size)
    height = 3.6 * len(lines) + 4.0
    y = sheet.bottom - height
    sheet.box(sheet.left, y, sheet.inner, height, 0.6)
    sheet.text(sheet.left + 2.0, y + 2.0, "Caution", size=8.0, bold=True)
    sheet.paragraph(sheet.left + 22.0, y + 2.0, words.CAUTION, width, size)
