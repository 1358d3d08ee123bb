"""The program of the replay: one screen, wound by keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from textual.screen import Screen

from tui.app import SteerApp
from tui.screens.replay import ReplayScreen


class ReplayApp(SteerApp):
    """`source` has, besides what every source has, `wind(strokes)` and `wind_to(number)`. With `speed` > 0
    it plays that many strokes a second from the start on."""

    MODES: ClassVar[dict[str, str | Callable[..., Screen[Any]]]] = {"stroke": ReplayScreen}

    def __init__(self, *args: Any, speed: float = 0.0, **options: Any) -> None:
        super().__init__(*args, **options)
        self.speed = speed

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """There is one screen only."""
        return False if action == "mode" else super().check_action(action, parameters)
