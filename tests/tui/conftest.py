"""Fixtures of the screens' tests; the invented drive is in tests/support/fake_drive.py."""

import sys
from pathlib import Path

import pytest

SUPPORT = str(Path(__file__).parent.parent / "support")
if SUPPORT not in sys.path:
    sys.path.insert(0, SUPPORT)


class Clock:
    """Both clocks, standing still until moved."""

    def __init__(self, wall_s: float) -> None:
        self.wall_s = wall_s
        self.steady_s = 1000.0

    def wall(self) -> float:
        return self.wall_s

    def steady(self) -> float:
        return self.steady_s

    def move(self, seconds: float) -> None:
        self.wall_s += seconds
        self.steady_s += seconds


@pytest.fixture
def clock() -> Clock:
    import fake_drive

    return Clock(fake_drive.ARRIVED_S + 5.0)


@pytest.fixture
def make_app(clock, monkeypatch):
    """Makes an app over a fake drive; it looks at the drive only when a test says so."""
    import fake_drive

    from tui.app import SteerApp

    monkeypatch.delenv("NO_COLOR", raising=False)

    def make(drive=None, **options):
        drive = drive if drive is not None else fake_drive.FakeDrive()
        options = {"poll_s": 3600.0, "wall": clock.wall, "steady": clock.steady} | options
        return SteerApp(drive, **options)

    return make
