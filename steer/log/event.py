"""One event, its canonical text, and the hash that chains it to its predecessor.

Body text is JSON with sorted keys, no spaces and only ASCII (RFC 8259), so that one body has one text.
The chain is sha256 (FIPS 180-4) over the predecessor's 32 bytes followed by
`sequence \\n arrived \\n program \\n kind \\n body`; the first event's predecessor is the log's own origin.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from typing import Any

from steer.errors import InputRefused

_KIND = re.compile(r"[a-z][a-z0-9_]{0,63}")


@dataclass(frozen=True, slots=True)
class Event:
    """What arrived: `sequence` orders (never the clock), `arrived` is ISO 8601 UTC, `body` as stored."""

    sequence: int
    arrived: str
    kind: str
    body: dict[str, Any]


def canonical(body: dict[str, Any]) -> str:
    """The one JSON text of a body. Raises InputRefused for NaN, infinity or what JSON cannot hold."""
    try:
        return json.dumps(body, sort_keys=True, separators=(",", ":"), allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise InputRefused(f"an event cannot be stored: {error}") from None


def check_kind(kind: str) -> str:
    """A kind is a short lower-case word; raises InputRefused otherwise."""
    if not _KIND.fullmatch(kind):
        raise InputRefused(f"kind {kind[:40]!r}: allowed are lower-case letters, digits and _, 64 at most")
    return kind


def chain(previous: bytes, sequence: int, arrived: str, program: str, kind: str, body: str) -> bytes:
    """The 32-byte hash of one event after `previous`."""
    text = f"{sequence}\n{arrived}\n{program}\n{kind}\n{body}"
    return hashlib.sha256(previous + text.encode("utf-8")).digest()
