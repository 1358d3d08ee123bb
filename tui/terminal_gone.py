"""Whether the terminal that a program talks to has hung up. A link that broke sends no key any more, and not
every one sends SIGHUP: waiting for keys from it takes half a core for nothing."""

from __future__ import annotations

import os
import select
import stat


def hung_up(fileno: int = 0) -> bool:
    """True when `fileno` (standard input) is a terminal with nobody at its other end; False where that cannot
    be known (no terminal, a system without `poll`)."""
    if not hasattr(select, "poll"):
        return False
    try:
        if not stat.S_ISCHR(os.fstat(fileno).st_mode):
            return False
        watch = select.poll()
        watch.register(fileno, 0)
        return any(event & (select.POLLHUP | select.POLLERR) for _, event in watch.poll(0))
    except OSError:
        return False
