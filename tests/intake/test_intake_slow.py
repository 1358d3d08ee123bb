"""A long file: a cell that comes again is judged as at first, and whoever waits is told."""

import io

import pytest

from steer.cli import patience
from steer.errors import InputRefused
from steer.intake import store_readings
from steer.log import Log


def test_a_cell_that_comes_again_is_judged_as_at_first(folder):
    path = folder / "r.csv"
    path.write_text("chainage_m,spot_right_mm,spot_up_mm,note\n1,2,5,2\n1,x,x,x\n1,2,2,2\n1,x,5,\n")
    with pytest.raises(InputRefused) as refused:
        store_readings(folder, [path])
    told = [p.split(": ")[1:3] for p in refused.value.problems[1:]]
    assert told == [
        ["line 3", "spot_right_mm"],
        ["line 3", "spot_up_mm"],
        ["line 5", "spot_right_mm"],
    ]
    path.write_text("chainage_m,spot_right_mm,note\n1,2,2\n2,2,2\n")
    store_readings(folder, [path])
    with Log.open(folder) as log:
        bodies = [e.body for e in log.events() if e.kind == "reading"]
    assert bodies == [{"chainage_m": float(k), "spot_right_mm": 2.0, "note": "2"} for k in (1, 2)]


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("screen", "told"), [(Terminal(), "steer: still here\n"), (io.StringIO(), "")])
def test_who_waits_at_a_terminal_is_told_and_no_file_is(monkeypatch, screen, told):
    class AtOnce:
        def __init__(self, after_s, say):
            self.start, self.cancel = say, lambda: None

    monkeypatch.setattr(patience.threading, "Timer", AtOnce)
    monkeypatch.setattr(patience.sys, "stderr", screen)
    with patience.said_when_slow("still here"):
        pass
    assert screen.getvalue() == told
