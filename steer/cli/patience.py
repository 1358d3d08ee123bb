"""What a command that may take long says meanwhile."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

AFTER_S = 2.0


@contextmanager
def said_when_slow(what: str) -> Iterator[None]:
    """Say `what` on stderr once this takes longer than `AFTER_S`, to a person only: never into a file or pipe."""
    if not sys.stderr.isatty():
        yield
        return
    timer = threading.Timer(AFTER_S, lambda: print(f"steer: {what}", file=sys.stderr, flush=True))
    timer.daemon = True  # Ctrl-C waits for no message
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
