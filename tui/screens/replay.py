"""A past stroke as it was known then, and under it what is known now."""

from __future__ import annotations

from typing import ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.timer import Timer

from tui.draw import key_line
from tui.draw.glyphs import to_ascii
from tui.draw.spans import Row, cut_words
from tui.screens.strip_keys import StripKeys
from tui.screens.stroke import StrokePage
from tui.widgets.key_line import KeyLine
from tui.widgets.rows import Rows

SPEEDS = (0.5, 1.0, 2.0, 5.0, 10.0)  # strokes a second


class NowPage(Rows):
    """What came later: the face at that chainage as known now, what was driven, what came of the forecast."""

    DEFAULT_CSS = "NowPage { height: 4; dock: bottom; margin-bottom: 1; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        snapshot = self.steer.scene.snapshot
        texts = snapshot.extra.get("now", ()) if snapshot is not None else ()
        where = str(snapshot.extra.get("place", "")) if snapshot is not None else ""
        head = " KNOWN NOW, not then"
        rows: list[Row] = [((head + (where + " ").rjust(max(0, width - len(head))), "title"),)]
        for text in texts if isinstance(texts, tuple) else ():
            shown = to_ascii(text) if self.steer.ascii_only else text
            rows.append(((" " + cut_words(shown, width - 1), ""),))
        return rows


class ReplayScreen(StripKeys):
    """Arrows wind; p plays and stops."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("right,space", "wind(1)", "on"),
        Binding("left", "wind(-1)", "back"),
        Binding("p", "play", "play, stop"),
        Binding("f", "what_if", "what if"),
        Binding("l", "notices", "notices"),
        Binding("pagedown", "wind(10)", "10 on", show=False),
        Binding("pageup", "wind(-10)", "10 back", show=False),
        Binding("home", "wind(-1000000)", "start", show=False),
        Binding("end", "wind(1000000)", "end", show=False),
        Binding("plus", "faster(1)", "faster"),
        Binding("minus", "faster(-1)", "slower"),
        Binding("w", "window", "stretch of the strips", show=False),
        Binding("z", "scale", "scale of the strips", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._timer: Timer | None = None
        self._at_work = False

    def compose(self) -> ComposeResult:
        yield StrokePage(id="page")
        yield NowPage(id="now")
        yield KeyLine(id="keys")

    def on_resize(self) -> None:
        """In few rows what was known then comes before what is known now."""
        self.query_one("#now").display = self.size.height >= key_line.LEAST[1]

    def on_mount(self) -> None:
        """Plays at once when a speed was asked for."""
        if self._speed > 0:
            self._play()

    @property
    def _speed(self) -> float:
        return cast(float, getattr(self.app, "speed", 0.0))

    async def action_wind(self, strokes: int) -> None:
        """So many strokes on or back, as far as there are any."""
        source = self.steer.source
        if self._at_work or source is None:
            return
        self._at_work = True
        try:
            moved = await self.steer.desk.do(lambda: source.wind(strokes))  # type: ignore[attr-defined]
            await self.steer.look()
        finally:
            self._at_work = False
        if not moved:
            self._stop()
            self.steer.say("This is the end of the drive." if strokes > 0 else "This is its start.")

    def action_play(self) -> None:
        """Starts or stops."""
        if self._timer is not None:
            self._stop()
            self.steer.say("Stopped.")
        else:
            if self._speed <= 0:
                setattr(self.app, "speed", 2.0)  # noqa: B010
            self._play()
            self.steer.say(f"Playing {self._speed:g} strokes a second.", of_state=False)

    def action_faster(self, by: int) -> None:
        """The next speed up or down."""
        now = self._speed or 1.0
        place = min(range(len(SPEEDS)), key=lambda i: abs(SPEEDS[i] - now))
        speed = SPEEDS[min(max(place + by, 0), len(SPEEDS) - 1)]
        setattr(self.app, "speed", speed)  # noqa: B010
        if self._timer is not None:
            self._play()
        self.steer.say(f"{speed:g} strokes a second.", of_state=False)

    def _play(self) -> None:
        self._stop()
        self._timer = self.set_interval(1.0 / self._speed, lambda: self.action_wind(1))

    def _stop(self) -> None:
        if self._timer is not None:
            self._timer.stop()
            self._timer = None

    async def action_what_if(self) -> None:
        """Steers again from this stroke on, and compares."""
        from tui.dialogs.what_if import WhatIfDialog
        from tui.screens.what_if import WhatIfScreen

        def asked(settings: str | None) -> None:
            if settings is not None:
                self.app.push_screen(WhatIfScreen(settings))

        self._stop()
        snapshot = self.steer.scene.snapshot
        if snapshot is not None and snapshot.advice is not None:
            await self.app.push_screen(WhatIfDialog(snapshot.advice.chainage_m), asked)
        else:
            self.steer.say("Nothing to steer again yet: the log is still being read.")

    def action_notices(self) -> None:
        """All notices of this moment in full."""
        from tui.screens.notices import NoticesScreen

        self._stop()
        self.app.push_screen(NoticesScreen())
