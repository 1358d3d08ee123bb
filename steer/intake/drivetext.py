"""The drive file as an event, so that the log itself says what its advices were made with."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from steer.drivefile import FILE_NAME, DriveFile
from steer.errors import FolderUnusable
from steer.intake.stored import drive_files

KIND = "drive_file"
_LONGEST = 1_000_000  # characters of text that are kept in an event; of a longer one only the hash


def as_event(folder: Path, drive: DriveFile) -> dict[str, Any]:
    """The body of a drive_file event: sha256 and text of drive.toml, sha256 of the axis's own file if it
    has one. Raises FolderUnusable when a file cannot be read."""
    try:
        content = (folder / FILE_NAME).read_bytes()
        body: dict[str, Any] = {"sha256": hashlib.sha256(content).hexdigest()}
        text = content.decode("utf-8", "replace")
        if len(text) <= _LONGEST:
            body["text"] = text
        for name in drive_files(drive)[1:]:
            body["axis_sha256"] = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    except OSError as error:
        raise FolderUnusable(f"{folder}: cannot be read: {error.strerror or error}") from None
    return body


def same(one: dict[str, Any] | None, other: dict[str, Any] | None) -> bool:
    """Whether two of them describe the same drive, byte for byte."""
    names = ("sha256", "axis_sha256")
    return one is not None and other is not None and all(one.get(n) == other.get(n) for n in names)
