"""One feed a drive: a lock of the operating system, which a killed process cannot leave behind."""

from __future__ import annotations

import json
import os
import socket
from pathlib import Path

from steer.errors import FolderUnusable

try:
    import fcntl

    def _lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
except ImportError:  # Windows has no flock
    import msvcrt

    def _lock(descriptor: int) -> None:
        os.lseek(descriptor, 1 << 20, os.SEEK_SET)  # beyond the text, which others must be able to read
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]


class Claim:
    """Holds `feed.lock` of a drive until `release()` or the end of the process."""

    def __init__(self, folder: Path) -> None:
        path = folder / "feed.lock"
        try:
            self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
        except OSError as error:
            raise FolderUnusable(f"{path}: {error.strerror}") from None
        try:
            _lock(self._descriptor)
        except OSError:
            who = _holder(self._descriptor)
            os.close(self._descriptor)
            raise FolderUnusable(f"{folder}: another feed already works on this drive: {who}") from None
        try:
            os.ftruncate(self._descriptor, 0)
            os.pwrite(self._descriptor, _myself(), 0) if hasattr(os, "pwrite") else None
        except OSError:
            pass  # a full disk must not stop the lock, which holds without a name in it

    def release(self) -> None:
        """Let the next feed in."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _myself() -> bytes:
    return json.dumps({"process": os.getpid(), "computer": socket.gethostname()}).encode()


def _holder(descriptor: int) -> str:
    try:
        os.lseek(descriptor, 0, os.SEEK_SET)
        who = json.loads(os.read(descriptor, 4096))
        return f"process {int(who['process'])} on {str(who['computer'])[:80]!r}"
    except (OSError, ValueError, KeyError, TypeError):
        return "its process number is not known"
