"""A drive out to one file and back, equal to the last bit; and files from anywhere refused."""

import base64
import gzip
import hashlib
import json
import sqlite3
import subprocess
import sys

import pytest

from steer.cli.main import main
from steer.errors import InputRefused
from steer.intake.stored import import_checked
from steer.log import LOG_NAME, Log


def rows_of(folder):
    db = sqlite3.connect(folder / LOG_NAME)
    found = db.execute("SELECT * FROM events").fetchall(), db.execute("SELECT * FROM about").fetchall()
    db.close()
    return found


@pytest.fixture
def exported(folder, tmp_path):
    target = tmp_path / "drive.jsonl.gz"
    assert main(["export", str(folder), str(target)]) == 0
    return target


@pytest.fixture
def lines(exported):
    """The lines of the export, and a function that writes others."""
    found = gzip.decompress(exported.read_bytes()).decode().splitlines()

    def write(*texts):
        exported.write_bytes(gzip.compress("".join(text + "\n" for text in texts).encode()))

    return found, write


def test_there_and_back_to_the_last_bit(folder, exported, tmp_path):
    assert main(["import", str(exported), str(tmp_path / "copy")]) == 0
    events, about = rows_of(folder)
    copied, copied_about = rows_of(tmp_path / "copy")
    assert copied == events
    assert dict(copied_about)["origin"] == dict(about)["origin"]
    assert (tmp_path / "copy" / "drive.toml").read_bytes() == (folder / "drive.toml").read_bytes()
    assert main(["export", str(tmp_path / "copy"), str(tmp_path / "again.gz")]) == 0
    assert (tmp_path / "again.gz").read_bytes() == exported.read_bytes()
    assert main(["verify", str(tmp_path / "copy")]) == 0
    with Log.open(tmp_path / "copy", write=True) as log:  # and the chain goes on
        log.append("note", {})
    assert main(["verify", str(tmp_path / "copy")]) == 0


def test_the_format_is_what_its_documentation_says(folder, lines):
    """Read here with nothing of ours: RFC 1952 by gzip, RFC 8259 by json, the chain by hashlib."""
    first, file, *events = (json.loads(line) for line in lines[0])
    assert (first["format"], first["version"], first["events"]) == ("drive export", 1, 22)
    assert base64.b64decode(file["base64"]) == (folder / "drive.toml").read_bytes()
    digest = bytes.fromhex(first["origin"])
    for number, event in enumerate(events, 1):
        body = json.dumps(event["body"], sort_keys=True, separators=(",", ":"))
        text = f"{number}\n{event['arrived']}\n{event['program']}\n{event['kind']}\n{body}"
        digest = hashlib.sha256(digest + text.encode()).digest()
        assert event["hash"] == digest.hex()
    assert first["head"] == digest.hex()


def test_an_alignment_beside_the_drive_file_comes_along(folder, tmp_path):
    axis = (folder / "drive.toml").read_text()
    start, end = axis.index("start = {"), axis.index("# or, instead of start")
    text = axis[:start] + 'landxml = "axes/axis.xml"\nalignment = "A"\n' + axis[end:]
    (folder / "drive.toml").write_text(text)
    (folder / "axes").mkdir()
    (folder / "axes" / "axis.xml").write_text(
        '<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">'
        '<Units><Metric linearUnit="meter" angularUnit="decimal degrees"/></Units>'
        '<Alignments><Alignment name="A" length="100" staStart="0"><CoordGeom>'
        '<Line length="100"><Start>1000 1000</Start><End>1000 1100</End></Line></CoordGeom>'
        '<Profile><ProfAlign name="P"><PVI>0 50</PVI><PVI>100 50.4</PVI></ProfAlign></Profile>'
        "</Alignment></Alignments></LandXML>"
    )
    assert main(["export", str(folder), str(tmp_path / "e.gz")]) == 0
    assert main(["import", str(tmp_path / "e.gz"), str(tmp_path / "copy")]) == 0
    copied = tmp_path / "copy" / "axes" / "axis.xml"
    assert copied.read_bytes() == (folder / "axes" / "axis.xml").read_bytes()


def test_an_export_while_the_log_is_written_holds_whole_events(folder, tmp_path):
    with Log.open(folder, write=True) as log:
        log.append("note", {"n": 1})
        assert main(["export", str(folder), str(tmp_path / "e.gz")]) == 0
        log.append("note", {"n": 2})
    assert main(["import", str(tmp_path / "e.gz"), str(tmp_path / "copy")]) == 0
    assert len(rows_of(tmp_path / "copy")[0]) == 23


def test_a_drive_without_events(tmp_path, folder):
    (folder / LOG_NAME).unlink()
    assert main(["export", str(folder), str(tmp_path / "e.gz")]) == 0
    assert main(["import", str(tmp_path / "e.gz"), str(tmp_path / "copy")]) == 0
    assert [p.name for p in (tmp_path / "copy").iterdir()] == ["drive.toml"]


def test_nothing_is_overwritten(folder, exported, tmp_path, capsys):
    before = exported.read_bytes()
    assert main(["export", str(folder), str(exported)]) == 1
    assert "exists already" in capsys.readouterr().err
    assert exported.read_bytes() == before
    assert main(["import", str(exported), str(folder)]) == 3
    assert "not an empty folder" in capsys.readouterr().err
    (tmp_path / "empty").mkdir()
    assert main(["import", str(exported), str(tmp_path / "empty")]) == 0


def test_onto_a_full_disk(folder, tmp_path):
    target = tmp_path / "e.gz"
    script = (
        "import resource, sys; from steer.cli.main import main\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500))\n"  # stands for the disk
        f"sys.exit(main(['export', {str(folder)!r}, {str(target)!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == 3
    assert done.stderr.startswith(f"steer: {target}: cannot be written: ")
    assert [p.name for p in tmp_path.iterdir()] == ["drive"]


def test_a_log_that_was_meddled_with_is_not_carried_on(folder, tmp_path, capsys):
    db = sqlite3.connect(folder / LOG_NAME)
    db.execute("DROP TRIGGER events_no_update")
    db.execute("UPDATE events SET arrived = 'x' WHERE sequence = 4")
    db.commit()
    assert main(["export", str(folder), str(tmp_path / "e.gz")]) == 3
    assert "event 4 " in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["drive"]


def refused(exported, tmp_path, capsys, part):
    before = sorted(tmp_path.iterdir())
    assert main(["import", str(exported), str(tmp_path / "copy")]) == 1
    message = capsys.readouterr().err
    assert "drive.jsonl.gz" in message
    assert part in message
    assert sorted(tmp_path.iterdir()) == before  # nothing is left, nothing got out of the folder


def changed(line, **members):
    return json.dumps({**json.loads(line), **members})


def body(texts, found):
    return [*texts[:5], changed(texts[5], body=found), *texts[6:]]


CHANGES = {
    "a body": (lambda t: [*t[:5], t[5].replace("36.5", "36.6"), *t[6:]], "line 6: event 4 is not as it was"),
    "a time": (lambda t: [*t[:5], changed(t[5], arrived="2020"), *t[6:]], "line 6: event 4 is not as it was"),
    "one left out": (lambda t: [*t[:5], *t[6:]], "line 6: event 4 is not as it was"),
    "two changed over": (lambda t: [*t[:5], t[6], t[5], *t[7:]], "line 6: event 4 is not as it was"),
    "the last left out": (lambda t: t[:-1], "ends after 21 of 22 events"),
    "one more": (lambda t: [*t, t[-1]], "line 25: event 23 is not as it was"),
    "other format": (lambda t: ["{}", *t[1:]], "not the first line of a drive export"),
    "newer version": (lambda t: [changed(t[0], version=2), *t[1:]], "version 2 is not known"),
    "no count": (lambda t: [changed(t[0], events=True), *t[1:]], "events: true is not allowed"),
    "no origin": (lambda t: [changed(t[0], origin="xyz"), *t[1:]], "64 hexadecimal digits"),
    "no drive file": (lambda t: [t[0], *t[2:]], "drive.toml"),
    "one file more": (lambda t: [*t[:2], changed(t[1], file="more.toml"), *t[2:]], "not part of the drive"),
    "wrong drive file": (lambda t: [t[0], changed(t[1], base64="YQ=="), *t[2:]], "drive.toml: "),
    "no base64": (lambda t: [t[0], changed(t[1], base64="a?"), *t[2:]], "line 2: base64"),
    "no JSON": (lambda t: [*t[:5], "{", *t[6:]], "line 6: is not a JSON object"),
    "an array": (lambda t: [*t[:5], "[]", *t[6:]], "line 6: is not a JSON object"),
    "nested": (lambda t: [*t[:5], "[" * 200_000, *t[6:]], "line 6: is not a JSON object"),
    "long line": (lambda t: [*t[:5], " " * 2_000_000, *t[6:]], "line 6: is longer than"),
    "member more": (lambda t: [*t[:5], changed(t[5], x=1), *t[6:]], "line 6: is not an event"),
    "body no object": (lambda t: [*t[:5], changed(t[5], body=[1]), *t[6:]], "line 6: body"),
    "NaN": (lambda t: [*t[:5], t[5].replace("36.5", "NaN"), *t[6:]], "line 6: "),
    "text for a number": (lambda t: body(t, {"chainage_m": "1"}), 'chainage_m: "1"'),
    "unknown member": (lambda t: body(t, {"chainage_m": 1.0, "x": 1}), '"x" is not'),
    "no chainage": (lambda t: body(t, {"roll_deg": 1.0}), "chainage_m: missing"),
    "other kind": (lambda t: [*t[:5], changed(t[5], kind="A B"), *t[6:]], "line 6: kind"),
}  # fmt: skip


@pytest.mark.parametrize("case", CHANGES)
def test_what_was_changed_is_refused_whole(exported, lines, tmp_path, capsys, case):
    change, part = CHANGES[case]
    texts, write = lines
    write(*change(texts))
    refused(exported, tmp_path, capsys, part)


@pytest.mark.parametrize(
    "name",
    [
        "../drive.toml", "/etc/steer-test", "a/../../drive.toml", "..", ".", "", "a/", "./drive.toml", "a//b",
        "..\\drive.toml", "C:drive.toml", "drive.db", "drive.db-wal", "DRIVE.DB", "feed.lock",
        "a\x00b", "a\nb", "drive.toml/x", " ", "a/ ", "x" * 300, None, 7, ["drive.toml"],
    ],
)  # fmt: skip
def test_no_name_gets_out_of_the_folder(exported, lines, tmp_path, capsys, name):
    texts, write = lines
    write(texts[0], texts[1], changed(texts[1], file=name), *texts[2:])
    refused(exported, tmp_path, capsys, "line 3: file ")


@pytest.mark.parametrize("cut", [0, 1, 10, 200, -1, -9])
def test_a_file_cut_off(exported, tmp_path, capsys, cut):
    content = exported.read_bytes()
    exported.write_bytes(content[:cut])
    refused(exported, tmp_path, capsys, "drive.jsonl.gz")


def test_no_gzip_and_a_bomb(exported, tmp_path, capsys):
    with gzip.open(exported) as packed:
        first = packed.readline()
    exported.write_bytes(b"PK\x03\x04" + bytes(100))
    refused(exported, tmp_path, capsys, "gzip")
    exported.write_bytes(gzip.compress(bytes(60_000_000), 1))
    refused(exported, tmp_path, capsys, "line 1: is longer than")
    piece = b'{"file": "drive.toml", "base64": "' + b"QUJD" * 50_000 + b'"}\n'
    exported.write_bytes(gzip.compress(first + piece * 100, 1))
    refused(exported, tmp_path, capsys, "unpacks to far more")
    exported.unlink()
    exported.mkdir()
    refused(exported, tmp_path, capsys, "cannot be read")


def test_a_bit_turned_anywhere_is_found(exported, tmp_path):
    content = bytearray(exported.read_bytes())
    for at in range(0, len(content), max(1, len(content) // 60)):
        if 3 <= at < 10:  # flags, time and system in gzip's own header say nothing of the content
            continue
        content[at] ^= 0x10
        exported.write_bytes(content)
        with pytest.raises(InputRefused):
            import_checked(exported, tmp_path / "copy")
        content[at] ^= 0x10
    assert not (tmp_path / "copy").exists()
