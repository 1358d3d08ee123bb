"""The palettes as Textual themes, for the few ready-made widgets (input lines) in the dialogs."""

from __future__ import annotations

from textual.theme import Theme

from tui.draw.palette import PALETTES, Palette


def theme(palette: Palette) -> Theme:
    """A theme that agrees with the drawn rows."""
    if not palette.background:
        own = "ansi_default"
        return Theme(
            name=palette.name,
            primary=own,
            secondary=own,
            warning=own,
            error=own,
            success=own,
            accent=own,
            foreground=own,
            background=own,
            surface=own,
            panel=own,
            boost=own,
            ansi=True,
            variables={
                "ansi-background": own,
                "ansi-foreground": own,
                "border-blurred": own,
                "block-cursor-foreground": own,
                "block-cursor-background": own,
                "input-cursor-background": own,
                "input-cursor-foreground": own,
                "input-selection-background": own,
                "input-selection-foreground": own,
                "screen-selection-background": own,
                "screen-selection-foreground": own,
            },
        )
    return Theme(
        name=palette.name,
        primary=palette.accent,
        secondary=palette.accent,
        accent=palette.accent,
        foreground=palette.foreground,
        background=palette.background,
        surface=palette.background,
        panel=palette.background,
        dark=palette.dark,
        text_alpha=1.0,
    )


def all_themes() -> list[Theme]:
    """One theme a palette."""
    return [theme(palette) for palette in PALETTES]
