"""LandXML 1.2 in and out: open files of others, every kind of element, and files that must be refused."""

import math
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyclothoids
import pytest

from steer.axis import AxisError, axis_from_landxml, axis_from_spec
from steer.axis.landxml_out import SurveyedPoint, write_landxml
from steer.errors import FolderUnusable, InputRefused

DATA = Path(__file__).parent / "data"
USFT = 1200.0 / 3937.0
METRIC = '<Units><Metric linearUnit="meter"/></Units>'
LINE = "<Line><Start>0 0</Start><End>100 0</End></Line>"
FLAT = "<PVI>0 10</PVI><PVI>100 10</PVI>"


def written(
    tmp_path, geometry=LINE, profile=FLAT, units=METRIC, extra="", inside="", name="A", start="0", xmlns=""
):
    path = tmp_path / "axis.xml"
    path.write_text(
        f'<?xml version="1.0"?><LandXML version="1.2" {xmlns}>{units}{extra}<Alignments>'
        f'<Alignment name="{name}" staStart="{start}">{inside}<CoordGeom>{geometry}</CoordGeom>'
        f"<Profile><ProfAlign>{profile}</ProfAlign></Profile></Alignment></Alignments></LandXML>",
        encoding="utf-8",
    )
    return path


def refused(path, name=None):
    with pytest.raises(AxisError) as caught:
        axis_from_landxml(path, name)
    assert all(problem.startswith(path.name) for problem in caught.value.problems)
    return "\n".join(caught.value.problems)


def with_profile(name, profile, tmp_path):
    text = (
        (DATA / name)
        .read_text()
        .replace("</CoordGeom>", f"</CoordGeom><Profile><ProfAlign>{profile}</ProfAlign></Profile>")
    )
    path = tmp_path / name
    path.write_text(text)
    return path


def test_road_in_us_survey_feet():
    """IFC-infra-unit-test: every element of the file states its own start, end and length."""
    axis = axis_from_landxml(DATA / "road_line_arc_line_usft.xml", "PR_Twin_Branch_section")
    assert axis.start_chainage_m == pytest.approx(2103.72056 * USFT, abs=1e-9)
    assert (axis.end_chainage_m - axis.start_chainage_m) == pytest.approx(2796.6790253265699 * USFT, abs=1e-6)
    lengths = [e.length_m / USFT for e in axis.plan.elements]
    assert lengths == pytest.approx([741.37139133935671, 1705.3152959346885, 349.99233805252447], abs=1e-6)
    ends = [(628515.24226994836, 1321137.2693168621), (630097.50708320097, 1321686.6037500021)]
    ends.append((630447.49265700008, 1321688.7797160002))
    for chainage, (northing, easting) in zip(
        np.cumsum([2103.72056, *lengths])[1:].tolist(), ends, strict=True
    ):
        p = axis.at(chainage * USFT)
        assert (p.easting_m, p.northing_m) == pytest.approx((easting * USFT, northing * USFT), abs=1e-5)
    # its curve to the left: chord 1674.9120152 ft
    a, b = axis.at((2103.72056 + lengths[0]) * USFT), axis.at((2103.72056 + sum(lengths[:2])) * USFT)
    chord = math.hypot(b.easting_m - a.easting_m, b.northing_m - a.northing_m)
    assert chord / USFT == pytest.approx(1674.9120152, abs=1e-6)
    middle = axis.at((2103.72056 + lengths[0] + 100) * USFT)
    assert middle.curvature_right_mm_per_m2 == pytest.approx(-1000.0 / (2600 * USFT), abs=1e-9)
    assert any("trimmed" in note for note in axis.notes)


def test_levels_of_the_road():
    """Between its curves the road lies on the lines between vertices; halfway up a curve g·L/8 inside."""
    axis = axis_from_landxml(DATA / "road_line_arc_line_usft.xml")
    vertices = [(2276.8612336743163, 797.16981264013839), (3150.0, 783.524), (3990.0, 808.327)]
    grade_in = (vertices[1][1] - vertices[0][1]) / (vertices[1][0] - vertices[0][0])
    grade_out = (vertices[2][1] - vertices[1][1]) / (vertices[2][0] - vertices[1][0])
    for station in (2500.0, 2899.0):
        level = vertices[1][1] + (station - 3150.0) * grade_in
        assert axis.at(station * USFT).level_m / USFT == pytest.approx(level, abs=1e-8)
    inside = (grade_out - grade_in) * 500.0 / 8.0
    assert axis.at(3150.0 * USFT).level_m / USFT == pytest.approx(783.524 + inside, abs=1e-8)


def test_clothoids_of_a_metric_road(tmp_path):
    """Sample of a public LandXML parser: totalX and totalY of the clothoid, and every stated point."""
    path = with_profile("road_line_clothoid_arc_metric.xml", "<PVI>0 5</PVI><PVI>960 5</PVI>", tmp_path)
    axis = axis_from_landxml(path, "Main Road CL")
    assert axis.end_chainage_m == pytest.approx(960.0, abs=1e-6)
    stated = {
        0.0: (5000.0, 4500.0),
        300.0: (5150.0, 4759.807621135332),
        380.0: (5187.652266484913, 4830.352784728756),
        580.0: (5221.839167897646, 5025.301075223637),
        660.0: (5210.437586977566, 5104.448515045761),
        960.0: (5157.791250255709, 5399.792997353741),
    }
    for chainage, (easting, northing) in stated.items():
        p = axis.at(chainage)
        assert (p.easting_m, p.northing_m) == pytest.approx((easting, northing), abs=1e-6)
    begin = axis.at(300.0)
    along, across, _, _ = axis.locate(axis.at(380.0).easting_m, axis.at(380.0).northing_m, 5.0)
    assert (along, across) == pytest.approx((380.0, 0.0), abs=1e-5)
    d_east = axis.at(380.0).easting_m - begin.easting_m
    d_north = axis.at(380.0).northing_m - begin.northing_m
    sin, cos = math.sin(begin.bearing_rad), math.cos(begin.bearing_rad)
    assert d_east * sin + d_north * cos == pytest.approx(79.920037028491, abs=1e-6)
    assert d_north * sin - d_east * cos == pytest.approx(2.664762510717, abs=1e-6)  # to the left
    assert math.degrees(axis.at(960.0).bearing_rad) % 360 == pytest.approx(349.892954340842, abs=1e-7)


def test_unsymmetrical_parabola(tmp_path):
    """Two parabolas with one grade under the vertex; its offset there is l1·l2·Δg/(2(l1+l2)) (handbooks)."""
    curve = '<UnsymParaCurve lengthIn="40" lengthOut="60">100 104</UnsymParaCurve>'
    profile = f"<PVI>0 100</PVI>{curve}<PVI>200 102</PVI>"
    axis = axis_from_landxml(written(tmp_path, "<Line><Start>0 0</Start><End>200 0</End></Line>", profile))
    assert axis.at(60.0).level_m == pytest.approx(102.4, abs=1e-9)
    assert axis.at(160.0).level_m == pytest.approx(102.8, abs=1e-9)
    assert axis.at(100.0).level_m == pytest.approx(104.0 - 40 * 60 * 0.06 / (2 * 100), abs=1e-9)
    for s in (60.0, 100.0, 160.0):
        assert axis.at(s + 1e-9).grade_mm_per_m == pytest.approx(axis.at(s - 1e-9).grade_mm_per_m, abs=1e-5)


@pytest.mark.parametrize("radius", ["2000", "-2000"])
@pytest.mark.parametrize("length", ["79.972", "79.981", "312"])
def test_circular_vertical_curve_from_radius_and_grades(tmp_path, radius, length):
    """Stated length and sign of the radius do not matter; tangents are R·tan(Δ/2) along the grades."""
    profile = (
        f'<PVI>0 0</PVI><CircCurve radius="{radius}" length="{length}">100 3</CircCurve><PVI>200 2</PVI>'
    )
    axis = axis_from_landxml(written(tmp_path, "<Line><Start>0 0</Start><End>200 0</End></Line>", profile))
    a, b = math.atan(0.03), math.atan(-0.01)
    tangent = 2000.0 * math.tan((a - b) / 2)
    first = np.array([100.0 - tangent * math.cos(a), 3.0 - tangent * math.sin(a)])
    center = first + 2000.0 * np.array([math.sin(a), -math.cos(a)])
    for s in np.linspace(first[0], 100.0 + tangent * math.cos(b), 21).tolist():
        on_circle = center[1] + math.sqrt(2000.0**2 - (s - center[0]) ** 2)
        assert axis.at(s).level_m == pytest.approx(on_circle, abs=1e-9)
    assert bool(axis.notes) == (length == "312")


def test_units_scale_everything(tmp_path):
    geometry = "<Line><Start>1000 2000</Start><End>1100 2000</End></Line>"
    for unit, metres in (("foot", 0.3048), ("USSurveyFoot", USFT), ("inch", 0.0254)):
        units = f'<Units><Imperial linearUnit="{unit}"/></Units>'
        profile = "<PVI>50 10</PVI><PVI>150 11</PVI>"
        axis = axis_from_landxml(written(tmp_path, geometry, profile, units, start="50"))
        p = axis.at(axis.end_chainage_m)
        assert axis.end_chainage_m == pytest.approx(150 * metres)
        assert (p.easting_m, p.northing_m, p.level_m) == pytest.approx(
            (2000 * metres, 1100 * metres, 11 * metres)
        )
        assert p.grade_mm_per_m == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("unit", "right"),
    [
        ("radians", "0.5404195002705842"),
        ("grads", "34.40417"),
        ("decimal degrees", "30.963757"),
        ("decimal dd.mm.ss", "30.574953"),
    ],
)
def test_directions_in_every_angle_unit(tmp_path, unit, right):
    """A stated direction is only a check: a swapped one is noted, the coordinates rule."""
    units = f'<Units><Metric linearUnit="meter" directionUnit="{unit}"/></Units>'
    profile = "<PVI>0 10</PVI><PVI>116.6190379 10</PVI>"
    line = '<Line dir="{}"><Start>0 0</Start><End>100 60</End></Line>'
    good = axis_from_landxml(written(tmp_path, line.format(right), profile, units))
    assert good.notes == ()
    odd = axis_from_landxml(written(tmp_path, line.format("0.1"), profile, units))
    assert len(odd.notes) == 1 and "northing, easting" in odd.notes[0]
    assert odd.at(0.0).bearing_rad == good.at(0.0).bearing_rad


def test_points_by_reference_and_other_namespaces(tmp_path):
    extra = '<CgPoints><CgPoint name="P1">0 0</CgPoint><CgPoint name="P2">100 0 7</CgPoint></CgPoints>'
    geometry = '<Line><Start pntRef="P1"/><End pntRef="P2"/></Line>'
    for xmlns in (
        "",
        'xmlns="http://example.org/anything"',
        'xmlns="http://www.landxml.org/schema/LandXML-2.0"',
    ):
        axis = axis_from_landxml(written(tmp_path, geometry, extra=extra, xmlns=xmlns))
        assert axis.end_chainage_m == pytest.approx(100.0)
    assert '"P3"' in refused(written(tmp_path, geometry.replace("P2", "P3"), extra=extra))


def test_alignment_by_name(tmp_path):
    path = written(tmp_path)
    text = path.read_text()
    one = text[text.index("<Alignment ") : text.index("</Alignments>")]
    path.write_text(text.replace(one, one + one.replace('"A"', '"B"')))
    assert axis_from_landxml(path, "B").end_chainage_m == pytest.approx(100.0)
    assert '"A", "B"' in refused(path, "C")
    assert '"A", "B"' in refused(path)
    path.write_text(text.replace(one, one + one))
    assert "2 alignments have this name" in refused(path, "A")


def test_profile_longer_is_trimmed_and_shorter_refused(tmp_path):
    curve = '<PVI>-50 9</PVI><ParaCurve length="80">20 10</ParaCurve><PVI>400 12</PVI>'
    axis = axis_from_landxml(written(tmp_path, profile=curve))
    assert len(axis.notes) == 1 and "trimmed" in axis.notes[0]
    whole = axis_from_landxml(
        written(tmp_path, "<Line><Start>-50 0</Start><End>400 0</End></Line>", curve, start="-50")
    )
    for s in np.linspace(0.0, 100.0, 31).tolist():
        assert axis.at(s).level_m == pytest.approx(whole.at(s).level_m, abs=1e-9)
    said = refused(written(tmp_path, profile="<PVI>0 10</PVI><PVI>90 10</PVI>"))
    assert "0.000 to 90.000 m" in said and "0.000 to 100.000 m" in said


KINKED = LINE + "<Line><Start>100 0</Start><End>200 0.006</End></Line>"
LONG = "<PVI>0 1</PVI><PVI>200 1</PVI>"
APART = LINE + "<Line><Start>100.002 0</Start><End>200 0</End></Line>"
OVERLONG = '<PVI>0 1</PVI><ParaCurve length="120">50 2</ParaCurve><PVI>100 1</PVI>'
FEET_UP = '<Units><Metric linearUnit="meter" elevationUnit="feet"/></Units>'
TURNS = '<Units><Metric linearUnit="meter" directionUnit="turns"/></Units>'
SPIRAL = (
    '<Spiral length="50" radiusStart="INF" radiusEnd="100" rot="cw" spiType="{}">'
    "<Start>0 0</Start><PI>33 0</PI><End>49.688 4.148</End></Spiral>"
)
SHORT_CHORD = SPIRAL.format("clothoid").replace("49.688", "49.5")
BENT = "<PVI>0 1</PVI><PVI>50 1</PVI><PVI>100 1.1</PVI>"
BOUND = "a number of at most 100000000000 either way"
CURVED = '<PVI>0 1</PVI><ParaCurve length="1e308">50 1</ParaCurve><PVI>100 1</PVI>'
CURVE = '<Curve rot="{}" radius="{}"><Start>0 0</Start><Center>0 100</Center><End>50 {}</End></Curve>'


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"geometry": KINKED, "profile": LONG}, ["kink of 0.060 mm/m", "right", "100.000 m"]),
        ({"geometry": APART, "profile": LONG}, ["2.0 mm from the end", "100.000 m"]),
        ({"profile": BENT}, ["jumps by +2.000 mm/m", "50.000 m"]),
        ({"geometry": SPIRAL.format("bloss")}, ['"bloss"', "only clothoid"]),
        ({"geometry": SHORT_CHORD}, ["chord of", "Start and End lie"]),
        ({"geometry": SPIRAL.format("clothoid").replace('"cw"', '"right"')}, ['rot = "right"', "ccw"]),
        ({"geometry": "<IrregularLine/>"}, ["IrregularLine", "only Line, Curve and Spiral"]),
        ({"geometry": ""}, ["holds no element"]),
        ({"geometry": LINE.replace("100 0", "1e300 0")}, ["1e300", "northing and easting"]),
        ({"geometry": LINE.replace("100 0", "1e7 0")}, ["at most 100000 m"]),
        ({"profile": "<PVI>0 0</PVI><PVI>100 101</PVI>"}, ["over 1000 mm/m"]),
        ({"geometry": SPIRAL.format("clothoid").replace('"100"', '"0"')}, ["1 m or more, or INF"]),
        ({"geometry": "<Line><Start>0 0</Start></Line>"}, ["CoordGeom 1, Line: End missing"]),
        ({"geometry": LINE.replace("100 0", "1o0 0")}, ['End = "1o0 0"', "northing and easting"]),
        ({"geometry": LINE.replace("100 0", "0 0")}, ["the same point"]),
        ({"geometry": CURVE.format("cw", "120", "13.397459621556137")}, ["radius says 120.0000 m"]),
        ({"geometry": CURVE.format("cw", "100", "14")}, ["must agree"]),
        ({"inside": '<StaEquation staBack="50" staAhead="1000" staInternal="50"/>'}, ["StaEquation at 50"]),
        ({"units": ""}, ["Units", "Metric or Imperial"]),
        ({"units": '<Units><Metric linearUnit="metre"/></Units>'}, ['linearUnit = "metre"', "USSurveyFoot"]),
        ({"units": FEET_UP}, ['elevationUnit = "feet"']),
        ({"units": TURNS}, ["directionUnit"]),
        ({"start": "1+000"}, ['staStart = "1+000"']),
        ({"start": "1e308"}, ['staStart = "1e308": must be a number of at most 100000000000 either way']),
        ({"geometry": SPIRAL.format("clothoid").replace('"100"', '"1e308"')}, ['"1e308": must be ' + BOUND]),
        ({"geometry": LINE.replace("100 0", "1e308 0")}, ["northing and easting, each " + BOUND]),
        ({"profile": "<PVI>0 1e308</PVI><PVI>100 10</PVI>"}, ["station, level, each " + BOUND]),
        ({"profile": CURVED}, ['length = "1e308": must be ' + BOUND + ", not below 0"]),
        ({"profile": "<PVI>0 10</PVI>"}, ["begin and end with a PVI"]),
        ({"profile": "<PVI>100 10</PVI><PVI>0 10</PVI>"}, ["must be beyond"]),
        ({"profile": '<PVI>0 1</PVI><ParaCurve>50 1</ParaCurve><PVI>100 1</PVI>'}, ["length missing"]),
        ({"profile": OVERLONG}, ["ParaCurve: its curve begins", "PVI: lies before"]),
        ({"profile": "<PVI>0 10</PVI><PVI>nan 10</PVI>"}, ['"nan 10"']),
    ],
)  # fmt: skip
def test_refusals(tmp_path, change, said):
    found = refused(written(tmp_path, **change))
    for words in said:
        assert words in found


def test_missing_profile_is_refused(tmp_path):
    assert "has no ProfAlign" in refused(DATA / "road_line_clothoid_arc_metric.xml")


def test_hostile_and_broken_files(tmp_path):
    path = tmp_path / "axis.xml"
    laughs = '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]><LandXML>&b;</LandXML>'
    outside = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]><LandXML>&a;</LandXML>'
    for text, said in [
        (laughs, "document type"),
        (outside, "document type"),
        ("<LandXML><Units>", "not valid XML"),
        ("", "not valid XML"),
        ("\0\1\2", "not valid XML"),
        ('<?xml version="1.0" encoding="klingon"?><LandXML/>', "not valid XML"),
        ("<gml/>", "root element is"),
        ("<LandXML/>", "no Alignment"),
    ]:
        path.write_text(text)
        assert said in refused(path)
    path.unlink()
    assert "no such file" in refused(path)
    path.mkdir()
    assert "is a folder" in refused(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_file_of_too_many_elements_is_not_taken_apart(tmp_path, encoding):
    path = tmp_path / "axis.xml"
    # Not even valid XML: were it parsed, that would be the answer.
    path.write_text("<LandXML>" + "<a/>" * 1_000_000, encoding=encoding)
    assert "1000001 tags, at most 1000000 are read; export the alignments only" in refused(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_an_element_of_too_many_attributes_is_not_taken_apart(tmp_path, encoding):
    """A million of one element kept a parser busy for 5 s, three million for 26."""
    path = tmp_path / "axis.xml"
    path.write_text("<LandXML " + " ".join(f'a{n}="1"' for n in range(1_001)), encoding=encoding)
    assert (
        "1001 attributes, 1001 of them of one element; at most 5000000 are read, and 1000 of one"
        in refused(path)
    )
    path.write_text("<LandXML>" + 1_001 * '<P a="1" b="2"/>' + f"<!-- {2_000 * '='} --><", encoding=encoding)
    if encoding == "utf-8":
        assert "attributes" not in refused(path)  # as many in all are no harm, nor is a comment's ruler


def sample_axis():
    start = {"chainage_m": 120.5, "easting_m": 4_456_789.125, "northing_m": 5_987_654.25, "level_m": -3.5}
    horizontal = [
        {"kind": "line", "length_m": 60.0},
        {"kind": "spiral", "length_m": 30.0, "radius_start_m": "inf", "radius_end_m": 200.0, "turn": "left"},
        {"kind": "arc", "length_m": 350.0, "radius_m": 200.0, "turn": "left"},
        {"kind": "spiral", "length_m": 20.0, "radius_start_m": 200.0, "radius_end_m": 80.0, "turn": "left"},
        {"kind": "arc", "length_m": 40.0, "radius_m": 80.0, "turn": "left"},
    ]
    vertical = [
        {"kind": "parabola", "length_m": 100.0, "grade_start_mm_per_m": 4.0, "grade_end_mm_per_m": -7.0},
        {"kind": "parabola", "length_m": 80.0, "grade_start_mm_per_m": -7.0, "grade_end_mm_per_m": 9.0},
        {"kind": "grade", "length_m": 120.0, "grade_mm_per_m": 9.0},
        {"kind": "grade", "length_m": 100.0, "grade_mm_per_m": 9.04},
        {"kind": "arc", "length_m": 100.0, "grade_start_mm_per_m": 9.04, "grade_end_mm_per_m": -20.0},
    ]
    return axis_from_spec({**start, "bearing_deg": 310.0}, horizontal, vertical)


def test_out_and_in_again(tmp_path):
    axis, path = sample_axis(), tmp_path / "out.xml"
    write_landxml(path, axis, name='Drive <1> & "2"')
    back = axis_from_landxml(path, 'Drive <1> & "2"')
    assert back.notes == ()
    at = np.linspace(100.0, 640.0, 541)
    p, q = axis.at(at), back.at(at)
    for field, within in [
        ("easting_m", 1e-6),
        ("northing_m", 1e-6),
        ("level_m", 1e-6),
        ("bearing_rad", 1e-8),
    ]:
        assert getattr(q, field) == pytest.approx(getattr(p, field), abs=within), field
    assert q.grade_mm_per_m == pytest.approx(p.grade_mm_per_m, abs=1e-4)


def test_out_read_by_a_plain_reader(tmp_path):
    """The standard's own meaning of the attributes, by xml.etree and pyclothoids instead of our reader."""
    axis, path = sample_axis(), tmp_path / "out.xml"
    points = [
        SurveyedPoint("pipe 1", 10.5, 20.25, -1.125, "invert & joint"),
        SurveyedPoint("p2", 1.0, 2.0, 3.0),
    ]
    write_landxml(path, axis, points, name="drive", now=datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC))
    root = ElementTree.parse(path).getroot()
    ns = {"l": "http://www.landxml.org/schema/LandXML-1.2"}
    assert (root.get("version"), root.get("date"), root.get("time")) == ("1.2", "2026-03-04", "05:06:07")
    assert root.find("l:Units/l:Metric", ns).get("linearUnit") == "meter"
    read = {p.get("name"): [float(t) for t in p.text.split()] for p in root.iterfind(".//l:CgPoint", ns)}
    assert read == {"pipe 1": [20.25, 10.5, -1.125], "p2": [2.0, 1.0, 3.0]}
    assert root.find(".//l:CgPoint", ns).get("desc") == "invert & joint"
    chainage = float(root.find(".//l:Alignment", ns).get("staStart"))
    for element in root.find(".//l:CoordGeom", ns):
        kind = element.tag.rpartition("}")[2]
        p = {e.tag.rpartition("}")[2]: [float(t) for t in e.text.split()][::-1] for e in element}
        length = float(element.get("length"))
        middle = axis.at(chainage + length / 2)
        at = (middle.easting_m, middle.northing_m)
        if kind == "Line":
            assert at == pytest.approx(
                [(a + b) / 2 for a, b in zip(p["Start"], p["End"], strict=True)], abs=1e-6
            )
        elif kind == "Curve":
            assert element.get("rot") == "ccw"
            radius = float(element.get("radius"))
            assert math.dist(at, p["Center"]) == pytest.approx(radius, abs=1e-6)
            assert math.dist(p["Start"], p["End"]) == pytest.approx(
                2 * radius * math.sin(length / radius / 2), abs=1e-6
            )
        else:
            theta = math.atan2(p["PI"][1] - p["Start"][1], p["PI"][0] - p["Start"][0])
            k0, k1 = (1.0 / float(element.get(key).lower()) for key in ("radiusStart", "radiusEnd"))
            c = pyclothoids.Clothoid.StandardParams(*p["Start"], theta, k0, (k1 - k0) / length, length)
            assert (c.X(length), c.Y(length)) == pytest.approx(p["End"], abs=1e-6)
            assert (c.X(length / 2), c.Y(length / 2)) == pytest.approx(at, abs=1e-6)
            assert float(element.get("constant")) ** 2 == pytest.approx(length / (k1 - k0), rel=1e-8)
        chainage += length
    assert chainage == pytest.approx(axis.end_chainage_m, abs=1e-6)


def test_out_refuses_what_cannot_be_written(tmp_path):
    path = tmp_path / "out.xml"
    path.write_text("old")
    with pytest.raises(InputRefused, match="p1"):
        write_landxml(path, sample_axis(), [SurveyedPoint("p1", math.nan, 0.0, 0.0)])
    assert path.read_text() == "old"
    with pytest.raises(FolderUnusable, match="cannot be written"):
        write_landxml(tmp_path / "no" / "out.xml", sample_axis())
    assert [p.name for p in tmp_path.iterdir()] == ["out.xml"]
