"""Every text can be read in every palette: contrast by the formula of WCAG 2.2, which asks 4.5 to 1 of text."""

import pytest
from rich.style import Style

from tui.draw.palette import PALETTES, ROLES
from tui.widgets.rows import rich_style

DRAWN = {"axis", "band", "path", "path in band"}  # dots, rules and curves, no letters
COLOURED = [palette for palette in PALETTES if palette.background]


def luminance(colour) -> float:
    parts = [value / 255.0 for value in colour.get_truecolor()]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(style: Style) -> float:
    light, dark = sorted((luminance(style.color), luminance(style.bgcolor)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_what_its_authors_say():
    assert contrast(Style.parse("#000000 on #ffffff")) == pytest.approx(21.0)
    assert contrast(Style.parse("#777777 on #ffffff")) == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("palette", COLOURED, ids=lambda palette: palette.name)
@pytest.mark.parametrize("role", [role for role in ROLES if role not in DRAWN])
def test_text_can_be_read(palette, role):
    assert contrast(rich_style(palette.name, role)) >= 4.5


@pytest.mark.parametrize("palette", COLOURED, ids=lambda palette: palette.name)
@pytest.mark.parametrize("role", ["path", "path in band"])
def test_curves_stand_out_as_graphics_must(palette, role):
    assert contrast(rich_style(palette.name, role)) >= 3.0


@pytest.mark.parametrize("palette", PALETTES, ids=lambda palette: palette.name)
def test_the_row_under_the_cursor_is_no_second_title(palette):
    assert rich_style(palette.name, "cursor") != rich_style(palette.name, "title")


def test_without_colours_what_is_reversed_is_not_bold():
    plain = PALETTES[-1]
    assert plain.name == "plain"
    styles = [Style.parse(plain.style(role)) for role in ROLES]
    assert any(style.reverse for style in styles)
    assert not any(style.reverse and style.bold for style in styles)
