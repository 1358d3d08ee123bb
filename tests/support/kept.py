"""Pictures of the screens kept as text; `STEER_KEEP_PICTURES=1` writes them anew, to be reviewed like code."""

from __future__ import annotations

import os
from pathlib import Path

PICTURES = Path(__file__).parent.parent / "tui" / "pictures"


def screen_text(app) -> str:
    """The screen in front as it stands on the terminal."""
    return "\n".join(strip.text.rstrip() for strip in app.screen._compositor.render_strips())


def keep(name: str, text: str) -> None:
    """Compares a picture with the kept one."""
    kept = PICTURES / f"{name}.txt"
    if os.environ.get("STEER_KEEP_PICTURES"):
        kept.write_text(text + "\n", encoding="utf-8")
    assert text + "\n" == kept.read_text(encoding="utf-8")
