"""Files and networks that cannot be taken: refused with what is wrong and what would be right, exit 1."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steer.cli.main import main
from steer.errors import InputRefused
from steer.survey import read_control, read_observations, reduce_network

CONTROL = "point,easting_m,northing_m,level_m,sd_mm\nA,100,100,10,\nB,200,100,11,\n"
HEADER = "station,set,target,direction_deg,zenith_deg,slope_m\n"
GOOD = "A,1,B,90,89.42706,100.005\nA,1,P,45,90,70.711\nB,1,A,270,90.57294,100.005\nB,1,P,315,90.81,70.718\n"


@pytest.fixture
def files(tmp_path):
    """Writes both files and returns the arguments of `steer reduce`."""

    def write(observations: str | bytes = HEADER + GOOD, control: str | bytes = CONTROL) -> list[str]:
        paths = []
        for name, content in (("sights.csv", observations), ("known.csv", control)):
            path = tmp_path / name
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
            paths.append(str(path))
        return ["reduce", paths[0], "--control", paths[1]]

    return write


def test_the_sound_files_are_taken(files, capsys):
    assert main(files()) == 0
    assert "P" in capsys.readouterr().out


ROWS = {
    "zero distance": ("A,1,Q,20,90,0", "slope_m", "at least 0.001 and at most 100000 m"),
    "zenith straight up": ("A,1,Q,20,0,10", "zenith_deg", "over 0 and below 180"),
    "face right": ("A,1,Q,20,271.5,10", "zenith_deg", "face right"),
    "degrees in dms among decimal ones": ("A,1,Q,45-12-34,90,10", '"45-12-34"', "columns of their own"),
    "gon among degrees": ("A,1,Q,385.2,90,10", '"385.2"', "below 360"),
    "text": ("A,1,Q,north,90,10", '"north"', "must be a number"),
    "not a number": ("A,1,Q,nan,90,10", '"nan"', "leave the cell empty"),
    "infinite": ("A,1,Q,20,90,inf", '"inf"', "must be a number"),
    "decimal comma": ('A,1,Q,"20,5",90,10', '"20,5"', "decimal point"),
    "decimal comma as two cells": ("A,1,Q,20,5,90,10", "7 cells", "header has 6"),
    "nothing observed": ("A,1,Q,,,", "observes nothing", "direction"),
    "itself": ("A,1,A,20,90,10", "station itself", '"A"'),
    "escape sequence in a name": ("A,1,\x1b[31mQ,20,90,10", "\\x1b[31mQ", "printable"),
    "no target": ("A,1,,20,90,10", "target", "missing"),
}


@pytest.mark.parametrize("row, field, allowed", ROWS.values(), ids=ROWS)
def test_a_bad_row_is_named_with_its_line(files, capsys, row, field, allowed):
    assert main(files(HEADER + GOOD + row + "\n")) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "sights.csv" in captured.err and "line 6" in captured.err
    assert field in captured.err and allowed in captured.err


FILES = {
    "empty": (b"", "empty"),
    "header only": (HEADER.encode(), "no rows"),
    "binary": (bytes(range(128, 256)), "UTF-8"),
    "NUL": (b"station\0,target", "NUL"),
    "column twice": (HEADER.replace("zenith_deg", "slope_m").encode() + b"A,1,B,1,1,1\n", "twice"),
    "misspelt column": (
        HEADER.replace("zenith", "zenit").encode() + GOOD.encode(),
        "did you mean zenith_deg",
    ),
    "no target column": (b"station,direction_deg\nA,3\n", "target"),
    "both distances": (b"station,target,slope_m,distance_m\nA,B,100,100\n", "count twice"),
    "both angles": (
        b"station,target,direction_deg,direction_gon\nA,B,10,20\n",
        "direction_deg and direction_gon",
    ),
    "sd of zero": (b"station,target,distance_m,sd_distance_mm\nA,B,100,0\n", "must be at least 0.001 mm"),
    "tiny sd of a distance": (
        b"station,target,distance_m,sd_distance_ppm\nA,B,100,1e-9\n",
        "at least 0.001 mm",
    ),
    "tiny sd of a direction": (
        b"station,target,direction_deg,sd_direction_sec\nA,B,100,1e-320\n",
        "at least 0.001 and at most 36000 arc-seconds",
    ),
    "tiny sd of a zenith angle": (
        b"station,target,zenith_deg,sd_zenith_sec\nA,B,90,1e-12\n",
        "at least 0.001",
    ),
    "negative sd": (b"station,target,direction_deg,sd_direction_sec\nA,B,100,-1\n", "at least 0.001"),
}


@pytest.mark.parametrize("content, said", FILES.values(), ids=FILES)
def test_a_bad_file_is_refused(files, capsys, content, said):
    assert main(files(content)) == 1
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    "control, said",
    [
        (CONTROL + "A,1,2,3,\n", 'line 4: point "A" stands already in line 2'),
        (CONTROL + "C,1,2,3,-4\n", "sd_mm"),
        (CONTROL + "C,1,2,3,1e-320\n", "0 or empty (held fixed), or a number at least 0.001"),
        (CONTROL + "C,1e300,2,3,\n", "easting_m"),
        (CONTROL + "C,,2,3,\n", "easting_m"),
        ("", "empty"),
    ],
)
def test_bad_control_is_refused(files, capsys, control, said):
    assert main(files(control=control)) == 1
    assert said in capsys.readouterr().err


def test_problems_of_both_files_are_listed_at_once(files, capsys):
    assert main(files(HEADER + "A,1,B,x,y,z\n", CONTROL + "A,1,2,3,\n")) == 1
    errors = capsys.readouterr().err
    assert all(word in errors for word in ("direction_deg", "zenith_deg", "slope_m", "stands already"))


@pytest.mark.parametrize("where", [0, 1])
def test_missing_file_and_folder(files, tmp_path, capsys, where):
    for wrong, said in ((tmp_path / "none.csv", "No such file"), (tmp_path, "folder")):
        arguments = files()
        arguments[1 + 2 * where] = str(wrong)
        assert main(arguments) == 1
        assert said in capsys.readouterr().err


@pytest.mark.parametrize("k", ["x", "nan", "inf", "99"])
def test_bad_refraction_is_a_wrong_command_line(files, capsys, k):
    assert main([*files(), "--refraction", k]) == 2
    assert "--refraction" in capsys.readouterr().err


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", ";").replace(".", ","),
        lambda text: text.replace("\n", "\n\n"),
    ],
    ids=["byte order mark", "CRLF", "semicolons", "decimal commas", "blank lines"],
)
def test_harmless_forms_give_the_same(files, capsys, change):
    main([*files(), "--json"])
    plain = json.loads(capsys.readouterr().out)
    assert main([*files(change(HEADER + GOOD), change(CONTROL)), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["points"] == plain["points"]


LACKING = {
    "one sight": (
        HEADER + "A,1,B,90,89.4,100\nA,1,P,45,,\n",
        ["P: easting and northing", "1 direction to it"],
    ),
    "one distance": (HEADER + "A,1,B,90,89.4,100\nA,,P,,90,50\n", ["P: easting and northing", "1 distance"]),
    "unoriented set": (
        HEADER + "A,1,P,45,90,70\nA,1,Q,50,90,80\n",
        ["P: easting and northing", "Q: easting", "only one control point (A)"],
    ),
    "not tied": (HEADER + GOOD + "Q,1,R,45,90,70\n", ["Q, R: no sight ties them to a control point"]),
    "two places": ("station,target,distance_m\nA,P,70.71\nB,P,70.71\n", ["P: two places fit", "149.999"]),
    "no level for a slope": (
        "station,set,target,direction_deg,slope_m\nA,1,B,90,100\nA,1,P,45,70.71\n",
        ["row 3", "slope_m from A to P", "zenith"],
    ),
}


@pytest.mark.parametrize("observations, said", LACKING.values(), ids=LACKING)
def test_a_singular_network_says_what_is_missing(files, capsys, observations, said):
    assert main(files(observations)) == 1
    errors = capsys.readouterr().err
    assert all(words in errors for words in said), errors


def test_three_directions_on_the_danger_circle(files, capsys):
    control = "point,easting_m,northing_m\nA,-100,0\nB,0,100\nC,100,0\n"
    assert main(files("station,set,target,direction_deg\nX,1,A,0\nX,1,B,45\nX,1,C,90\n", control)) == 1
    assert "circle" in capsys.readouterr().err


def test_a_slip_in_a_name_is_hinted_at(files, capsys):
    assert main(files(control=CONTROL.replace("A,", "a,").replace("B,", "b,"))) == 1
    assert "did you mean A?" in capsys.readouterr().err


def test_one_control_point_cannot_orient(files, capsys):
    assert main(files(control="point,easting_m,northing_m,level_m\nA,100,100,10\n")) == 1
    assert "second control point" in capsys.readouterr().err


def test_control_in_the_same_place(files, capsys):
    assert main(files(control=CONTROL.replace("200,100", "100,100"))) == 1
    assert "row 2: A and B lie in the same place" in capsys.readouterr().err


def test_a_target_named_wrongly_is_named_or_refused(files, capsys):
    """A gross blunder: the direction to P is really that to another point, 90 degrees away."""
    rows = (
        GOOD + "P,1,A,225,90,70.711\nP,1,B,135,89.19,70.718\nA,2,B,90,89.42706,100.005\nA,2,P,135,90,70.711\n"
    )
    code = main([*files(HEADER + rows), "--json"])
    captured = capsys.readouterr()
    if code == 0:
        assert 9 in json.loads(captured.out)["suspect_rows"] or 8 in json.loads(captured.out)["suspect_rows"]
    else:
        assert "row 9" in captured.err or "row 8" in captured.err


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damaged_files_never_break_it(tmp_path, data):
    """Bytes changed, cut or put in: either it reduces or it says why not."""
    content = bytearray((HEADER + GOOD).encode())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        piece = data.draw(
            st.sampled_from([b"", b"0", b"-", b",", b"\n", b"1e9", b"nan", b"\xff", b";", b'"', b"A"])
        )
        content[at : at + data.draw(st.integers(0, 3))] = piece
        content = content or bytearray(b",")
    sights, known = tmp_path / "s.csv", tmp_path / "k.csv"
    sights.write_bytes(bytes(content))
    known.write_text(CONTROL)
    try:
        result = reduce_network(read_observations(sights), read_control(known))
    except InputRefused as refused:
        assert refused.problems and all(refused.problems)
    else:
        assert all(abs(p.easting_m) < 1e9 for p in result.points)


def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    """Nobody writes to it: whoever opens it waits for ever. In a process of its own, so that this test ends."""
    pipe = tmp_path / "fifo.csv"
    os.mkfifo(pipe)
    ask = f"from steer.survey.files import holds_sights; print(holds_sights({str(pipe)!r}))"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "False"
    with pytest.raises(InputRefused, match="not an ordinary file"):
        read_observations(pipe)
