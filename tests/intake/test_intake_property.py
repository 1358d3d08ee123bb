"""Whatever is measured and however the file is written, the same values come out, or the file is refused."""

import csv
import io
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from steer.drivefile import TEMPLATE, parse_drive
from steer.errors import InputRefused
from steer.intake import object_from_line, reading_from_json
from steer.intake.files import read_readings

DRIVE = parse_drive(TEMPLATE)
LIMITS = {
    "chainage_m": (-10, 110),
    "spot_right_mm": (-10_000, 10_000),
    "yaw_mm_per_m": (-500, 500),
    "roll_deg": (-180, 180),
    "jacking_force_kn": (-10_000, 1_000_000),
}
note = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp", "Zs"]), min_size=1, max_size=20)
reading = st.fixed_dictionaries(
    {"chainage_m": st.floats(*LIMITS["chainage_m"])},
    optional={
        **{name: st.floats(*ends) for name, ends in LIMITS.items() if name != "chainage_m"},
        "cylinder_mm": st.lists(st.none() | st.floats(0, 72), min_size=4, max_size=4).filter(any),
        "note": note,
    },
)
COLUMNS = [*LIMITS, *(f"cylinder_{k}_mm" for k in range(1, 5)), "note"]
slow = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


def as_csv(bodies, separator, comma, end):
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, delimiter=separator, lineterminator=end)
    writer.writeheader()
    for body in bodies:
        cells = {name: value for name, value in body.items() if name != "cylinder_mm"}
        for k, value in enumerate(body.get("cylinder_mm", [])):
            cells[f"cylinder_{k + 1}_mm"] = value
        for name, value in cells.items():
            if isinstance(value, float):
                cells[name] = repr(value).replace(".", "," if comma else ".")
        writer.writerow(cells)
    return out.getvalue()


@slow
@given(
    st.lists(reading, min_size=1, max_size=5),
    st.sampled_from([(",", False), (";", False), ("\t", False), (";", True), ("\t", True)]),
    st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["", "\ufeff"]),
)
def test_csv_gives_back_what_was_written(tmp_path, bodies, notation, end, mark):
    separator, comma = notation
    path = tmp_path / "r.csv"
    path.write_bytes((mark + as_csv(bodies, separator, comma, end)).encode())
    try:
        found = read_readings(path, DRIVE)[1]
    except InputRefused as refused:  # 1,234 everywhere leaves it open what the comma is
        assert comma
        assert "decimal point" in str(refused)
    else:
        assert found == bodies


@slow
@given(st.lists(reading, min_size=1, max_size=5))
def test_json_lines_give_back_what_was_written(tmp_path, bodies):
    path = tmp_path / "r.jsonl"
    path.write_text("".join(json.dumps(body) + "\n" for body in bodies))
    assert read_readings(path, DRIVE)[1] == bodies
    for body in bodies:
        assert reading_from_json(object_from_line(json.dumps({"kind": "reading", **body})), DRIVE) == body


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@slow
@given(st.dictionaries(st.sampled_from([*LIMITS, "cylinder_mm", "note", "time", "kind", "x"]), values))
def test_any_object_is_a_reading_within_its_bounds_or_refused(found):
    try:
        body = reading_from_json(found, DRIVE)
    except InputRefused as refused:
        assert refused.problems
        return
    for name, (low, high) in LIMITS.items():
        if name in body:
            assert low <= body[name] <= high
            assert type(body[name]) is float


def test_the_property_would_fail_on_a_changed_value(tmp_path):
    path = tmp_path / "r.csv"
    path.write_text(as_csv([{"chainage_m": 9.99}], ";", True, "\n"))
    assert read_readings(path, DRIVE)[1] != [{"chainage_m": 999.0}]
    with pytest.raises(InputRefused):
        reading_from_json({"chainage_m": 999.0}, DRIVE)
