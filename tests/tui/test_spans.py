"""Text in rows: a figure keeps its unit and its end, whatever the width."""

import re

import pytest

from tui.draw import spans

TEXT = (
    "The face is known to ± 38 mm in line and ± 3 mm in level only (95 %). The nose points 1.25 mm/m left, "
    "12 mm high, as of 94.05 m (since 91.3 m); 4.9 sd, 3450 kN, 20 min."
)
FIGURES = re.findall(r"(?:± )?\d[\d.]* (?:mm/m|mm|m|%|sd|kN|min)(?!\w)(?: left| high)?", TEXT)


def test_the_text_holds_the_figures_that_are_looked_for():
    assert FIGURES[:5] == ["± 38 mm", "± 3 mm", "95 %", "1.25 mm/m left", "12 mm high"] and len(FIGURES) == 10


@pytest.mark.parametrize("size", range(16, 100, 3))
def test_a_figure_stays_with_its_unit(size):
    lines = spans.wrap(TEXT, size, 99)
    assert " ".join(lines) == TEXT
    assert all(spans.cells(line) <= size for line in lines)
    assert all(any(figure in line for line in lines) for figure in FIGURES)


@pytest.mark.parametrize("size", range(16, 100))
@pytest.mark.parametrize("rows", [1, 2, 3])
def test_what_is_cut_ends_with_a_whole_word_and_is_marked(size, rows):
    lines = spans.wrap(TEXT, size, rows)
    assert len(lines) <= rows and all(spans.cells(line) <= size for line in lines)
    said = " ".join(lines)
    if said != TEXT:
        assert said.endswith(" ...")
        kept = said.removesuffix(" ...")
        assert TEXT.startswith(kept + " ")
        assert not any(
            TEXT.startswith(figure, start) for figure in FIGURES for start in _inside(kept, figure)
        )


def _inside(kept: str, figure: str) -> list[int]:
    """Where a figure begins that the kept text breaks off."""
    return [m.start() for m in re.finditer(re.escape(figure), TEXT) if m.start() < len(kept) < m.end()]


def test_a_word_longer_than_the_row_is_broken():
    assert spans.wrap("abcdefghij", 4, 9) == ["abcd", "efgh", "ij"]
    assert spans.cut_words("abcdefghij", 6) == "abc..."
