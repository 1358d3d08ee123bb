"""Bytes put away in a file without a name, so that the memory of a shift does not grow with the metres driven.

The file lies in the system's folder for temporary files, is nobody else's, and is gone with the process however that
ends: nothing of it is part of a drive. Where no file can be made or the disk is nearly full, nothing is put away: the
log may need what is left.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, field
from typing import BinaryIO

from steer.errors import FolderUnusable

_ROOM = 4096  # bytes: what is put away takes whole ones, so that what it leaves free serves again

_LEFT = 64 << 20  # bytes of the disk that are left alone


@dataclass
class Shelf:
    """One file, made when first needed, for the process that made it: a forked one writes nothing into it."""

    _file: BinaryIO | None = None
    _process: int = field(default_factory=os.getpid)
    _end: int = 0
    _written: int = 0  # how long the file is
    _short: bool = False  # somebody cut it
    free: dict[int, list[int]] = field(default_factory=dict)  # by size: where

    def __del__(self) -> None:
        if self._file is not None:
            self._file.close()

    def put(self, data: bytes) -> Place | None:
        """Where the bytes lie from now on; None where they cannot be written."""
        if os.getpid() != self._process:
            return None
        size = -(-len(data) // _ROOM) * _ROOM
        free = self.free.get(size)
        at = free.pop() if free else self._end
        try:
            if self._file is None:
                self._file = tempfile.TemporaryFile(dir=_folder(), buffering=0)  # noqa: SIM115 - as long as the shelf
            file = self._file.fileno()
            # written on, a file that was cut would read as zeros where it was
            self._short = self._short or os.fstat(file).st_size < self._written
            room = os.fstatvfs(file)
            enough = at < self._end or room.f_bavail * room.f_frsize > _LEFT
            written = os.pwrite(file, data, at) if enough and not self._short else -1
        except OSError:
            written = -1
        if written != len(data):
            if at != self._end:
                self.free[size].append(at)
            return None
        self._end = max(self._end, at + size)
        self._written = max(self._written, at + len(data))
        return Place(self, at, size)

    def read(self, at: int, count: int) -> bytes:
        """Bytes that were put away. FolderUnusable where the disk does not give them back."""
        assert self._file is not None  # there is a place, so there is a file
        try:
            data = os.pread(self._file.fileno(), count, at)
        except OSError as error:
            raise FolderUnusable(f"{_folder()}: what was put away there cannot be read: {error}") from error
        if len(data) != count or self._short:
            raise FolderUnusable(
                f"{_folder()}: what was put away there has been cut short. Start again: the log holds all"
            )
        return data


class Place:
    """Where something lies on the shelf; the room is free again when nobody holds the place."""

    __slots__ = ("_at", "_shelf", "_size")

    def __init__(self, shelf: Shelf, at: int, size: int) -> None:
        self._shelf, self._at, self._size = shelf, at, size

    def __del__(self) -> None:
        self._shelf.free.setdefault(self._size, []).append(self._at)

    def read(self, from_byte: int, count: int) -> bytes:
        """`count` of its bytes."""
        return self._shelf.read(self._at + from_byte, count)


def _folder() -> str:
    """Where large temporary files belong: /tmp is in memory on many systems."""
    named = os.environ.get("TMPDIR")
    return named or ("/var/tmp" if os.access("/var/tmp", os.W_OK) else tempfile.gettempdir())
