"""A wrong drive.toml: every problem at once, each by key, value and what is allowed; never a traceback.

Each file of data/bad holds one mistake (one holds several) and says in its first lines what must be
answered. data/good.toml is the same drive without a mistake.
"""

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steer.drivefile import DriveFileWrong, load_drive, parse_drive
from steer.errors import FolderUnusable

DATA = Path(__file__).parent / "data"
GOOD = (DATA / "good.toml").read_text(encoding="utf-8")
BAD = sorted((DATA / "bad").glob("*.toml"))


def problems(text: str, folder: Path = DATA) -> list[str]:
    with pytest.raises(DriveFileWrong) as wrong:
        parse_drive(text, folder)
    assert wrong.value.exit_code == 3
    return wrong.value.problems


def test_there_are_bad_files() -> None:
    assert len(BAD) > 40


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_file_is_answered_by_its_problems(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    expected = [line[2:] for line in text.splitlines() if line.startswith("# ")]
    assert expected, "the file does not say what to expect"
    assert problems(text) == expected


def test_good_file_has_no_problem() -> None:
    assert parse_drive(GOOD).warnings == ()


def test_axis_that_cannot_be_is_named_by_its_element() -> None:
    text = GOOD.replace("length_m = 80.0, radius_m = 600.0", "length_m = 80.0, radius_m = 10.0")
    (line,) = problems(text)
    assert line.startswith("drive.toml: axis.horizontal, element 3, length_m")


def test_landxml_beside_elements() -> None:
    lines = problems(GOOD.replace("[axis]", '[axis]\nlandxml = "axis.xml"\nalignment = "CL"'))
    assert lines[0].startswith("drive.toml: axis.start: not allowed beside axis.landxml")
    assert any("axis.xml" in line for line in lines[1:])  # which is not there either


def test_landxml_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    inside, outside = tmp_path / "drive", tmp_path / "elsewhere.xml"
    inside.mkdir()
    outside.write_text("<LandXML/>")
    (inside / "axis.xml").symlink_to(outside)
    start, end = GOOD.index("start ="), GOOD.index("[tolerance]")
    text = GOOD[:start] + 'landxml = "axis.xml"\nalignment = "CL"\n' + GOOD[end:]
    (line,) = problems(text, inside)
    assert 'axis.landxml: "axis.xml" is not allowed' in line


def test_no_folder_no_file_no_regular_file(tmp_path: Path) -> None:
    with pytest.raises(FolderUnusable, match="no such folder"):
        load_drive(tmp_path / "nowhere")
    with pytest.raises(FolderUnusable, match=r"has no drive\.toml .*steer new"):
        load_drive(tmp_path)
    (tmp_path / "file").write_text("")
    with pytest.raises(FolderUnusable, match="not a folder"):
        load_drive(tmp_path / "file")
    (tmp_path / "drive.toml").mkdir()
    with pytest.raises(FolderUnusable, match="not a file"):
        load_drive(tmp_path)
    with pytest.raises(FolderUnusable):
        load_drive("a\0b")


def test_not_utf8_names_the_line(tmp_path: Path) -> None:
    (tmp_path / "drive.toml").write_bytes(GOOD.replace("Invented", "Ungültig").encode("latin-1"))
    with pytest.raises(DriveFileWrong, match=r"line 3: not UTF-8 \(byte 0xfc\)"):
        load_drive(tmp_path)


def test_utf16_is_refused(tmp_path: Path) -> None:
    (tmp_path / "drive.toml").write_bytes(GOOD.encode("utf-16"))
    with pytest.raises(DriveFileWrong, match="line 1: not UTF-8"):
        load_drive(tmp_path)


def test_huge_file_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "drive.toml").open("wb") as file:
        file.truncate(6_000_000)
    with pytest.raises(FolderUnusable, match="6000000 bytes"):
        load_drive(tmp_path)


def test_empty_file_names_every_table() -> None:
    lines = problems("")
    assert [line.split(": ")[1] for line in lines] == [
        "drive", "axis", "tolerance", "machine", "target", "reference", "pipe"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("x = " + "9" * 5000, "a number of thousands of digits"),
        ("x = " + "[" * 20_000, "nested too deeply"),
        ("x = \0", "line 1: not valid TOML"),
        ("[drive", "line 1: not valid TOML"),
    ],
)
def test_toml_that_cannot_be_read(row: str, said: str) -> None:
    (line,) = problems(row)
    assert said in line
    assert len(line) < 300


def test_whole_number_beyond_any_float() -> None:
    (line,) = problems(GOOD.replace("stroke_m = 1.0", "stroke_m = 1" + "0" * 400))
    assert "drive.stroke_m: 1000" in line
    assert len(line) < 300


LEAVES = [line for line in GOOD.splitlines() if " = " in line and not line.startswith((" ", "#", "start"))]
INNER = sorted(set(re.findall(r"\b\w+ = [^{},\[\]\n]+(?=[,}]| })", GOOD)))  # keys of the axis's own tables
VALUES = st.one_of(
    st.integers(-(10**30), 10**30).map(str),
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.sampled_from(
        ["true", '""', '"text"', '"\\u0007"', "[]", "{}", "[[]]", "[1, 2]", "[{}, 1]", "{a = 1}", "12:00:00"]
    ),
    st.sampled_from(
        ["2026-01-01", "1,5", "", "1e400", "-0.0", "[1.0, nan]", "{kind = 3}", '[{kind = "line"}]']
    ),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(st.sampled_from(LEAVES + INNER), VALUES, min_size=1, max_size=4))
def test_any_value_anywhere_loads_or_is_refused_by_its_key(changes: dict[str, str]) -> None:
    text = GOOD
    for line, value in changes.items():
        key = line.split(" = ")[0]
        text = text.replace(line, f"{key} = {value}", 1)
    try:
        parse_drive(text)
    except DriveFileWrong as wrong:
        for problem in wrong.problems:
            assert problem.startswith("drive.toml: ")
            assert "\n" not in problem
            assert problem.isprintable()
