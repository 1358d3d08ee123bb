"""The feed: lines in, answers out. Each line is stored before the next one is read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, BinaryIO

from steer.drive import Drive
from steer.errors import InputRefused
from steer.intake import (
    check_shot_from_json,
    object_from_line,
    reading_from_json,
    reference_set_from_json,
    stroke_end_from_json,
)
from steer.says import advice_object
from steer.text import shown

LONGEST_LINE = 1_000_000  # bytes; what is longer is no reading


def serve(drive: Drive, lines: BinaryIO) -> Iterator[dict[str, Any]]:
    """Take lines until they end; yields the answers (advice and refused objects of the contract)."""
    for number, line in _lines(lines):
        try:
            if line is None:
                raise InputRefused(f"the line is longer than {LONGEST_LINE} bytes")
            answer = take_line(drive, line)
        except InputRefused as refused:
            answer = {"kind": "refused", "line": number, "why": "; ".join(refused.problems)}
        if answer is not None:
            yield answer


def take_line(drive: Drive, line: bytes) -> dict[str, Any] | None:
    """Store one line; the answer when it is a stroke's end. Raises InputRefused for what is not valid."""
    try:
        text = line.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputRefused("the line is not UTF-8 text") from None
    if not text.strip():
        return None
    found = object_from_line(text)
    kind = found.get("kind")
    file = drive.file
    stored: dict[str, Callable[[Any, Any], dict[str, Any]]] = {
        "reading": reading_from_json,
        "check_shot": check_shot_from_json,
        "reference_set": reference_set_from_json,
    }
    if kind == "stroke_end":
        body = stroke_end_from_json(found, file)
        advice = drive.stroke_end(**body)
        drive.log.commit()
        return {"kind": "advice", **advice_object(advice)}
    if not isinstance(kind, str) or kind not in stored:
        raise InputRefused(
            f"kind {shown(kind)} is not known: reading, check_shot, reference_set and stroke_end are allowed"
        )
    drive.add(kind, stored[kind](found, file))
    drive.follower.keep_up()
    return None


def _lines(stream: BinaryIO) -> Iterator[tuple[int, bytes | None]]:
    """Numbered lines; None for one that is too long, which is read past without being kept."""
    number = 0
    while True:
        line = stream.readline(LONGEST_LINE + 1)
        if not line:
            return
        number += 1
        if len(line) > LONGEST_LINE and not line.endswith(b"\n"):
            while line and not line.endswith(b"\n"):
                line = stream.readline(LONGEST_LINE)
            yield number, None
            continue
        yield number, line
