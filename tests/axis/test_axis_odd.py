"""Odd axes and odd command lines for `steer axis` and `steer check`: an answer or a refusal, never a traceback."""

import contextlib
import io
import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steer.cli.main import main
from steer.drivefile import TEMPLATE

HEAD, TAIL = TEMPLATE[: TEMPLATE.index("[axis]")], TEMPLATE[TEMPLATE.index("[tolerance]") :]
START = {
    "chainage_m": 0.0,
    "easting_m": 4456789.123,
    "northing_m": 5987654.321,
    "level_m": 12.34,
    "bearing_deg": 359.999,
}


def line(length):
    return f'{{ kind = "line", length_m = {length!r} }}'


def arc(length, radius, turn):
    return f'{{ kind = "arc", length_m = {length!r}, radius_m = {radius!r}, turn = "{turn}" }}'


def spiral(length, start, end, turn):
    said = [f'"{r}"' if r == "inf" else repr(r) for r in (start, end)]
    return (
        f'{{ kind = "spiral", length_m = {length!r}, radius_start_m = {said[0]}, '
        f'radius_end_m = {said[1]}, turn = "{turn}" }}'
    )


def grade(length, slope=4.0):
    return f'{{ kind = "grade", length_m = {length!r}, grade_mm_per_m = {slope!r} }}'


def written(folder, horizontal, vertical, **start):
    values = ", ".join(f"{key} = {value!r}" for key, value in {**START, **start}.items())
    axis = f"[axis]\nstart = {{ {values} }}\nhorizontal = [{', '.join(horizontal)}]\n"
    (folder / "drive.toml").write_text(f"{HEAD}{axis}vertical = [{', '.join(vertical)}]\n{TAIL}")


def run(*arguments):
    """Exit code, stdout, stderr; any other exception is the test's failure."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main([str(a) for a in arguments])
        except SystemExit as stop:
            code = stop.code
    return code, out.getvalue(), err.getvalue()


ODD = {
    "a metre": ([line(1.0)], [grade(1.0)]),
    "a millimetre": ([line(0.001)], [grade(0.001)]),
    "ten thousand elements": ([line(0.01), arc(0.01, 600.0, "right")] * 5000, [grade(100.0)]),
    "ten thousand grades": ([line(100.0)], [grade(0.01)] * 10_000),
    "clothoids between radii": (
        [spiral(80.0, 300.0, 120.0, "right"), spiral(80.0, 120.0, 300.0, "right")],
        [grade(160.0)],
    ),
    "reversing": (
        [arc(50.0, 100.0, "right"), arc(50.0, 100.0, "left"), spiral(30.0, "inf", 100.0, "left"),
         spiral(30.0, 100.0, "inf", "left"), spiral(30.0, "inf", 80.0, "right")],
        [grade(190.0)],
    ),
    "nearly a circle": ([arc(6.28, 1.0, "right")], [grade(6.28)]),
    "a bend tighter than the machine": ([arc(20.0, 5.0, "left")], [grade(20.0)]),
    "as steep as may be": ([line(60.0)], [grade(60.0, -500.0)]),
    "long and curved": ([arc(1990.0, 8000.0, "right")], [grade(1990.0)]),
    "longer than any drive": ([line(20_000.0)] * 200, [grade(20_000.0)] * 200),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_odd_axes(name, tmp_path):
    written(tmp_path, *ODD[name], chainage_m=-512.25)
    code, out, _ = run("axis", tmp_path, "--json")
    rows = json.loads(out)["at"]
    assert code == 0 and rows[0]["chainage_m"] == -512.25
    assert all(math.isfinite(value) for row in rows for value in row.values())
    if name == "a metre":
        assert rows[0]["bearing_deg"] == pytest.approx(359.999, abs=1e-9)
        assert rows[-1]["chainage_m"] == -511.25
    p = rows[-1]
    place = f"{p['easting_m']!r},{p['northing_m']!r},{p['level_m']!r}"
    code, out, _ = run("axis", tmp_path, "--json", "--locate", place)
    found = json.loads(out)["locate"][0]
    if name != "nearly a circle":  # its end lies beside its start
        assert found["chainage_m"] == pytest.approx(p["chainage_m"], abs=1e-5)
        assert (found["line_mm"], found["level_mm"]) == pytest.approx((0.0, 0.0), abs=0.01)
    code, out, err = run("check", tmp_path)
    assert (code, err) == (0, "")
    assert "Can it be driven?" in out and "How well will it be known" in out
    assert "nan" not in out.lower().split() and "inf mm" not in out


lengths = st.floats(0.001, 120.0)
radii = st.one_of(st.floats(1.0, 1e5), st.just("inf"))
turns = st.sampled_from(["right", "left"])
elements = st.one_of(
    st.builds(line, lengths),
    st.builds(arc, lengths, st.floats(1.0, 1e5), turns),
    st.builds(spiral, lengths, radii, radii, turns),
)
wild = st.sampled_from(["nan", "inf", "-1.0", "0.0", "1e308", '"x"', "true", "[]", "{}"])
quiet = settings(
    max_examples=30,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@quiet
@given(
    plan=st.lists(elements, min_size=1, max_size=5),
    slope=st.floats(-500.0, 500.0),
    start=st.fixed_dictionaries(
        {
            "chainage_m": st.floats(-1e6, 1e6),
            "easting_m": st.floats(-1e8, 1e8),
            "northing_m": st.floats(-1e8, 1e8),
            "bearing_deg": st.floats(-360.0, 360.0),
        }
    ),
    spoil=st.one_of(st.none(), st.tuples(st.integers(0, 200), wild)),
)
def test_any_axis_is_answered_or_refused(tmp_path, plan, slope, start, spoil):
    total = math.fsum(float(e.split("length_m = ")[1].split(",")[0].split(" }")[0]) for e in plan)
    written(tmp_path, plan, [grade(total, slope)], **start)
    if spoil:
        # one number of the axis becomes something else
        text = (tmp_path / "drive.toml").read_text()
        fields = [i for i in range(len(HEAD), len(text) - len(TAIL)) if text.startswith("_m = ", i)]
        at = fields[spoil[0] % len(fields)] + 5
        stop = min(i for i in (text.find(c, at) for c in (",", " }")) if i >= 0)
        (tmp_path / "drive.toml").write_text(text[:at] + spoil[1] + text[stop:])
    code, out, err = run("axis", tmp_path, "--json", "--every", "37.5")
    assert code in (0, 3) and "Traceback" not in err
    if code:
        assert out == "" and "axis" in err
    else:
        assert all(math.isfinite(v) for row in json.loads(out)["at"] for v in row.values())
    assert run("check", tmp_path)[0] == code


words = st.sampled_from(
    ["--at", "--every", "--locate", "--csv", "--json", "--plot", "--plan-plot", "0", "-5", "50", "1e400", "nan",
     "1,2", "4456789,5987654,12", "-1.5,2,3", "1e9,1e9,1e9", "1,2,3,4", "", " ", "x", "--", "-1", "٣", "1_0",
     "0x10", "plan.docx", "--help", "é", "50,0", "-inf"]
)  # fmt: skip


@quiet
@given(command=st.sampled_from(["axis", "check"]), rest=st.lists(words, max_size=6))
def test_any_command_line_is_answered_or_refused(tmp_path, command, rest):
    written(tmp_path, [line(40.0), arc(20.0, 300.0, "left")], [grade(60.0)])
    code, out, err = run(command, tmp_path, *rest)
    assert code in (0, 1, 2, 3)
    assert "Traceback" not in err
    if code in (2, 3):
        assert out == "" and err
    elif code == 0 and command == "axis" and "--json" in rest and "--help" not in rest:
        json.loads(out)
