"""Completion of a path as it is typed."""

from __future__ import annotations

import os
from pathlib import Path


def complete(text: str) -> tuple[str, list[str]]:
    """The text completed as far as it is certain, and the names that would go on from there.

    A leading ~ is the home folder. Hidden names are left out unless asked for. A folder that
    cannot be read has no names.
    """
    typed = os.path.expanduser(text)
    folder, start = os.path.split(typed)
    try:
        entries = sorted(Path(folder or ".").iterdir(), key=lambda p: p.name)
        names = [
            p.name + (os.sep if p.is_dir() else "")
            for p in entries
            if p.name.startswith(start) and (start.startswith(".") or not p.name.startswith("."))
        ]
    except OSError:
        return text, []
    if not names:
        return text, []
    common = os.path.commonprefix(names)  # noqa: RUF071 - names of one folder, not paths
    return os.path.join(folder, common) if folder else common, names
