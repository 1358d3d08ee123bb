"""One row at the foot of a screen: the keys that work now."""

from __future__ import annotations

from textual.app import App
from textual.binding import Binding
from textual.screen import Screen

from tui.draw import key_line
from tui.draw.spans import Row
from tui.widgets.rows import Rows

_NAMES = {
    "question_mark": "?",
    "escape": "Esc",
    "enter": "Enter",
    "left_square_bracket": "[",
    "right_square_bracket": "]",
    "plus": "+",
    "minus": "-",
    "slash": "/",
    "pageup": "PgUp",
    "pagedown": "PgDn",
    "full_stop": ".",
    "comma": ",",
    "equals_sign": "=",
    "ctrl+c": "Ctrl+C",
}

# What Textual binds on every screen by itself.
_NOT_OURS = frozenset(
    binding.action if isinstance(binding, Binding) else binding[1]
    for binding in (*App.BINDINGS, *Screen.BINDINGS)
)


def key_name(key: str) -> str:
    """A key as written on the keyboard."""
    return _NAMES.get(key, key.capitalize() if len(key) > 1 and "+" not in key else key)


def keys_of(screen: Screen, shown_only: bool = True) -> list[tuple[str, str]]:
    """Keys that work on a screen now and what they do, in the order of the bindings.

    Two keys for one action are named together. Help and quit come last, what a screen ranks first before the others.
    """
    rank = getattr(screen, "key_rank", lambda action: 0)
    found: dict[tuple[int, str, str], list[str]] = {}
    for active in screen.active_bindings.values():
        binding = active.binding
        if not binding.description or not active.enabled or binding.action in _NOT_OURS:
            continue
        if shown_only and not binding.show:
            continue
        last = 1 if binding.action in ("app.help", "help", "app.leave", "leave") else 0
        names = found.setdefault((last, binding.action, binding.description), [])
        name = binding.key_display or key_name(binding.key)
        if name not in names:
            names.append(name)
    ordered = sorted(found.items(), key=lambda item: (item[0][0], rank(item[0][1])))
    return [("/".join(names), does) for (_, _, does), names in ordered]


class KeyLine(Rows):
    """The foot of every screen; it cannot name a key that does not work."""

    DEFAULT_CSS = "KeyLine { dock: bottom; height: 1; }"

    def draw_rows(self, width: int, height: int) -> list[Row]:
        small = key_line.too_small(*self.app.size)
        if not small:
            return [key_line.draw(keys_of(self.screen), width)]
        room = width - len(small) - 2
        keys = key_line.draw(keys_of(self.screen), room) if room >= 12 else ()
        return [((small, "warn"), ("  ", ""), *keys)]
