"""Odd drives for the fuzzer: logs of mutated events, and every command on a mutated drive file."""

from __future__ import annotations

import contextlib
import io
import json
import math
import shutil
import unicodedata
from pathlib import Path

from steer.cli.main import main
from steer.drive import Drive
from steer.errors import InputRefused, SteerError
from steer.log import LOG_NAME, Log

_TOLD = '"stroke": 1, "chainage_m": 1.0, "right_mm_per_m": 0.5, "up_mm_per_m": -0.5, "cylinder_mm": [36, 37, 36, 35]'
EVENTS = "\n".join(
    [
        '{"kind": "reading", "body": {"chainage_m": 0.4, "time": "2026-03-01T14:05:00Z", "spot_right_mm": 1.5, '
        '"spot_up_mm": -2, "yaw_mm_per_m": 0.3, "pitch_mm_per_m": 4, "roll_deg": 0.5, "cylinder_mm": [36, null, 36, 35]}}',
        '{"kind": "file", "body": {"name": "a", "sha256": "' + "0" * 64 + '", "bytes": 5, "rows": 1}}',
        '{"kind": "reading", "body": {"chainage_m": 0.9, "target_line_mm": 1.5, "jacking_force_kn": 900, "note": "x"}}',
        '{"kind": "check_shot", "body": {"chainage_m": 0.9, "point": "face", "line_mm": 1, "sd_mm": 2, "asks": true}}',
        '{"kind": "check_shot", "body": {"point": "pipe", "easting_m": 1000.3, "northing_m": 1000, "level_m": 50, '
        '"covariance_mm2": [[4, 1], [1, 4]]}}',
        '{"kind": "stroke_end", "body": {"chainage_m": 1.0}}',
        '{"kind": "advised", "body": {' + _TOLD + ', "hold": false}}',
        '{"kind": "accepted", "body": {' + _TOLD + "}}",
        '{"kind": "overridden", "body": {' + _TOLD + "}}",
        '{"kind": "undone", "body": {"event": 9}}',
        '{"kind": "shot_accepted", "body": {"shot": 4}}',
        '{"kind": "withdrawn", "body": {"shot": 4}}',
        '{"kind": "restored", "body": {"shot": 4}}',
        '{"kind": "chainage_set", "body": {"add_m": 0.25, "from_sequence": 3}}',
        '{"kind": "note", "body": {"chainage_m": 1.0, "text": "a note"}}',
        '{"kind": "reference_set", "body": {"chainage_m": 0.5, "right_mm": 1, "up_mm": 350, "up_mm_per_m": 4}}',
        '{"kind": "drive_file", "body": {"sha256": "' + "0" * 64 + '", "text": "x"}}',
        '{"kind": "reading", "body": {"chainage_m": 1.2, "spot_right_mm": 2}}',
        "",
    ]
).encode()


def take_events(folder: Path, content: bytes) -> None:
    """Put them into a log past every check, as a hand-made log would hold them, and look at the drive."""
    for old in folder.glob(f"{LOG_NAME}*"):
        old.unlink()
    events = []
    for line in content.decode("utf-8", "replace").splitlines():
        with contextlib.suppress(ValueError, RecursionError, TypeError, KeyError):
            found = json.loads(line)
            events.append((str(found["kind"]), dict(found["body"])))
    with Log.open(folder, write=True) as log:
        for kind, body in events:
            with contextlib.suppress(InputRefused):  # what cannot be in any log
                log.append(kind, body)
    with Drive.open(folder) as drive:
        snapshot = drive.snapshot()
        drive.shot_report()
        if snapshot.advice is not None:
            seen = snapshot.advice.estimate
            figures = [seen.line_mm, seen.level_mm, seen.yaw_mm_per_m, seen.pitch_mm_per_m, seen.line_sd_mm]
            assert all(map(math.isfinite, figures)), figures


def take_command(folder: Path, content: bytes) -> None:
    """Every command that takes a drive's folder, on this drive.toml; one that refuses says so in plain words."""
    work = folder / "work"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    (work / "drive.toml").write_bytes(content)
    (work / "r.csv").write_text("chainage_m,spot_right_mm,cylinder_1_mm\n0.5,1,36\n0.6,1,36\n")
    (work / "s.csv").write_text("chainage_m,point,line_mm,level_mm,sd_mm\n0.5,face,1,1,2\n")
    codes = set()
    for command in (
        ["check", str(work)],
        ["read", str(work), str(work / "r.csv")],
        ["shots", str(work), str(work / "s.csv")],
        ["next", str(work), "--json"],
        ["axis", str(work), "--every", "50"],
        ["asbuilt", str(work), "--json"],
        ["counter", str(work), "--add", "0.1"],
        ["export", str(work), str(work / "export.gz")],
        ["verify", str(work)],
    ):
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main(command)
        codes.add(code)
        said = err.getvalue()
        assert code in (0, 1, 2, 3), (command, code)
        assert bool(said.strip()) == (code != 0), (command, code, said)
        assert "Traceback" not in said
        assert not any(unicodedata.category(c)[0] == "C" for c in said.replace("\n", "")), (command, said)
        if command[0] == "check" and code == 3:
            break  # the others load the same file
    if codes != {0}:
        raise SteerError(f"refused with {codes}")
