"""Text from outside cannot steer a terminal."""

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from steer.text import printable, shown


def test_examples():
    assert printable("Weidenweg, Schacht 3 µm ±") == "Weidenweg, Schacht 3 µm ±"
    assert printable("\x1b[2J\x9b\r\n") == "\\x1b[2J\\x9b\\x0d\\x0a"
    assert printable("a\u202eb\u200b\u2028\ud800") == "a\\u202eb\\u200b\\u2028\\ud800"
    assert printable("\U000e0041") == "\\U000e0041"
    assert printable("abcdef", 4) == "abc…"
    assert shown("a") == '"a"'
    assert shown(None) == "null"
    assert shown(True) == "true"


@given(st.text(st.characters(), max_size=30), st.integers(0, 10))
def test_nothing_hidden_is_left(text, longest):
    out = printable(text, longest)
    assert not [c for c in out if unicodedata.category(c)[0] == "C"]
    assert out.encode("utf-8").splitlines() == ([out.encode("utf-8")] if out else [])
