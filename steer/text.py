"""Text from outside, made safe to show: nothing in it can steer a terminal or turn a line around.

And a probability in words that never claim certainty.
"""

from __future__ import annotations

import unicodedata

# Control and format characters (escape sequences, right-to-left marks, zero widths), line and paragraph
# separators, lone surrogates, and characters not assigned: Unicode general categories.
_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def printable(text: object, longest: int = 0) -> str:
    """One line in which every hidden character is written out as \\xNN or \\uNNNN.

    `longest` > 0 cuts the result there and marks the cut with "…".
    """
    plain = str(text)
    if longest and len(plain) > longest:
        plain = plain[: longest - 1] + "…"
    if plain.isascii() and plain.isprintable():
        return plain
    return "".join(_written_out(c) if unicodedata.category(c) in _HIDDEN else c for c in plain)


def _written_out(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def shown(value: object) -> str:
    """A value as a refusal quotes it: text in quotes, at most some 60 characters, safe to show."""
    if isinstance(value, str):
        return f'"{printable(value, 60)}"'
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    return printable(repr(value), 60)


def chance(probability: float) -> str:
    """`92 %`; beyond 99 and below 1 per cent only that: a model earns no more."""
    per_cent = 100.0 * probability
    if per_cent > 99.0:
        return "over 99 %"
    return "under 1 %" if per_cent < 1.0 else f"{per_cent:.0f} %"
