"""The sample drive for tests, made once a run, whole or its first strokes; whoever asks gets a folder of its own."""

from __future__ import annotations

import atexit
import functools
import shutil
import tempfile
from pathlib import Path

from steer.cli import demo
from steer.log import Log


def copied(folder: Path, strokes: int | None = None) -> Path:
    """The drive as `steer demo` makes it, in `folder`, which must not be there; with `strokes` its log ends with what
    was advised after so many, as it stood then."""
    shutil.copytree(_made(strokes), folder)
    return folder


@functools.cache
def _made(strokes: int | None) -> Path:
    folder = Path(tempfile.mkdtemp(prefix="steer-sample-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    if strokes is None:
        demo.make(folder / "drive")
    else:
        shutil.copytree(_made(None), folder / "drive", ignore=shutil.ignore_patterns("drive.db*"))
        with Log.open(folder / "drive", write=True) as log:
            log.append_many(_beginning(strokes))
    return folder / "drive"


def _beginning(strokes: int) -> list[tuple[str, dict]]:
    items, ended = [], 0
    with Log.open(_made(None)) as log:
        for event in log.events():
            items.append((event.kind, event.body))
            ended += event.kind == "stroke_end"
            if ended == strokes and event.kind == "advised":
                return items
    raise ValueError(f"the sample drive has {ended} strokes, not {strokes}")
