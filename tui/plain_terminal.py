"""Terminals that are no emulator of today: the console of Linux, and those that a serial line ends at.

What they do not know they print: an answer to a sequence newer than they are is garbage on the screen.
"""

from __future__ import annotations

import os
import re

from rich.console import Console
from textual.drivers.linux_driver import LinuxDriver

_PLAIN = ("linux", "vt", "cons", "ansi")  # how the names begin that such a terminal goes by
# The pointer's shape, the newer keyboard and requests with an intermediate byte; console_codes(4) has none of them.
_UNKNOWN = re.compile(
    r"\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b\[[<=>][0-?]*[ -/]*[@-~]|\x1b\[[0-?]*[ -/]+[@-~]"
)


def is_plain() -> bool:
    """Whether the terminal is one of these, by its name."""
    return os.environ.get("TERM", "").startswith(_PLAIN)


def few_colours() -> bool:
    """Whether it has 16 colours or fewer: of those, which hue stands for which number nobody knows."""
    return Console(force_terminal=True).color_system not in ("256", "truecolor")


class PlainDriver(LinuxDriver):
    """Sends only what such a terminal knows, and leaves it empty: it has no second screen to go back from."""

    def write(self, data: str) -> None:
        super().write(_UNKNOWN.sub("", data))

    def stop_application_mode(self) -> None:
        self.write("\x1b[0m\x1b[2J\x1b[H")
        super().stop_application_mode()
