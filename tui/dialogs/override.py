"""The operator's own setting, checked as it is typed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Input, Label

from steer.decisions import not_coming, same_setting
from steer.errors import SteerError
from tui.dialogs.base import LEAST_ROWS, SteerDialog
from tui.dialogs.line_input import EditInOrder
from tui.dialogs.setting_text import parse
from tui.draw import notices, words
from tui.draw.on_the_way import furthest
from tui.draw.scene import Decision, Scene, blocked, out_of_date

if TYPE_CHECKING:
    from steer.advice import ForecastPoint, Snapshot


LONGEST = 20  # characters of one line
NARROW = 46  # columns of the terminal: in fewer a line has only the plane's name before it
LOOKED_S = 1.0  # nobody has looked at what was drawn more lately

# What Enter does differs between the two lines, so the foot says it for the one that is typed in.
_KEYS = {
    "line": "Enter or Tab goes on to the level; nothing is stored yet. Esc leaves.",
    "level": "Enter stores both. Shift+Tab goes back to the line. Esc leaves.",
}

_OVER = "Nothing is stored any more. Esc leaves."
_OTHERS = "Not stored: new readings changed the cylinders just now. Enter stores these."
_RANGE = "Not stored: the machine cannot be set so, see !. Esc leaves."
_PASSED = "Beyond a limit, see !. Enter again a second later stores it. Esc leaves."
_SUPERSEDED = ["superseded"]  # by a later check


class SettingInput(EditInOrder):
    """One of the two lines. It stands selected, ready to be typed over; a blank alone types over nothing."""

    def _forward_event(self, event: events.Event) -> None:
        """Goes on to the other line at once, while the keys are handed out: letters typed after Enter or Tab on a slow
        link come in one piece with it, and would else still be this line's. Textual's own hook for a focused widget."""
        other = {"line": ("level", ("enter", "tab")), "level": ("line", ("shift+tab", "tab"))}[self.id or ""]
        if isinstance(event, events.Key) and event.key in other[1]:
            self.screen.set_focus(self.screen.query_one(f"#{other[0]}", Input))
        else:
            super()._forward_event(event)

    async def on_key(self, event: events.Key) -> None:
        """A space in front of a setting means nothing: it would only empty the line."""
        self._dialog.left_out = ""
        if event.key == "space" and self.value and self.selected_text == self.value:
            event.stop()
            event.prevent_default()

    def _on_paste(self, event: events.Paste) -> None:
        """Two lines are both lines of the setting. Of more none is taken: which two were meant, nobody can say, and half
        a setting would stand beside what was there before. What is not taken is said."""
        event.stop()
        event.prevent_default()
        lines = [text.strip() for text in event.text.splitlines() if text.strip()]
        if len(lines) == 2:
            for plane, text in zip(("line", "level"), lines, strict=True):
                self.screen.query_one(f"#{plane}", Input).value = text[:LONGEST]
        elif len(lines) == 1:
            self.replace(lines[0][:LONGEST], *sorted(self.selection))
        if len(lines) > 2:
            self._dialog.left_out = (
                f"Nothing pasted: {len(lines)} lines, and a setting has two, line and level."
            )
        elif any(len(text) > LONGEST for text in lines):
            self._dialog.left_out = f"Pasted: the first {LONGEST} characters of a line; the rest is left out."
        self._dialog.say_keys()

    @property
    def _dialog(self) -> OverrideDialog:
        dialog = self.screen
        assert isinstance(dialog, OverrideDialog)
        return dialog


class OverrideDialog(SteerDialog):
    """Two lines, line and level; what they mean and which limit they break is said at once."""

    DEFAULT_CSS = """
    OverrideDialog Horizontal { height: 1; }
    OverrideDialog Horizontal Label { width: 22; }
    OverrideDialog .narrow Horizontal Label { width: 7; }
    OverrideDialog #meaning { text-style: bold; }
    """

    def __init__(self, scene: Scene) -> None:
        super().__init__()
        assert scene.snapshot is not None and scene.snapshot.advice is not None
        advice = scene.snapshot.advice
        self._advice = advice
        self._now = (advice.now_right_mm_per_m, advice.now_up_mm_per_m)
        self._looked_at: Snapshot | None = scene.snapshot  # what the cylinders shown were made from
        self._drawn: tuple[tuple[float, float], tuple[float, ...]] | None = None  # setting, cylinders shown
        self._moved_s = -math.inf  # when readings last changed them
        self._setting: tuple[float, float] | None = None
        self._made = self._now  # what whole steps make of the setting: shown and stored
        self._cylinders: tuple[float, ...] | None = None
        self._asked = 0
        self._beyond: tuple[str, ...] = ()  # codes of the limits that it passes
        self._range = False  # whether what speaks against it is the machine's range
        self._warned: tuple[object, float] | None = None  # of which setting and limits, and when
        self._over = False  # another stroke is the coming one by now
        self.left_out = ""  # what of a paste was not taken

    def compose(self) -> ComposeResult:
        right, up = self._now
        with Vertical(id="box", classes=self.box_class):
            yield Label(f"Own setting for stroke {self._advice.stroke + 1}", id="title", classes="strong")
            yield Label("", id="stands")
            for plane, label in (("line", "Line,  right or left"), ("level", "Level, up or down")):
                with Horizontal():
                    yield Label(label)
                    now = right if plane == "line" else up
                    text = words.articulation(plane, now)
                    line = SettingInput("0" if text == "straight" else text, id=plane, max_length=LONGEST)
                    line.cursor_blink = False
                    yield line
            yield Label("", id="meaning")
            yield Label("", id="ahead")
            yield Label("", id="problems")
            yield Label(_KEYS["line"], id="keys")

    async def on_mount(self) -> None:
        """Says at once what stands in the lines."""
        # at once: `focus` comes after a Tab typed ahead, and undoes it
        self.set_focus(self.query_one("#line", Input))
        self._say_what_stands()
        await self._check()

    def on_resize(self) -> None:
        """In too few rows what is typed in stays, then what the keys do, then what speaks against it."""
        super().on_resize()
        width, height = self.app.size
        box = self.query_one("#box")
        box.set_class(width < NARROW, "narrow")
        inner = max(1, min(width, 100) - 4)
        room = height - 4 - len(notices.standing(self.steer.scene, inner)) * (height >= LEAST_ROWS)
        wanted = {
            "keys": math.ceil(64 / inner),
            "problems": max(2, math.ceil(70 / inner)),
            "meaning": math.ceil(36 / inner) + math.ceil(50 / inner),
            "title": math.ceil(28 / inner),
            "stands": math.ceil(58 / inner),
            "ahead": math.ceil(76 / inner),
        }
        for name, rows in wanted.items():
            label = self.query_one(f"#{name}")
            label.display = room >= rows
            room -= rows * label.display
            if name in ("problems", "meaning", "ahead"):
                label.styles.height = rows  # kept free, so that nothing moves while it is typed

    def scene_changed(self) -> None:
        """New readings may make other cylinders of the same setting."""
        super().scene_changed()
        if self.is_running:
            self._say_what_stands()
            if self.steer.scene.snapshot is not self._looked_at:
                self.run_worker(self._follow, group="check", exclusive=True)  # type: ignore[arg-type]

    async def _follow(self) -> None:
        await self._look_again()

    def _say_what_stands(self) -> None:
        scene = self.steer.scene
        if scene.snapshot is not None and scene.snapshot.advice is not None:
            advice = scene.snapshot.advice
            turns = words.both_turns(advice.now_right_mm_per_m, advice.now_up_mm_per_m)
            was = "Was" if out_of_date(scene) else "Now"
            self.query_one("#stands", Label).update(f"{was} {turns}. Type such as: 3.5 left")

    async def _look_again(self) -> list[str]:
        """Tries the setting anew, and takes note where other cylinders make the same one than were shown for it."""
        shown = self._drawn
        problems = await self._check()
        now = self._drawn
        if shown and now and shown[0] == now[0] and not same_setting(shown[1], now[1]):
            self._moved_s = self.steer.steady()
        return problems

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        """The foot says what the keys do in this line."""
        self.say_keys(event.widget.id)

    def say_keys(self, field: str | None = None) -> None:
        """What the keys do in a line (None: the one typed in), or what of a paste was left out."""
        field = field or (self.focused.id if self.focused is not None else None)
        keys = _OVER if self._over else self.left_out or _KEYS.get(field or "", _KEYS["level"])
        self.query_one("#keys", Label).update(keys)

    async def on_input_changed(self, event: Input.Changed) -> None:
        """Checks after every key."""
        self.say_keys()
        self._warned = None
        await self._check()

    async def _check(self) -> list[str]:
        self._asked += 1
        asked = self._asked
        self._setting = self._cylinders = None
        self._range = False
        passed: list[str] = []
        values: list[float] = []
        problems: list[str] = []
        for plane in ("line", "level"):
            value = parse(plane, self.query_one(f"#{plane}", Input).value)
            if isinstance(value, str):
                problems.append(f"{plane.capitalize()}: {value}.")
            else:
                values.append(value)
        meaning = ahead = ""
        snapshot = self._looked_at = self.steer.scene.snapshot
        coming = self._advice if snapshot is None or snapshot.advice is None else snapshot.advice
        over = coming.stroke != self._advice.stroke
        if over:
            said = not_coming(self._advice.stroke, coming.stroke)
            problems = [f"{said[0].upper()}{said[1:]}: leave, and look at its proposal."]
        if over != self._over:
            self._over = over
            self.say_keys()
        if not problems:
            right, up = values
            found, beyond, made, cylinders, way = await self._ask_drive(right, up)
            if asked != self._asked or self.left:
                return _SUPERSEDED
            problems += found
            self._range = bool(found) and cylinders is not None
            self._beyond, passed = tuple(beyond), list(beyond.values())
            meaning = f"Set {words.both_turns(*made)}"
            self._made, self._cylinders = made, cylinders
            if way and blocked(self.steer.scene) is None:
                ahead = f"Then corrected, furthest {furthest(way)}."
            if cylinders:
                decimals = 0 if all(abs(mm - round(mm)) < 0.05 for mm in cylinders) else 1
                shown = ", ".join(f"{n}: {mm:.{decimals}f}" for n, mm in enumerate(cylinders, 1))
                meaning += f"\nCylinders {shown} mm"
                self._drawn = (right, up), cylinders
            if not problems:
                self._setting = (right, up)
        self.query_one("#meaning", Label).update(meaning)
        self.query_one("#ahead", Label).update(ahead)
        self.query_one("#problems", Label).update("\n".join(f"! {p}" for p in [*problems, *passed][:3]))
        return problems

    async def _ask_drive(
        self, right: float, up: float
    ) -> tuple[
        list[str], dict[str, str], tuple[float, float], tuple[float, ...] | None, Sequence[ForecastPoint]
    ]:
        """What cannot be set, limits passed by code, what whole cylinder steps make of it, and where that leads, are the
        core's to say; a source that cannot try a setting judges when storing."""
        attempt = getattr(self.steer.source, "try_setting", None)
        if attempt is None:
            return [], {}, (right, up), None, ()
        try:
            tried = await self.steer.desk.do(lambda: attempt(right, up))
        except SteerError as error:
            return [str(error)], {}, (right, up), None, ()
        made = (tried.right_mm_per_m, tried.up_mm_per_m)
        beyond = {limit.code: limit.text for limit in tried.beyond}
        return list(tried.problems), beyond, made, tuple(tried.cylinder_mm), tried.ahead

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter on the second line stores."""
        problems = await self._look_again()
        if self.left:
            return  # before anything was stored
        why = self._why_not(problems)
        if why or self._setting is None:
            self.app.bell()
            self.query_one("#keys", Label).update(why)
            return
        (right, up), made, cylinders, beyond = self._setting, self._made, self._cylinders, self._beyond
        passing = ", beyond a limit" if beyond else ""
        done = await self.steer.store(
            lambda drive: drive.override(right, up, self._advice, cylinders, beyond),
            f"Stored: your own setting, {words.both_turns(*made)}{passing}. Key u takes it back.",
        )
        if done:
            self.steer.decide(Decision(self._advice.stroke, "overridden", *made, cylinders))
        if self.left:
            return
        if done:
            self.dismiss(None)
        else:
            self.query_one("#problems", Label).update(f"! {self.steer.scene.said}")

    def _why_not(self, problems: list[str]) -> str:
        """Why Enter stores nothing; empty where it does. Of a limit passed it says so first, and a key held down is no
        answer to that: each Enter too early is another first one."""
        now_s = self.steer.steady()
        moved = problems == _SUPERSEDED or now_s - self._moved_s < LOOKED_S
        if moved and not self._over:
            self._warned = None
            return _OTHERS
        if problems or moved or self._setting is None:
            return _RANGE if self._range else "Not stored, for what is marked ! above. Esc leaves."
        asked = self._setting, self._beyond
        if not self._beyond:
            return ""
        before, self._warned = self._warned, (asked, now_s)
        looked = before is not None and before[0] == asked and now_s - before[1] >= LOOKED_S
        return "" if looked else _PASSED
