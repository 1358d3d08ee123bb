"""What is pasted or typed is text, whatever stands in it: no key, no end of the paste before its end, and no end of the
program. A byte that is no UTF-8, as a terminal with another character set sends it, ended Textual's reading.

Textual's parser takes an ESC inside a paste for the start of a key. The letters after it came before those in front
of it then, and a line end was Enter: half a note was stored that nobody had sent.
"""

from __future__ import annotations

import codecs
import os
from collections.abc import Callable, Iterable
from functools import partial

from textual._xterm_parser import BRACKETED_PASTE_END as END
from textual._xterm_parser import BRACKETED_PASTE_START as START
from textual._xterm_parser import XTermParser
from textual.message import Message


class PasteParser(XTermParser):
    """The parser, given a paste without any ESC but that of its end."""

    def __init__(self, debug: bool = False) -> None:
        super().__init__(debug)
        self._pasting = False
        self._passed = ""  # outside of a paste: the last of what was let through, where a mark may have begun
        self._held = ""  # inside: the beginning of its end, whose rest has not come yet

    def feed(self, data: str) -> Iterable[Message]:
        """As Textual's; an empty text ends it."""
        cleaned = self._clean(data)
        return super().feed(cleaned) if cleaned or not data else ()

    def _clean(self, data: str) -> str:
        rest, self._held = self._held + data, ""
        out = ""
        while rest:
            if not self._pasting:
                # no key waits for what may follow it: the mark is seen when the last of it has come
                text = self._passed + rest
                before, found, after = text.partition(START)
                out += rest[: len(rest) - len(after)] if found else rest
                rest, self._passed = after, "" if found else before[1 - len(START) :]
            else:
                text, found, rest = rest.partition(END)
                if not found and (
                    cut := next((n for n in range(len(END), 0, -1) if text.endswith(END[:n])), 0)
                ):
                    text, self._held = text[:-cut], text[-cut:]
                out += text.replace("\x1b", " ") + found
            self._pasting ^= bool(found)
        return out


def _forgiving(encoding: str) -> Callable[[], codecs.IncrementalDecoder]:
    """A decoder that puts U+FFFD in the place of what it cannot read."""
    return partial(codecs.getincrementaldecoder(encoding), errors="replace")


def install() -> None:
    """Has the terminal's driver read with it; it makes its parser and its decoder itself."""
    if os.name == "posix":
        from textual.drivers import linux_driver

        linux_driver.XTermParser = PasteParser  # type: ignore[misc]
        linux_driver.getincrementaldecoder = _forgiving  # type: ignore[assignment]
