"""The two keys of a screen with strips: their stretch and their scale."""

from __future__ import annotations

from dataclasses import replace

from tui.screens.base import SteerScreen

WINDOWS_M: tuple[float | None, ...] = (40.0, 80.0, None, 20.0)


class StripKeys(SteerScreen):
    """Answers both; the scale is said, since a strip of few rows may look the same in either."""

    def action_window(self) -> None:
        """The next stretch of chainage: 40 m, 80 m, the whole drive, 20 m."""
        scene = self.steer.scene
        place = WINDOWS_M.index(scene.window_m) if scene.window_m in WINDOWS_M else -1
        self.steer.set_scene(replace(scene, window_m=WINDOWS_M[(place + 1) % len(WINDOWS_M)]))

    def action_scale(self) -> None:
        """Strips scaled to the tolerance, or close to the path."""
        close = not self.steer.scene.close
        self.steer.set_scene(replace(self.steer.scene, close=close))
        self.steer.say(
            f"Strips scaled to the {'path' if close else 'limits'}. Key z goes back.", of_state=False
        )
