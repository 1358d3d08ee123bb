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


def control_beside(path: str) -> str:
    """The file of control that most likely belongs to a file of observations; empty when none does."""
    folder, name = os.path.split(path)
    try:
        names = [
            p.name for p in Path(os.path.expanduser(folder) or ".").iterdir() if "control" in p.name.lower()
        ]
    except OSError:
        return ""

    def alike(other: str) -> int:
        return next(
            (n for n, (a, b) in enumerate(zip(name, other, strict=False)) if a != b),
            min(len(name), len(other)),
        )

    best = max(sorted(names), key=alike, default="")
    # Two files of one survey begin with the same word, or the folder holds one file of control only.
    return os.path.join(folder, best) if best and (alike(best) >= 3 or len(names) == 1) else ""
