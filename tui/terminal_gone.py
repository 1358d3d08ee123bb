"""Whether the terminal that a program talks to has hung up. A link that broke sends no key any more, and not
every one sends SIGHUP: waiting for keys from it takes half a core for nothing. Where a signal asks the program to end,
it must leave as by its key, or its last proposal stays on the terminal as if it were followed still."""

from __future__ import annotations

import asyncio
import os
import select
import signal
import stat
import threading
from collections.abc import Callable


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


def on_signal(leave: Callable[[int], object]) -> None:
    """Has the running loop call `leave` with 128 + the signal's number at SIGTERM and SIGHUP; nothing where
    signals do not go that way (another system, another thread) or the caller had SIGHUP ignored (nohup)."""
    if os.name != "posix" or threading.current_thread() is not threading.main_thread():
        return
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGHUP):
        if signal.getsignal(number) != signal.SIG_IGN:
            loop.add_signal_handler(number, leave, 128 + number)
