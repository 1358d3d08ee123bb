"""The surveyor's page: check shots with what they say against the estimate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from steer.text import believed
from tui.draw import notices, words
from tui.draw.scene import Scene, out_of_date, unread
from tui.draw.spans import Row, at_ends, cells, first_whole, shortened, wrap

if TYPE_CHECKING:
    from steer.advice import FaceEstimate, ShotView


LONGEST = 8  # rows of one sentence
_TITLED = 4  # rows from which what is said of a shot has a title
DESPITE = "accepted, disagrees"
BELIEVED = "accepted"  # one that disagreed then, and that others confirm
AHEAD = "ahead"  # a waiting shot that no word brings in, only readings
_MARK = {
    "agrees": " ",
    "disagrees": "!",
    DESPITE: "!",
    "waiting": "?",
    AHEAD: ">",
    "rejected": "x",
    "withdrawn": "x",
}


def title_rows(scene: Scene, width: int, room: int = 99) -> list[Row]:
    """How many shots and how they stand; where the face is; when the next one is due. In less `room` than all want the
    reference goes first, then why the page is old is cut, then the survey, the face, the notices' own row."""
    snapshot = scene.snapshot
    if unread(scene):
        why: list[Row] = [((f" {line}", "strong"),) for line in wrap(unread(scene), width - 2, 4)]
        return [((" CHECK SHOTS".ljust(width), "title"),), *why]
    shots = snapshot.shots if snapshot is not None else ()
    counts = [f"{len(shots)} taken"]
    for verdict in (BELIEVED, DESPITE, "disagrees", "waiting", AHEAD, "rejected", "withdrawn"):
        number = sum(1 for shot in shots if _verdict(shot) == verdict)
        if number:
            said = verdict.replace("rees", "ree") if number > 1 else verdict
            counts.append(f"{number} {said.replace(', ', ' but ')}")
    rows: list[Row] = [((f" CHECK SHOTS  {', '.join(counts)}".ljust(width), "title"),)]
    old, noticed = notices.old(scene, width), notices.line(scene, width)
    if room < 4 + len(old) + len(noticed) - 1:
        old = notices.old(scene, width, most=1)
    if noticed and room < 2 + len(old):
        rows[0] = at_ends(rows[0], notices.mark(len(notices.ordered(scene)), width), width)
        noticed = []
    rows += [*old, *noticed]
    if snapshot is None or snapshot.advice is None:
        rows.append(((" No reading yet.", "quiet"),))
        return rows
    advice = snapshot.advice
    was = "was " if out_of_date(scene) else ""
    text = f"{was}{estimate_text(advice.estimate, scene.glyphs.plus_minus)}"
    lead = first_whole((f" Face {advice.chainage_m:.2f} m: ", " Face: ", " "), width - cells(text)) or " "
    rows.append(((lead, "quiet"), (text, "strong")))
    if advice.next_survey_m is not None:
        left = advice.next_survey_m - advice.chainage_m
        due = f"in {left:.1f} m, by {advice.next_survey_m:.1f} m" if left > 0.05 else "NOW: it is due"
        if left > 0.05 and width >= 60 and any(n.code in ("beam_lost", "spot_stuck") for n in advice.notices):
            due += ", as no spot is read"
        rows.append(((" Next check survey ", "quiet"), (due, "strong" if left > 0.05 else "warn")))
    reference = snapshot.extra.get("reference")
    if isinstance(reference, str) and reference:
        rows += [((f" {line}", ""),) for line in wrap(reference, width - 2, min(3, max(room - len(rows), 0)))]
    return rows[: max(room, 1)]


def estimate_text(estimate: FaceEstimate, plus_minus: str) -> str:
    """Line and level of the face with their 95 % bands."""
    return (
        f"{words.known('line', estimate.line_mm, estimate.line_sd_mm, plus_minus)}, "
        f"{words.known('level', estimate.level_mm, estimate.level_sd_mm, plus_minus)}"
    )


def head(width: int) -> list[Row]:
    """Names of the columns."""
    text = "    no chainage point      shot, mm         against estimate, mm     verdict"
    if width - 2 < _WHOLE:
        number = f" {'no':>6} {'chainage':>8}"
        heads = {
            "number": number,
            "shot": f"{number} point ",
            "found": f" {'shot, mm':>18}",
            "apart": "  apart",
        }
        text = "".join(heads.get(part, " verdict") for part in _parts(width - 2))
    return [((text[:width].ljust(width), "title"),)]


# Cells of an item's parts, and the parts that fewer cells than all have room for: whole ones only.
_CELLS = {"number": 15, "shot": 22, "found": 19, "against": 19, "apart": 7, "verdict": 11}
_CHOICES = (
    ("shot", "found", "against", "apart", "verdict"),
    ("shot", "found", "apart", "verdict"),
    ("shot", "found", "verdict"),
    ("shot", "verdict"),
    ("number", "verdict"),
)
_WHOLE = sum(_CELLS[part] for part in _CHOICES[0])


def _parts(width: int) -> tuple[str, ...]:
    # the verdict's second blank is the first to go
    fitting = (c for c in _CHOICES if sum(_CELLS[part] for part in c) <= width + (c is not _CHOICES[0]))
    return next(fitting, _CHOICES[-1])


def item(shot: ShotView, width: int) -> Row:
    """One shot in one row."""
    # The blanks are apart from the fields: however long a figure is, it never touches its neighbour.
    found = f" {_short('line', shot.line_mm):>9} {_short('level', shot.level_mm):>8}"
    verdict = _verdict(shot)
    against, apart = f" {'-':>9} {'-':>8}", ""
    if verdict != AHEAD:
        against = (
            f" {_short('line', shot.innovation_line_mm):>9} {_short('level', shot.innovation_level_mm):>8}"
        )
        apart = _in_sd(shot)
    role = {
        "disagrees": "warn",
        DESPITE: "warn",
        "waiting": "warn",
        "rejected": "quiet",
        "withdrawn": "quiet",
    }.get(verdict, "")
    number = f"{_MARK.get(verdict, ' ')}{shot.number:>5} {shot.chainage_m:>8.2f}"
    parts = _parts(width)
    if verdict == DESPITE and sum(_CELLS[part] for part in parts) + len(DESPITE) - len("disagrees") > width:
        verdict = "accepted!"
    spans = {
        "number": (number, role),
        "shot": (f"{number} {shot.point:<6}", role),
        "found": (found, ""),
        "against": (against, role),
        "apart": (f" {apart:>6}", role),
        "verdict": (f"{' ' * (1 + (len(parts) == len(_CHOICES[0])))}{verdict}", role),
    }
    return tuple(spans[part] for part in parts)


def detail(
    scene: Scene, shot: ShotView | None, before_after: str, width: int, height: int | None = None
) -> list[Row]:
    """The shot under the cursor in sentences; in too few rows (`height`) the longest are cut, and marked as cut:
    the evidence for either explanation has its place."""
    if height is not None and height < _TITLED:
        return _in_short(scene, shot, before_after, width, height)
    rows: list[Row] = [((" THIS SHOT".ljust(width), "title"),)]
    texts: list[tuple[str, str]] = []
    if shot is not None:
        pm = scene.glyphs.plus_minus
        taken = f", taken {shot.time[:16].replace('T', ' ')} UTC" if shot.time else ""
        texts.append(
            (
                f"Shot {shot.number}, {shot.point}, at {shot.chainage_m:.2f} m{taken}: "
                f"{words.known('line', shot.line_mm, shot.sd_line_mm, pm)}, "
                f"{words.known('level', shot.level_mm, shot.sd_level_mm, pm)}.",
                "",
            )
        )
        verdict = _verdict(shot)
        if verdict != AHEAD and (lay := _against(shot)):
            texts.append((f"It lay {lay}.", ""))
        told = {
            BELIEVED: f"Accepted. {believed(shot.confirmed)}",
            DESPITE: "Accepted, it counts, and it disagrees: a survey blunder, or the reference moved. Shoot again to "
            "find out.",
            "disagrees": f"{believed(shot.confirmed)} Key a accepts it, r rejects it."
            if shot.confirmed
            else "It disagrees: a survey blunder, or the reference moved. Shoot again to find out.",
            "waiting": "It disagrees and does not count until accepted (key a) or rejected (key r).",
            AHEAD: "The face has not come there yet; it counts when the readings get there.",
            "rejected": "It is rejected and does not count; key u takes that back.",
            "withdrawn": "It is withdrawn and does not count; key u takes that back.",
        }.get(verdict)
        if verdict == "waiting" and shot.repeats is not None:
            told = (
                f"It is the same point within 1 mm as shot {shot.repeats}: that survey, given again? It does not count "
                "until it is accepted as a second survey (key a) or rejected (key r)."
            )
        if told:
            texts.insert(1, (told, "strong"))
        texts += [(text, "") for text in shot.evidence]
    if before_after:
        texts.append((before_after, "strong"))
    whole = [len(wrap(text, width - 2, LONGEST)) for text, _ in texts]
    given = whole if height is None else shortened(whole, height - 1)
    for (text, role), most in zip(texts, given, strict=False):
        rows += [((f" {line}", role),) for line in wrap(text, width - 2, most)]
    return rows


def _in_short(scene: Scene, shot: ShotView | None, before_after: str, width: int, height: int) -> list[Row]:
    """What the row of the list has no room for."""
    pm, texts = scene.glyphs.plus_minus, [before_after] if before_after else []
    if shot is not None:
        line = words.known("line", shot.line_mm, shot.sd_line_mm, pm)
        texts.append(
            f"Shot {shot.number}: {line}, {words.known('level', shot.level_mm, shot.sd_level_mm, pm)}."
        )
        if _verdict(shot) != AHEAD and (lay := _against(shot)):
            texts.append(f"It lay {lay}.")
    given = shortened([len(wrap(text, width - 2, LONGEST)) for text in texts], height)
    return [
        ((f" {row}", ""),)
        for text, most in zip(texts, given, strict=False)
        for row in wrap(text, width - 2, most)
    ]


def _verdict(shot: ShotView) -> str:
    """The shot's verdict; of a waiting one that the face has not come to, `ahead`; with a person's word for it."""
    if shot.verdict == "disagrees" and shot.accepted:
        return BELIEVED if shot.confirmed else DESPITE
    return AHEAD if shot.verdict == "waiting" and not shot.reached else shot.verdict


def _against(shot: ShotView) -> str:
    """`16 mm further right (4.9 sd) than estimated and at the estimated level (0.3 sd)`."""
    said: list[str] = []
    last_off = -1
    for plane, innovation, sd in (
        ("line", shot.innovation_line_mm, shot.innovation_sd_line_mm),
        ("level", shot.innovation_level_mm, shot.innovation_sd_level_mm),
    ):
        if innovation is None or innovation != innovation:
            continue
        where = words.side(plane, innovation)
        if where:
            last_off = len(said)
            way = {"high": "higher", "low": "lower"}.get(where, f"further {where}")
            lay = f"{abs(innovation):.0f} mm {way}"
        else:
            lay = "on the estimated line" if plane == "line" else "at the estimated level"
        said.append(lay + (f" ({_sds(abs(innovation) / sd)})" if sd else ""))
    if last_off >= 0:
        said[last_off] += " than estimated"
    return " and ".join(said)


def _short(plane: str, value: float | None) -> str:
    if value is None or value != value:
        return "-"
    return f"{abs(value):.0f} {words.side(plane, value)}".strip()


def _in_sd(shot: ShotView) -> str:
    """The larger of the two innovations in its own standard deviations."""
    ratios = [
        abs(value) / sd
        for value, sd in (
            (shot.innovation_line_mm, shot.innovation_sd_line_mm),
            (shot.innovation_level_mm, shot.innovation_sd_level_mm),
        )
        if value is not None and sd
    ]
    return _sds(max(ratios)) if ratios else ""


def _sds(ratio: float) -> str:
    return f"{ratio:.1f} sd" if ratio < 9.95 else f"{ratio:.0f} sd"
