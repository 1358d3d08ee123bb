"""A mutation fuzzer over every format that comes from outside: what it makes, where it goes, what must hold.

`FORMATS` maps a name to (seeds, take). `take(folder, content)` hands the content to the product; it may
raise SteerError, nothing else.
"""

from __future__ import annotations

import gzip
import random
import unicodedata
from collections.abc import Callable
from functools import partial
from pathlib import Path

import odd_drives

from steer.axis import axis_from_landxml
from steer.drivefile import TEMPLATE, load_drive
from steer.errors import SteerError
from steer.intake import (
    check_shot_from_json,
    object_from_line,
    reading_from_json,
    reference_set_from_json,
    store_readings,
    store_shots,
    stroke_end_from_json,
)
from steer.intake.stored import drive_files, import_checked
from steer.log import Log
from steer.log.export import export_drive
from steer.study import Ranges, load_ranges, ranges_text

READINGS = b"""time,chainage_m,spot_right_mm,spot_up_mm,yaw_mm_per_m,roll_deg,cylinder_1_mm,note
2026-03-01T14:05:00Z,0.05,1.5,-2.25,0.3,-0.5,36,"a, note"
2026-03-01T15:05:00+01:00,0.10,,,0.31,-0.5,37,
,0.15,1.25,-2,,,,x
"""
READINGS_COMMA = b"chainage_m;spot_right_mm;roll_deg\r\n1,25;2,5;-0,5\r\n1,30;;1\r\n"
READINGS_JSON = b"""{"kind": "reading", "chainage_m": 1.5, "cylinder_mm": [36, null, 36.5, 37]}
{"chainage_m": 1.55, "time": "2026-03-01T14:05:00Z", "spot_up_mm": -1e-3, "note": "a\\u00f1"}
"""
SHOTS = b"""chainage_m,point,line_mm,level_mm,easting_m,northing_m,level_m,sd_mm,sd_line_mm,sd_level_mm
12,face,3,-4,,,,2,,
12,tail,,,1008,1000.01,50.05,,2,3
,pipe,,,1005,1000,50.02,2,,
"""
SHOTS_JSON = b'{"kind": "check_shot", "chainage_m": 3, "point": "face", "line_mm": 1, "sd_line_mm": 2}\n'
MAP = b"""chainage_m = "Station"
spot_right_mm = { column = "X [m]", factor = -1000.0, offset = 2 }
"""
MAPPED = b"Station,X [m],Y\n1.5,0.002,3\n"
FEED = b"""{"kind": "reading", "chainage_m": 12.0, "spot_right_mm": 1.5, "cylinder_mm": [36, 37, 36, 35]}
{"kind": "check_shot", "chainage_m": 12, "point": "target", "line_mm": 3, "level_mm": -2, "sd_mm": 2}
{"kind": "stroke_end", "chainage_m": 12.0}
{"kind": "reference_set", "chainage_m": 5, "right_mm": 0, "up_mm": 350, "right_mm_per_m": 0, "up_mm_per_m": 4}
"""
CONTROL = b"point,easting_m,northing_m,level_m,sd_mm\nA,0,0,10,0\nB,100,0,10,0\n"
OBSERVATIONS = b"""station,set,target,direction_deg,zenith_deg,slope_m,instrument_height_m,target_height_m
A,1,B,90.0000,90.0,100.000,0,0
A,1,P,45.0000,90.0,70.711,0,0
B,1,A,270.0000,,,,
B,1,P,315.0000,90.0,70.711,0,0
"""
LANDXML = b"""<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><Metric linearUnit="meter" angularUnit="decimal degrees"/></Units><Alignments>
<Alignment name="A" length="100" staStart="0"><CoordGeom>
<Line length="60"><Start>1000 1000</Start><End>1000 1060</End></Line>
<Line length="40"><Start>1000 1060</Start><End>1000 1100</End></Line></CoordGeom>
<Profile><ProfAlign name="P"><PVI>0 50</PVI><ParaCurve length="20">50 50.2</ParaCurve><PVI>100 50.1</PVI>
</ProfAlign></Profile></Alignment></Alignments></LandXML>
"""

TOKENS = [
    b"NaN", b"inf", b"-Infinity", b"1e999", b"-1e308", b"1e-400", b"-0", b"0", b"9,99", b"1,234",
    b"9" * 400, b"1_0", b"null", b"true", b"[]", b"{}", b'"', b"'", b",", b";", b"\t", b"\n", b"\r",
    b"\r\n", b"\x00", b"\x1b[2J", b"\xef\xbb\xbf", b"\xff\xfe", b"\xe2\x80\xae", b"\xf6", b"\\ud800",
    b"[" * 60, b"{" * 2000, b"=cmd|'x'!A0", b"../../x", b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"&b;",
    b"# ", b" ", b"inf\xc3\xb1", b"2026-02-30T99:99:99Z", b"chainage_m", b"kind", b"-", b"+", b"e",
    b".",
]  # fmt: skip


def mutate(rng: random.Random, content: bytes) -> bytes:
    """The content with one to six random changes."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        content = _change(rng, content)
    return content[:2_000_000]


def _change(rng: random.Random, content: bytes) -> bytes:
    at = rng.randrange(len(content) + 1)
    end = min(len(content), at + rng.choice((1, 1, 2, 5, 20, 200)))
    before, piece, after = content[:at], content[at:end], content[end:]
    match rng.randrange(9):
        case 0:
            return before + bytes([rng.randrange(256)]) + after
        case 1:
            return before + after
        case 2:
            return before + rng.choice(TOKENS) + piece + after
        case 3:
            return before + rng.choice(TOKENS) + after
        case 4:
            elsewhere = rng.randrange(len(content) + 1)
            return content[:elsewhere] + piece + content[elsewhere:]
        case 5:
            return before + piece * rng.choice((2, 3, 200)) + after
        case 6:
            return before
        case 7:
            return _another_number(rng, content)
        case _:
            return _another_line(rng, content)


def _another_number(rng: random.Random, content: bytes) -> bytes:
    places = [k for k, c in enumerate(content) if 48 <= c < 58]
    if not places:
        return content
    at = rng.choice(places)
    end = at
    while end < len(content) and (48 <= content[end] < 58 or content[end] == 46):
        end += 1
    number = rng.choice(
        (b"0", b"-1", b"1e9", b"1e-9", b"99999", b"nan", b"0.0000001", b"-1e300", b"3.14159", b"")
    )
    return content[:at] + number + content[end:]


def _another_line(rng: random.Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    at = rng.randrange(len(lines))
    return b"\n".join(
        rng.choice((lines[:at] + lines[at + 1 :], [*lines, lines[at]], lines[at:] + lines[:at]))
    )


# -- where it goes ---------------------------------------------------------------------------------


def new_folder(folder: Path) -> Path:
    """A drive with one event."""
    folder.mkdir(parents=True)
    (folder / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    with Log.open(folder, write=True) as log:
        log.append("note", {"text": "first"})
    return folder


def _stored(store: Callable[..., object], *, with_map: bytes | None = None) -> Callable[[Path, bytes], None]:
    def take(folder: Path, content: bytes) -> None:
        path = folder / "input"
        path.write_bytes(content if with_map is None else MAPPED)
        map_path = None
        if with_map is not None:
            map_path = folder / "map.toml"
            map_path.write_bytes(content)
        with Log.open(folder) as log:
            before = log.last_sequence()
            try:
                store(folder, [path], map_path)
            except SteerError:
                assert log.last_sequence() == before, "a refused input was stored in part"
                raise
            assert [e.kind for e in log.events(before)] != ["file"], "a file without rows was stored"

    return take


def _drive_file(folder: Path, content: bytes) -> None:
    (folder / "toml").mkdir(exist_ok=True)
    (folder / "toml" / "drive.toml").write_bytes(content)
    load_drive(folder / "toml")


def _landxml(folder: Path, content: bytes) -> None:
    (folder / "axis.xml").write_bytes(content)
    axis_from_landxml(folder / "axis.xml").at(50.0)


def _feed(folder: Path, content: bytes) -> None:
    drive = load_drive(folder)
    checks = {
        "reading": reading_from_json,
        "check_shot": check_shot_from_json,
        "reference_set": reference_set_from_json,
        "stroke_end": stroke_end_from_json,
    }
    refused = None
    for line in content.decode("utf-8", "replace").splitlines():
        try:
            found = object_from_line(line)
            for kind, check in checks.items():
                if found.get("kind") == kind:
                    check(found, drive)
        except SteerError as error:
            refused = error
    if refused:
        raise refused


def _survey(observations: bool) -> Callable[[Path, bytes], None]:
    def take(folder: Path, content: bytes) -> None:
        odd_drives.take_survey(
            folder, content if observations else OBSERVATIONS, CONTROL if observations else content
        )

    return take


def _ranges(folder: Path, content: bytes) -> None:
    (folder / "ranges.toml").write_bytes(content)
    load_ranges(folder / "ranges.toml")


def _import(folder: Path, content: bytes) -> None:
    path, target = folder / "export.gz", folder / "imported"
    path.write_bytes(content)
    before = {p.name for p in folder.iterdir()}
    try:
        import_checked(path, target)
    finally:
        made = {p.name for p in folder.iterdir()} - before - {"imported"}
        assert not made, f"an import left {made}"
        for file in target.glob("*"):
            file.unlink()
        if target.exists():
            target.rmdir()


def _import_unpacked(folder: Path, content: bytes) -> None:
    _import(folder, gzip.compress(content, 1))


def export_seed(folder: Path) -> bytes:
    """The export of a small drive."""
    with Log.open(folder, write=True) as log:
        log.append_many([("reading", {"chainage_m": 1.0, "cylinder_mm": [36.0, None, 36.0, 36.0]})] * 3)
    export_drive(folder, drive_files(load_drive(folder)), folder / "seed.gz")
    return (folder / "seed.gz").read_bytes()


def formats(folder: Path) -> dict[str, tuple[list[bytes], Callable[[Path, bytes], None]]]:
    """Every format: seeds, and where mutants of them go. `folder` is a drive from `new_folder`."""
    export = export_seed(folder)
    practice = folder / "practice seed"
    events = odd_drives.practice_seed(practice)
    return {
        "drive.toml": ([TEMPLATE.encode()], _drive_file),
        "readings": ([READINGS, READINGS_COMMA, READINGS_JSON], _stored(store_readings)),
        "map": ([MAP], _stored(store_readings, with_map=MAP)),
        "shots": ([SHOTS, SHOTS_JSON], _stored(store_shots)),
        "feed": ([FEED], _feed),
        "observations": ([OBSERVATIONS], _survey(True)),
        "control": ([CONTROL], _survey(False)),
        "LandXML": ([LANDXML], _landxml),
        "events of a log": ([odd_drives.EVENTS], odd_drives.take_events),
        "a practice drive": ([events], partial(odd_drives.take_practice, practice)),
        "ranges of a study": ([ranges_text(Ranges()).encode()], _ranges),
        # a short axis, since `check` rehearses the surveys of a whole drive
        "every command": ([TEMPLATE.replace("= 100.0", "= 20.0").encode()], odd_drives.take_command),
        "export": ([export], _import),
        "export, unpacked": ([gzip.decompress(export)], _import_unpacked),
    }


def one_case(
    folder: Path, name: str, seeds: list[bytes], take: Callable[[Path, bytes], None], seed: int
) -> str:
    """Run one mutant; "taken" or "refused". Anything else that goes wrong is raised with the mutant in it."""
    rng = random.Random(f"{name} {seed}")
    content = mutate(rng, rng.choice(seeds))
    try:
        take(folder, content)
    except SteerError as error:
        hidden = [c for c in str(error).replace("\n", "") if unicodedata.category(c)[0] == "C"]
        assert str(error).strip(), f"{name} {seed}: refused without a word: {content[:300]!r}"
        assert not hidden, f"{name} {seed}: hidden characters {hidden!r} in a message: {content[:300]!r}"
        assert len(str(error)) < 20_000, f"{name} {seed}: a message of {len(str(error))} characters"
        return "refused"
    except Exception as error:
        raise AssertionError(f"{name} {seed}: {error!r} for {content[:3000]!r}") from error
    return "taken"
