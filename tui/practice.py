"""The program of the practice screens: the stroke screen with a key that jacks, and the debrief."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from textual.screen import Screen

from tui.app import SteerApp
from tui.screens.practice import PracticeScreen


def _debrief() -> Screen[Any]:
    from tui.screens.debrief import DebriefScreen

    return DebriefScreen()


class PracticeApp(SteerApp):
    """`source` has, besides what every source has, `jack()` (a text), `debrief(told)` (lines) and
    `finished`. With `pace_s` > 0 a stroke is jacked every so many seconds. `wants_replay` says, when the
    app has ended, that the person asked for it."""

    MODES: ClassVar[dict[str, str | Callable[..., Screen[Any]]]] = SteerApp.MODES | {
        "stroke": PracticeScreen,
        "debrief": _debrief,
    }

    def __init__(self, *args: Any, pace_s: float = 0.0, **options: Any) -> None:
        super().__init__(*args, **options)
        self.pace_s = pace_s
        self.wants_replay = False
