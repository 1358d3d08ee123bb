"""Every output, opened by another library than the one that wrote it where there is one."""

import csv
import json
import os
import re
import shutil
import subprocess
import zipfile
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from steer.asbuilt import AsBuilt, write
from steer.asbuilt.json_out import record_object
from steer.asbuilt.page import page
from steer.asbuilt.writing import write_whole
from steer.axis import axis_from_landxml
from steer.cli.main import main
from steer.errors import FolderUnusable, InputRefused
from steer.text import figure


@pytest.fixture(scope="module")
def files(record: AsBuilt, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("files")
    for kind, name in (
        ("csv", "a.csv"), ("xlsx", "a.xlsx"), ("dxf", "a.dxf"), ("landxml", "a.xml"), ("report", "a.pdf"),
    ):  # fmt: skip
        write(record, kind, folder / name)
    return folder


def csv_rows(files: Path, row: str) -> list[dict[str, str]]:
    with open(files / "a.csv", newline="", encoding="utf-8") as source:
        return [line for line in csv.DictReader(source) if line["row"] == row]


def test_csv_holds_every_station_and_joint(files: Path, record: AsBuilt) -> None:
    metres, joints = csv_rows(files, "metre"), csv_rows(files, "joint")
    assert len(metres) == len(record.metres.both) and len(joints) == len(record.pipes.both)
    for i, row in enumerate(metres):
        assert float(row["line_mm"]) == pytest.approx(record.metres.lie.offset_mm[i, 0], abs=0.0051)
        assert float(row["level_sd_mm"]) == pytest.approx(record.metres.lie.sd_mm[i, 1], abs=0.0051)
        assert row["verdict"] == record.metres.both[i].value
    assert metres[0]["joint_angle_mm_per_m"] == ""  # not known there, and not 0
    assert [row["joint"] for row in joints] == [str(n) for n in range(len(joints))]


def test_no_cell_starts_a_formula(files: Path) -> None:
    """A spreadsheet runs what begins with = + - @, tab or return, unless it is a number."""
    from openpyxl import load_workbook

    with open(files / "a.csv", newline="", encoding="utf-8") as source:
        cells = [cell for row in csv.reader(source) for cell in row]
    for cell in cells:
        if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
            float(cell)
    found = 0
    for sheet in load_workbook(files / "a.xlsx"):
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f"
                if isinstance(cell.value, str) and cell.value[:1] in "=+-@":
                    assert cell.data_type == "s" and cell.quotePrefix
                    found += 1
    assert found >= 2  # the drive's name and the note


def test_workbook_has_the_same_figures(files: Path, record: AsBuilt) -> None:
    from openpyxl import load_workbook

    book = load_workbook(files / "a.xlsx", read_only=True)
    assert book.sheetnames == [
        "summary", "per metre", "per joint", "force", "check surveys", "steering", "notices and events",
    ]  # fmt: skip
    rows = list(book["per metre"].iter_rows(values_only=True))
    head = {name: i for i, name in enumerate(rows[0])}
    assert {"chainage [m]", "line [mm]", "level sd [mm]", "grade [mm/m]", "joint permissible [kN]"} <= set(
        head
    )
    for row, line in zip(rows[1:], csv_rows(files, "metre"), strict=True):
        assert row[head["line [mm]"]] == float(line["line_mm"])
        assert row[head["verdict"]] == line["verdict"]
        assert (row[head["joint angle [mm/m]"]] is None) == (line["joint_angle_mm_per_m"] == "")
    summary = {str(a): str(b) for a, b in book["summary"].iter_rows(values_only=True) if a}
    assert summary["drive"] == record.file.drive.name
    assert record.seal.head in summary["log"]


def test_drawing_has_design_and_as_built_in_place(files: Path, record: AsBuilt) -> None:
    import ezdxf

    drawing = ezdxf.readfile(files / "a.dxf")
    assert not drawing.audit().has_errors
    assert drawing.units == ezdxf.units.M
    lines = {line.dxf.layer: line for line in drawing.modelspace().query("POLYLINE")}
    built = np.array([v.dxf.location.xyz for v in lines["AS_BUILT"].vertices])
    m = record.metres
    assert built == pytest.approx(np.column_stack([m.easting_m, m.northing_m, m.level_m]), abs=1e-9)
    design = np.array([v.dxf.location.xyz for v in lines["DESIGN"].vertices])
    located = record.file.axis.locate(*design.T)
    assert np.abs(located.line_mm).max() < 1e-3 and np.abs(located.level_mm).max() < 1e-3
    # the strips: line deviation drawn 100 times, so 10 mm are 1 m
    strips = [line for line in drawing.modelspace().query("LWPOLYLINE") if line.dxf.layer == "AS_BUILT"]
    drawn = np.array([p[1] for p in strips[1].get_points()])
    assert drawn - drawn[0] == pytest.approx((m.lie.offset_mm[:, 0] - m.lie.offset_mm[0, 0]) / 10.0, abs=1e-9)
    texts = " ".join(t.dxf.text for t in drawing.modelspace().query("TEXT"))
    assert "heights" in texts and "100 times" in texts and "Alder Row" in texts
    assert "20 mm right" in texts and "12 mm low" in texts and "replaces no survey" in texts
    # the tolerance over the whole axis, narrower between 20 and 30 m, its steps upright
    edges = [line for line in drawing.modelspace().query("LWPOLYLINE") if line.dxf.layer == "TOLERANCE"]
    x, y = np.array([p[:2] for p in edges[2].get_points()]).T
    middle = np.mean([np.array([p[1] for p in edge.get_points()]) for edge in edges[2:4]], axis=0)
    inner = (x - x[0] > 20.0 - 1e-5) & (x - x[0] < 30.0 + 1e-5)
    assert x[-1] - x[0] == pytest.approx(60.0)
    assert (y - middle)[inner] == pytest.approx(0.8) and (y - middle)[~inner] == pytest.approx(2.0)


def test_drawing_read_by_its_group_codes(files: Path, record: AsBuilt) -> None:
    """Without the library that wrote it: pairs of group code and value (DXF reference: 0 entity, 8 layer, 10 20
    30 place)."""
    lines = (files / "a.dxf").read_text(encoding="utf-8").splitlines()
    pairs = [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]
    starts = [i for i, (code, _) in enumerate(pairs) if code == 0] + [len(pairs)]
    entities = [(pairs[a][1], pairs[a + 1 : b]) for a, b in pairwise(starts)]
    first = next(
        i for i, (name, body) in enumerate(entities) if name == "POLYLINE" and (8, "AS_BUILT") in body
    )
    built = []
    for name, body in entities[first + 1 :]:
        if name != "VERTEX":
            break
        found = dict(body)
        built.append([float(found[code]) for code in (10, 20, 30)])
    m = record.metres
    assert np.array(built) == pytest.approx(np.column_stack([m.easting_m, m.northing_m, m.level_m]), abs=1e-6)


def test_workbook_read_as_plain_xml(files: Path) -> None:
    """Without the library that wrote it (ECMA-376, part 1, 18.3: row, c, v, f): no formula anywhere, and the
    line of every metre as in the CSV."""
    space = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
    with zipfile.ZipFile(files / "a.xlsx") as book:
        sheets = [ElementTree.fromstring(book.read(n)) for n in book.namelist() if "worksheets/sheet" in n]
        names = [n for n in book.namelist() if "worksheets/sheet" in n]
    assert not any(sheet.findall(".//m:f", space) for sheet in sheets)
    metres = sheets[names.index("xl/worksheets/sheet2.xml")]
    values = [c.findtext("m:v", None, space) for c in metres.iterfind(".//m:c", space) if c.get("r", "")[0] == "B"
              and c.get("r", "")[1:].isdigit()]  # fmt: skip
    want = [float(row["line_mm"]) for row in csv_rows(files, "metre")]
    assert [float(v) for v in values[1:] if v is not None] == want


def test_landxml_points_lie_where_the_table_says(files: Path, record: AsBuilt) -> None:
    axis = axis_from_landxml(files / "a.xml", record.file.drive.name)
    root = ElementTree.parse(files / "a.xml").getroot()
    space = {"x": root.tag[1:].partition("}")[0]}
    points = {
        p.get("name"): [float(v) for v in (p.text or "").split()]
        for p in root.iterfind(".//x:CgPoint", space)
    }
    assert len(points) == len(record.metres.both) + len(record.pipes.both)
    for i, s in enumerate(record.metres.lie.chainage_m):
        north, east, level = points[f"M{s:08.3f}"]
        found = axis.locate(east, north, level)
        assert found.chainage_m == pytest.approx(s, abs=1e-5)
        assert found.line_mm == pytest.approx(record.metres.lie.offset_mm[i, 0], abs=0.01)
        assert found.level_mm == pytest.approx(record.metres.lie.offset_mm[i, 1], abs=0.01)


def test_json_is_plain_and_adds_up(record: AsBuilt) -> None:
    found = json.loads(json.dumps(record_object(record), allow_nan=False))
    for plane in ("line", "level", "both"):
        total = found["totals"][plane]
        parts = total["inside_m"] + total["outside_m"] + total["cannot_tell_m"]
        assert parts == pytest.approx(total["length_m"], abs=1e-5)
    assert found["log"]["hash"] == record.seal.head
    assert len(found["metres"]) == len(record.metres.both)
    assert found["metres"][0]["joint_angle_mm_per_m"] is None
    assert {p["chainage_m"] for p in found["pipe_surveys"]} == {10.0, 40.0, 44.0}


def test_page_fits_eighty_columns_and_hides_no_escape(record: AsBuilt) -> None:
    text = page(record)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "\x1b" not in text
    assert "local codes and licensed practice" in re.sub(r"\s+", " ", text)


pdftotext = shutil.which("pdftotext")


@pytest.fixture(scope="module")
def pdf_text(files: Path) -> str:
    if pdftotext is None:
        pytest.skip("pdftotext (Debian package poppler-utils) is not here")
    done = subprocess.run([pdftotext, "-layout", str(files / "a.pdf"), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def test_report_says_the_figures_of_the_record(pdf_text: str, record: AsBuilt) -> None:
    flat = re.sub(r"\s+", " ", pdf_text)
    for plane in (record.line, record.level):
        assert (
            f"{plane.counted.inside_m:.1f} m ({plane.counted.per_cent(plane.counted.inside_m):.1f} %)" in flat
        )
        assert f"RMS {figure(plane.figures.rms_mm, plane.figures.sd_mm)} mm" in flat
        assert f"at {plane.figures.largest_at_m:.1f} m" in flat
    for told in (
        record.seal.head, "JCGM 106:2012", "95 % conformance probability", "Invented Water", "A-17",
        "local codes and licensed practice", "NOT on the safe side", '=2+3 & "Alder Row" (invented)',
        "soft \\x1b[31m spot", f"steer {record.version}", "main jacks",
    ):  # fmt: skip
        assert told in flat, told


def test_report_has_every_station_and_numbered_pages(pdf_text: str, record: AsBuilt) -> None:
    pages = pdf_text.rstrip("\f\n ").split("\f")
    for number, text in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in text
    for i, s in enumerate(record.metres.lie.chainage_m):
        assert re.search(rf"^\s*{s:.2f}\s.*{record.metres.level_m[i]:.3f}", pdf_text, re.M), s


@pytest.fixture(scope="module")
def steered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve strokes through the program itself: proposals in the log, three of four accepted, one not."""
    from steer.drive import Drive
    from steer.ground import Simulation
    from steer.ground.folder import write_drive_file
    from steer.ground.presets import DRIVE, preset_scenario

    folder = tmp_path_factory.mktemp("steered") / "d"
    write_drive_file(DRIVE, folder)
    simulation = Simulation(preset_scenario("dense sand", 4, DRIVE))
    readings = simulation.start()
    with Drive.open(folder, write=True, sync="stroke") as drive:
        for number in range(12):
            for reading in readings:
                drive.add("reading", {k: v for k, v in reading.items() if k != "kind" and v is not None})
            cylinders = drive.stroke_end(simulation.chainage_m).correction.cylinder_mm
            if number % 4 == 3:
                cylinders = drive.override(3.0, -2.0).body["cylinder_mm"]
            else:
                drive.accept()
            readings = simulation.advance(cylinders)
        for reading in readings:
            drive.add("reading", {k: v for k, v in reading.items() if k != "kind" and v is not None})
    return folder


def test_steering_record_stands_in_report_and_workbook(steered: Path, tmp_path: Path) -> None:
    """Every stroke with what was proposed, decided, set and answered, the same in table, workbook and PDF."""
    from openpyxl import load_workbook

    from steer.asbuilt import assemble, tables
    from steer.drive import Drive

    with Drive.open(steered) as drive:
        record = assemble(drive)
    write(record, "xlsx", tmp_path / "a.xlsx")
    write(record, "report", tmp_path / "a.pdf")
    rows = tables.strokes(record).rows
    assert len(rows) == 12 and [row[6] for row in rows] == (3 * ["accepted"] + ["overridden"]) * 3
    sheet = list(load_workbook(tmp_path / "a.xlsx")["steering"].iter_rows(values_only=True))
    assert sheet[0][:5] == ("stroke", "from [m]", "to [m]", "proposed right [mm/m]", "proposed up [mm/m]")
    assert sheet[1:] == list(rows)
    if pdftotext is None:
        pytest.skip("pdftotext (Debian package poppler-utils) is not here")
    text = subprocess.run(
        [pdftotext, "-layout", str(tmp_path / "a.pdf"), "-"], capture_output=True, check=True
    ).stdout.decode()
    assert "proposed in 12" in text and "accepted in 9, own setting in 3, no decision recorded in 0" in text
    listed = text[text.index("Steering, stroke by stroke") :]
    for stroke in record.strokes:
        decided = "own setting" if stroke.decision == "overridden" else "accepted"
        line = next(one for one in listed.splitlines() if re.match(rf"\s*{stroke.number}\s", one))
        figures = [
            f"{abs(v):.1f}" for pair in (stroke.proposed, stroke.decided, stroke.set_to) for v in pair or ()
        ]
        assert re.search(r"\D+".join(map(re.escape, figures[:2])), line) and decided in line
        assert re.search(r".*".join(map(re.escape, figures)), line), (figures, line)


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_paper(record: AsBuilt, tmp_path: Path, paper: str, size: tuple[float, float]) -> None:
    """A4 is 210 by 297 mm (ISO 216), Letter 8.5 by 11 in (ANSI Y14.1); points of 1/72 in."""
    from dataclasses import replace

    report = record.file.report.model_copy(update={"paper": paper})
    changed = replace(record, file=replace(record.file, report=report))
    write(changed, "report", tmp_path / "p.pdf")
    boxes = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", (tmp_path / "p.pdf").read_bytes())
    found = {tuple(sorted((float(a), float(b)))) for a, b in boxes}
    assert len(found) == 1
    assert found.pop() == pytest.approx(size, abs=0.02)


# -- the command ------------------------------------------------------------------------------------


def test_command_writes_what_is_asked(
    curved: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["asbuilt", str(curved.folder), "--csv", str(tmp_path / "x.csv"), "--json"]) == 0
    shown = capsys.readouterr()
    assert json.loads(shown.out)["kind"] == "asbuilt"
    assert "x.csv" in shown.err
    assert os.listdir(tmp_path) == ["x.csv"]
    assert main(["asbuilt", str(curved.folder)]) == 0
    assert capsys.readouterr().out.startswith("AS-BUILT")


def test_places_that_cannot_be_written_are_named_before_anything_is(
    curved: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad, folder = tmp_path / "none" / "a.pdf", tmp_path / "a.dxf"
    folder.mkdir()
    done = main(
        [
            "asbuilt",
            str(curved.folder),
            "--csv",
            str(tmp_path / "a.csv"),
            "--report",
            str(bad),
            "--dxf",
            str(folder),
        ]
    )
    shown = capsys.readouterr()
    assert done == 1 and shown.out == ""
    assert str(bad) in shown.err and "it is a folder" in shown.err
    assert os.listdir(tmp_path) == ["a.dxf"]


@pytest.mark.parametrize(("option", "name"), [("--report", "a.txt"), ("--csv", "a.xlsx"), ("--dxf", "a")])
def test_a_name_that_ends_in_another_kind_is_a_slip(
    curved: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str], option: str, name: str
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["asbuilt", str(curved.folder), option, str(tmp_path / name)])
    assert ended.value.code == 2
    assert f"{tmp_path / name}' must end in ." in capsys.readouterr().err
    assert os.listdir(tmp_path) == []


def test_no_folder_and_no_readings(tmp_path: Path, curved: Any) -> None:
    assert main(["asbuilt", str(tmp_path / "none")]) == 3
    (tmp_path / "d").mkdir()
    shutil.copy(curved.folder / "drive.toml", tmp_path / "d")
    assert main(["asbuilt", str(tmp_path / "d")]) == 1


def test_a_failure_half_way_leaves_the_old_file(tmp_path: Path) -> None:
    place = tmp_path / "a.csv"
    place.write_text("old")

    def full(target: Path) -> None:
        target.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(FolderUnusable, match="No space left"):
        write_whole(place, full)
    assert place.read_text() == "old" and os.listdir(tmp_path) == ["a.csv"]


def test_through_a_link_to_the_file_it_means(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_whole(tmp_path / "link", lambda target: target.write_text("new") and None)
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_text() == "new"


def test_no_device_is_replaced() -> None:
    with pytest.raises(InputRefused, match="not a file"):
        write_whole(Path("/dev/null"), lambda target: None)
    assert not Path("/dev/null").is_file()


@pytest.mark.parametrize(
    ("option", "own"),
    [("--landxml", "axis.xml"), ("--csv", "toml.csv"), ("--csv", "db.csv"), ("--csv", "drive.db-wal.csv")],
)
def test_what_a_drive_is_made_of_is_never_written_over(
    curved: Any, files: Path, tmp_path: Path, option: str, own: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "d"
    shutil.copytree(curved.folder, folder)
    shutil.copy(files / "a.xml", folder / "axis.xml")
    text = (folder / "drive.toml").read_text()
    table = text[text.index("[axis]") : text.index("[tolerance]")]
    (folder / "drive.toml").write_text(text.replace(table, '[axis]\nlandxml = "axis.xml"\n\n'))
    for own_file in ("toml", "db"):
        (folder / f"{own_file}.csv").symlink_to(folder / f"drive.{own_file}")
    before = {p.name: p.read_bytes() for p in folder.iterdir() if p.name.startswith(("drive.", "axis."))}
    assert main(["asbuilt", str(folder), option, str(folder / own)]) == 1
    assert "a drive is made of it" in capsys.readouterr().err
    assert all((folder / name).read_bytes() == content for name, content in before.items())


@pytest.mark.parametrize(
    "bodies",
    [
        # a metre driven with nothing but chainage
        [{"chainage_m": 0.1 * i} for i in range(11)],
        # forces only of the machine standing, no pressure, one lost chainage far off
        [
            *({"chainage_m": 0.05 * i, "spot_right_mm": 1.0, "jacking_force_kn": 300.0,
               "advance_mm_per_min": 0.0} for i in range(70)),
            {"chainage_m": 69.0},
            {"chainage_m": 3.5, "cylinder_mm": [None, 20.0, None, None]},
        ],
    ],
    ids=["chainage-only", "sparse"],
)  # fmt: skip
def test_every_output_of_drives_with_hardly_anything(
    curved: Any, tmp_path: Path, bodies: list[dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    from steer.log import Log

    (tmp_path / "d").mkdir()
    shutil.copy(curved.folder / "drive.toml", tmp_path / "d")
    with Log.open(tmp_path / "d", write=True) as log:
        log.append_many([("reading", body) for body in bodies])
        log.append("check_shot", {"chainage_m": 0.8, "point": "face", "line_mm": 3.0, "sd_mm": 2.0})
        log.append("check_shot", {"chainage_m": 0.6, "point": "pipe", "level_mm": -3.0, "sd_mm": 2.0})
    names = {
        "--csv": "a.csv",
        "--xlsx": "a.xlsx",
        "--dxf": "a.dxf",
        "--landxml": "a.xml",
        "--report": "a.pdf",
    }
    asked = [word for option, name in names.items() for word in (option, str(tmp_path / name))]
    assert main(["asbuilt", str(tmp_path / "d"), *asked]) == 0
    assert main(["asbuilt", str(tmp_path / "d"), "--json"]) == 0
    text = capsys.readouterr().out
    assert "nan" not in text.lower()
    assert all((tmp_path / name).stat().st_size > 500 for name in names.values())
