"""Folders that a command names, and one to be filled: made when it is not there, gone again when that breaks off."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path


def named_folder(text: str) -> Path:
    """For argparse: a Path of "" would be the folder one stands in."""
    if not text:
        raise argparse.ArgumentTypeError('FOLDER is "": name a folder, or . for the one you are in')
    return Path(text)


def named_map(text: str) -> str:
    """For argparse: a map of no name would be taken for none."""
    if not text:
        raise argparse.ArgumentTypeError('MAP.toml is "": name a file')
    return text


@contextlib.contextmanager
def folder_made(folder: Path) -> Iterator[None]:
    """Makes `folder` and those above it; when the block raises, those of them that it made and that are empty are
    taken away. Raises OSError when it cannot be made."""
    missing = [place for place in (folder, *folder.parents) if not place.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        for place in missing:
            with contextlib.suppress(OSError):
                place.rmdir()
        raise
