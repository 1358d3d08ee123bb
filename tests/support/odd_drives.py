"""Odd drives for the fuzzer: logs of mutated events, and every command on mutated files."""

from __future__ import annotations

import contextlib
import io
import json
import math
import shutil
import unicodedata
from pathlib import Path

from steer.cli.main import COMMANDS, main
from steer.cli.replay_source import ReplaySource
from steer.cli.screen_source import ScreenSource
from steer.drive import Drive
from steer.errors import InputRefused, SteerError
from steer.log import LOG_NAME, Log
from steer.practice import Session
from steer.replay import Reel

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


# What has no terminal to show itself on, and what starts other processes: `open`, `replay` and `practice` are
# also driven behind their screens, in `look`.
UNTRIED = {"study", "demo"}


def run_command(words: list[str]) -> tuple[int, str]:
    """Run one command: its exit code and output. What it says when it refuses is plain text, and not nothing."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(words)
    said = err.getvalue()
    assert code in (0, 1, 2, 3), (words, code)
    assert said.strip() or code == 0, words
    assert "Traceback" not in said
    hidden = [c for c in (said + out.getvalue()) if unicodedata.category(c)[0] == "C" and c not in "\n\r\t"]
    assert not hidden, (words, said, hidden)
    if "--json" in words and code == 0:
        json.loads(out.getvalue(), parse_constant=lambda name: _no(words, name))
    return code, said


def _no(words: list[str], name: str) -> None:
    raise AssertionError(f"{words} printed {name}")


def _events(content: bytes) -> list[tuple[str, dict]]:
    events = []
    for line in content.decode("utf-8", "replace").splitlines():
        with contextlib.suppress(ValueError, RecursionError, TypeError, KeyError):
            found = json.loads(line)
            events.append((str(found["kind"]), dict(found["body"])))
    return events


def _fill(folder: Path, content: bytes) -> None:
    """A log of these events past every check, as a hand-made one would hold them."""
    for old in folder.glob(f"{LOG_NAME}*"):
        old.unlink()
    with Log.open(folder, write=True, sync="stroke") as log:
        for kind, body in _events(content):
            with contextlib.suppress(InputRefused):  # what cannot be in any log
                log.append(kind, body)


def look(folder: Path) -> None:
    """What the screens of a drive ask for, and what people do there."""
    source = ScreenSource(Drive.open(folder, write=True))
    try:
        drive = source.drive
        snapshot = source.snapshot()
        drive.shot_report()
        if snapshot.advice is not None:
            seen = snapshot.advice.estimate
            figures = [seen.line_mm, seen.level_mm, seen.yaw_mm_per_m, seen.pitch_mm_per_m, seen.line_sd_mm]
            assert all(map(math.isfinite, figures)), figures
            with contextlib.suppress(InputRefused):  # what a person sees in the footer
                drive.accept()
        with contextlib.suppress(InputRefused):
            source.undo_last()
        with contextlib.suppress(InputRefused):
            source.override(0.5, -0.5)
        source.refresh()
        source.snapshot()
        source.asbuilt()
    finally:
        source.close()


def take_events(folder: Path, content: bytes) -> None:
    """Look at the drive that these events make, now and stroke by stroke."""
    _fill(folder, content)
    with Drive.open(folder) as drive:
        drive.snapshot()
        drive.shot_report()
    reel = ReplaySource(Reel.open(folder))
    reel.snapshot()
    reel.wind(1)
    reel.snapshot()
    look(folder)


def practice_seed(folder: Path) -> bytes:
    """The events of a practice drive of three strokes, made at `folder`."""
    with Session.begin(folder, "dense sand", 1) as session:
        for _ in range(3):
            session.drive.accept()
            session.jack()
    with Log.open(folder) as log:
        kept = [{"kind": e.kind, "body": e.body} for e in log.events()]
    few = [e for k, e in enumerate(kept) if e["kind"] != "reading" or k % 5 == 0]
    return "\n".join(map(json.dumps, few)).encode()


def take_practice(seed: Path, folder: Path, content: bytes) -> None:
    """Go on with a practice drive whose log is this, and see it again."""
    work = _empty(folder / "practice")
    shutil.copyfile(seed / "drive.toml", work / "drive.toml")
    _fill(work, content)
    _refused_if(
        run_command(words)
        for words in (
            ["replay", str(work), "--text"],
            ["replay", str(work), "--what-if", "--from", "1", "--set", "steering.firmness=gentle"],
            ["practice", "--resume", "--folder", str(work), "--debrief"],
            ["practice", "--resume", "--folder", str(work), "--auto", "--strokes", "1"],
        )
    )


def _empty(folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    return folder


def _refused_if(results: object) -> None:
    found = list(results)
    if any(code for code, _ in found):
        raise SteerError("; ".join(said for code, said in found if code))


def take_survey(folder: Path, observations: bytes, control: bytes) -> None:
    """`steer reduce`, and the same into a drive's log."""
    (folder / "observations.csv").write_bytes(observations)
    (folder / "control.csv").write_bytes(control)
    files = [str(folder / "observations.csv"), "--control", str(folder / "control.csv")]
    with Log.open(folder) as log:
        before = log.last_sequence()
    found = run_command(["reduce", *files, "--json"])
    stored = run_command(["shots", str(folder), *files, "--shot", "P=pipe"])
    with Log.open(folder) as log:
        assert stored[0] == 0 or log.last_sequence() == before, "a refused survey was stored in part"
    _refused_if([found])


def commands_on(work: Path) -> list[list[str]]:
    """Every command on a drive's folder in which r.csv, s.csv, o.csv and c.csv lie."""
    folder = str(work)
    return [
        ["check", folder],
        ["open", folder],
        ["replay", folder],
        ["practice", "soft clay", "--like", folder, "--folder", f"{folder}-p", "--seed", "1", "--auto", "--strokes", "1"],
        ["read", folder, f"{folder}/r.csv"],
        ["shots", folder, f"{folder}/s.csv"],
        ["reduce", f"{folder}/o.csv", "--control", f"{folder}/c.csv", "--json"],
        ["next", folder, "--json"],
        ["axis", folder, "--every", "50", "--locate", "1000,1000,50", "--json"],
        ["asbuilt", folder, "--json", "--csv", f"{folder}/a.csv"],
        ["counter", folder, "--add", "0.1"],
        ["replay", folder, "--text"],
        ["export", folder, f"{folder}/export.gz"],
        ["import", f"{folder}/export.gz", f"{folder}-i"],
        ["new", f"{folder}-n"],
        ["verify", folder],
    ]  # fmt: skip


def take_command(folder: Path, content: bytes) -> None:
    """Every command that takes a drive's folder, on this drive.toml; one that refuses says so in plain words."""
    for old in folder.glob("work*"):
        shutil.rmtree(old)
    work = _empty(folder / "work")
    (work / "drive.toml").write_bytes(content)
    (work / "r.csv").write_text("chainage_m,spot_right_mm,cylinder_1_mm\n0.5,1,36\n0.6,1,36\n")
    (work / "s.csv").write_text("chainage_m,point,line_mm,level_mm,sd_mm\n0.5,face,1,1,2\n")
    (work / "o.csv").write_text("station,set,target,direction_deg,distance_m\nA,1,B,0,\nA,1,P,10,50\n")
    (work / "c.csv").write_text("point,easting_m,northing_m,level_m\nA,0,0,\nB,0,100,\n")
    results = []
    for words in commands_on(work):
        results.append(run_command(words))
        if words[0] == "check" and results[-1][0] == 3:
            break  # the others load the same file
    else:
        with contextlib.suppress(SteerError):
            look(work)
        assert {words[0] for words in commands_on(work)} | UNTRIED | {"feed"} == set(COMMANDS)
    _refused_if(r for r in results if r[0] not in (0, 2))
