"""A terminal that hung up is seen; one that is there, a pipe and no file at all are not taken for that."""

from __future__ import annotations

import os
import pty

from tui.terminal_gone import hung_up


def test_a_terminal_whose_other_end_is_closed_has_hung_up() -> None:
    here, there = pty.openpty()
    try:
        assert not hung_up(there)
        os.close(here)
        assert hung_up(there)
    finally:
        os.close(there)
    assert not hung_up(there)


def test_a_pipe_is_no_terminal() -> None:
    out, into = os.pipe()
    os.close(into)
    assert not hung_up(out)
    os.close(out)
