"""`steer shots FOLDER FILE…`: check shots into the log, what they say, and a person's word on them."""

from __future__ import annotations

import argparse
import math
import textwrap
from typing import TYPE_CHECKING

from steer.cli.making import named_map

if TYPE_CHECKING:
    from steer.drivefile import DriveFile

POINTS = ("face", "target", "tail", "pipe")
EXAMPLE = """\
Check shots as points: CSV with a header, or JSON Lines; one independent survey of a point a row:
  time, chainage_m, point (face, target, tail or pipe), then line_mm and level_mm, or easting_m, northing_m and
  level_m; and sd_mm (or sd_line_mm and sd_level_mm).
chainage_m is the face's when the shot was taken; for pipe it is the surveyed point's own, and may be left out
with coordinates. A shot counts at the chainage where it was taken, however late it comes. A target's lever arm
comes from drive.toml; of another prism on the machine say prism_behind_face_m, prism_right_mm, prism_up_mm.
Roll is what the readings say of that moment, unless a column roll_deg does.

Check shots as observations: --control CONTROL.csv adjusts them as `steer reduce` does and keeps line and level's
covariance. A point is a check shot when --shot names it, or when its name begins with face, target, tail or pipe:
  steer shots FOLDER sights.csv --control brackets.csv --shot M=target@84.6

A shot that disagrees with the estimate beyond 99.9 % waits until somebody says --accept N or --reject N; --withdraw N
takes any shot back; --restore N takes back the newest of these words on one, as key u in the screens does, and the
one before it holds again. A shot of the same point and chainage that lies within 1 mm of an earlier one waits too: the
same survey given again would count twice. Without a file, the shots so far are listed.
"""


def _number(text: str) -> int:
    """Without the underscores that Python takes in a number."""
    if not text.removeprefix("-").isdigit():
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number")
    return int(text)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EXAMPLE
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("files", metavar="FILE", nargs="*", help="check shots, CSV or JSON Lines")
    parser.add_argument(
        "--map", type=named_map, metavar="MAP.toml", help="where the fields stand in files with other headers"
    )
    word = parser.add_argument_group("a person's word on shots in the log")
    for name, what in (
        ("accept", "this shot counts, whatever it says"),
        ("reject", "this shot holds a blunder and does not count"),
        ("withdraw", "this shot is taken back, as if it had never been given"),
        (
            "restore",
            "the newest word on this shot is taken back: the one before it holds again, if there is one",
        ),
    ):
        word.add_argument(f"--{name}", metavar="N", type=_number, action="append", default=[], help=what)
    survey = parser.add_argument_group("observations of a total station")
    survey.add_argument("--control", metavar="CONTROL.csv", help="the known points; FILE holds sights then")
    survey.add_argument("--shot", metavar="NAME=POINT[@M]", action="append", default=[],
                        help="this surveyed point is a check shot of POINT, the face standing at M")  # fmt: skip
    survey.add_argument("--point", choices=POINTS, help="what the survey's only new point is")
    survey.add_argument("--chainage", metavar="M", help="where the face stood, for all of them")
    survey.add_argument("--time", metavar="T", help="when they were taken, ISO 8601 (UTC)")
    survey.add_argument("--leave-out", metavar="ROW", type=_number, action="append", default=[],
                        help="leave this row of the observations out (as a suspect)")  # fmt: skip
    survey.add_argument("--despite-suspects", action="store_true",
                        help="take a survey that its own tests call in doubt, with a larger sd")  # fmt: skip
    survey.add_argument("--refraction", metavar="K", default="0.13", help="as for `steer reduce`")


_WORDS = {
    "accept": "shot_accepted",
    "reject": "shot_rejected",
    "withdraw": "withdrawn",
    "restore": "restored",
}


def run(args: argparse.Namespace) -> int:
    from steer.checkshots.report import next_line, page
    from steer.drive import Drive
    from steer.errors import CommandLineWrong

    words = [(kind, n) for name, kind in _WORDS.items() for n in getattr(args, name)]
    named = [n for _, n in words]
    if len(named) != len(set(named)):
        raise CommandLineWrong("--accept, --reject, --withdraw, --restore: one word a shot")
    if words and args.files:
        raise CommandLineWrong("give files, or a word on shots in the log, not both at once")
    if not args.files and (args.control is not None or args.map is not None):
        option = "--map" if args.control is None else "--control"
        raise CommandLineWrong(f"{option}: give the file that it belongs to, too")
    if args.control is None:
        _only_with_control(args)
    numbers: set[int] | None = None
    if words:
        numbers = set(named)
        with Drive.open(args.folder, write=True) as drive:
            drive.say_of_shots(words)
    elif args.files:
        numbers = _store(args)
    with Drive.open(args.folder) as drive:
        if numbers is None and not drive.shots():
            print("No check shot yet.")
            if (advice := drive.advice()) is not None and advice.next_survey_m is not None:
                print(next_line(advice.next_survey_m, advice.chainage_m))
        elif numbers is None or numbers:
            print(page(drive.shot_report(numbers)))
    return 0


def _only_with_control(args: argparse.Namespace) -> None:
    from steer.errors import CommandLineWrong

    given = [
        name
        for name, value in (
            ("--shot", args.shot), ("--point", args.point), ("--chainage", args.chainage), ("--time", args.time),
            ("--leave-out", args.leave_out), ("--despite-suspects", args.despite_suspects),
        )
        if value
    ]  # fmt: skip
    if given:
        raise CommandLineWrong(f"{' and '.join(given)}: only with observations and --control CONTROL.csv")


def _store(args: argparse.Namespace) -> set[int]:
    """Store the files' shots; returns their numbers. Everything is looked at before anything is stored."""
    from datetime import UTC, datetime

    from steer.checkshots.plausible import doubts, future, progress
    from steer.drivefile import load_drive
    from steer.errors import InputRefused
    from steer.intake import files as intake_files
    from steer.intake.stored import Border
    from steer.log import Log

    file = load_drive(args.folder)
    with Log.open(args.folder) as log:
        known = progress(Border(file, log.path).events(log))
        before = log.last_sequence()
    if args.control is not None:
        found = _surveyed(args, file)
    else:
        found = [body for path in args.files for body in _points(path, file, args.map)]
    late = future(found, known, datetime.now(UTC))
    if late:
        raise InputRefused(late)
    if args.control is not None:
        print(_store_surveyed(args, found, file))
    else:
        for account in intake_files.store_shots(args.folder, args.files, args.map):
            print(account.line())
    with Log.open(args.folder) as log:
        new = [e for e in log.events(after=before) if e.kind == "check_shot"]
    for remark in doubts([e.body for e in new], known):
        print(textwrap.fill(f"note: {remark}", 80, subsequent_indent="  "))
    return {e.sequence for e in new}


def _points(path: str, file: DriveFile, map_path: str | None) -> list[dict[str, object]]:
    """The bodies of a file of points; one of sights is told from it."""
    from steer.errors import InputRefused
    from steer.intake.files import read_shots
    from steer.survey.files import holds_sights

    try:
        return read_shots(path, file, map_path)[1]
    except InputRefused:
        if map_path is None and holds_sights(path):
            raise InputRefused(
                f"{path}: holds sights of a total station, not points: give its control, too, with --control "
                "CONTROL.csv"
            ) from None
        raise


def _surveyed(args: argparse.Namespace, file: object) -> list[dict[str, object]]:
    """Adjust the observations and make bodies of the points that are check shots."""
    from pathlib import Path

    from steer.checkshots import from_survey
    from steer.cli.reduce import refraction_of
    from steer.errors import CommandLineWrong, InputRefused
    from steer.intake.fields import NotAllowed, Time
    from steer.survey import reduce_network
    from steer.survey.files import holds_sights, near_misses, read_survey
    from steer.text import printable

    if len(args.files) != 1:
        raise CommandLineWrong("--control: give one file of observations")
    if args.map:
        raise CommandLineWrong("--map: not with observations")
    named = dict(_named(text) for text in args.shot)
    chainage = None if args.chainage is None else _chainage("--chainage", args.chainage)
    time = None
    if args.time is not None:
        try:
            time = Time().from_json(args.time)
        except NotAllowed as problem:
            raise CommandLineWrong(f"--time: {args.time!r} is not allowed: must be {problem}") from None
    path = args.files[0]
    try:
        survey = read_survey(path, args.control)
    except InputRefused as problem:
        if holds_sights(path) or "the other way round" in problem.problems[0]:
            raise
        points = f"{path}: is it a file of points? Those are given without --control"
        raise InputRefused([*problem.problems, points]) from None
    rows = {o.row for o in survey.observations}
    if strange := [row for row in args.leave_out if row not in rows]:
        raise CommandLineWrong(f"--leave-out {strange[0]}: {printable(path)} has no such row")
    sights = [o for o in survey.observations if o.row not in args.leave_out]
    try:
        network = reduce_network(sights, survey.control, refraction_of(args.refraction))
    except InputRefused as problem:
        said = [f"{path}: {line}" for line in problem.problems]
        raise InputRefused([*said, *near_misses(sights, survey.control)]) from None
    _sound(network, path, args.despite_suspects)
    left = f", row {', '.join(map(str, sorted(args.leave_out)))} left out" if args.leave_out else ""
    chosen = from_survey.choose(network, [o.station for o in sights], named, args.point, chainage)
    made = from_survey.bodies(network, chosen, file, time, f"survey {Path(path).name}{left}")  # type: ignore[arg-type]
    return _checked(made, file, path)


def _checked(made: list[dict[str, object]], file: object, path: str) -> list[dict[str, object]]:
    """The bodies by the same rules as shots from a file of points."""
    from steer.errors import InputRefused
    from steer.intake.stored import check_new_shot

    problems: list[str] = []
    for body in made:
        try:
            check_new_shot(body, file)  # type: ignore[arg-type]
        except InputRefused as refused:
            problems += [f"{path}: {body['note']}: {line}" for line in refused.problems]
    if problems:
        raise InputRefused(problems)
    return made


def _sound(network: object, path: str, despite: bool) -> None:
    """Says how the survey's own tests came out; refuses one that is in doubt."""
    from steer.errors import InputRefused
    from steer.survey import ReducedNetwork

    assert isinstance(network, ReducedNetwork)
    suspect = [f"{c.point} {c.coordinate}" for c in network.control_residuals if c.suspect]
    rows = network.suspect_sights
    factor = network.variance_factor
    if factor is None:
        print("survey: nothing checks it (no more observations than unknowns): a blunder would not show")
        return
    if network.passed and not rows and not suspect:
        print(
            f"survey: sound (variance factor {factor:.2g}, {network.degrees_of_freedom} degrees of freedom)"
        )
        return
    found = [f"the global test {'passed' if network.passed else 'FAILED'}, variance factor {factor:.3g}"]
    if rows:
        found.append(f"suspect {', '.join(rows)}")
    if suspect:
        found.append(f"suspect control {', '.join(suspect)}")
    if network.hint:
        found.append(network.hint.rstrip("?"))
    if despite:
        print(f"survey: IN DOUBT ({'; '.join(found)}): taken all the same, with a larger sd")
        return
    hint = f"--leave-out {network.suspect_rows[0]}, or " if rows else ""
    raise InputRefused(
        f"{path}: the survey is in doubt: {'; '.join(found)}. Look at it with `steer reduce`; mend the field "
        f"book's slip, or give {hint}--despite-suspects. Nothing was stored"
    )


def _store_surveyed(args: argparse.Namespace, found: list[dict[str, object]], drive: DriveFile) -> str:
    import hashlib
    import json
    from pathlib import Path

    from steer.intake.files import known_surveys
    from steer.intake.stored import Border
    from steer.intake.tables import read_bytes
    from steer.log import Log
    from steer.text import printable

    # the same survey is known by both files and what was taken out of them
    said = json.dumps(found, sort_keys=True).encode()
    content = read_bytes(args.files[0])
    sha = hashlib.sha256(b"\0".join([content, read_bytes(args.control), said])).hexdigest()
    name = Path(args.files[0]).name

    def decide() -> list[tuple[str, dict[str, object]]]:
        if log.has_file(sha):
            return []
        surveys = known_surveys(log, Border(drive, log.path))
        first = log.last_sequence() + 2  # after the file's own event
        repeats = [surveys.repeated(first + k, body) for k, body in enumerate(found)]
        shots = [b if r is None else {**b, "repeats": r} for b, r in zip(found, repeats, strict=True)]
        file = {"name": name, "sha256": sha, "bytes": len(content), "kind": "check_shot"}
        file |= {"rows": len(found), "new_rows": len(found)}
        return [("file", file), *(("check_shot", body) for body in shots)]

    with Log.open(args.folder, write=True) as log:
        events = log.append_decided(decide)
    if not events:
        return f"0 check shots stored (from {printable(name)}): nothing new, this survey was read before"
    return f"{len(found)} check shot{'s' if len(found) > 1 else ''} stored (from {printable(name)})"


def _named(text: str) -> tuple[str, tuple[str, float | None]]:
    from steer.errors import CommandLineWrong

    name, equals, rest = text.rpartition("=")
    point, at, chainage = rest.partition("@")
    if not equals or not name or point not in POINTS:
        raise CommandLineWrong(
            f"--shot: {text!r} is not allowed: must be NAME=POINT or NAME=POINT@CHAINAGE, POINT face, target, "
            "tail or pipe"
        )
    return name, (point, _chainage("--shot", chainage) if at else None)


def _chainage(option: str, text: str) -> float:
    from steer.errors import CommandLineWrong

    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise CommandLineWrong(f"{option}: {text!r} is not allowed: must be a chainage in m")
    return value
