"""`steer counter FOLDER`: the chainage counter's corrections, and a new one."""

from __future__ import annotations

import argparse
from typing import Any

EXPLAINED = """\
When the logger's chainage is wrong (a slipped wheel, a counter that was reset), say by how much: --add METRES is
added to the chainage of readings and ends of stroke from one event on, all later ones included, until another
correction takes its place. --add 0 says that the counter is right again. Where the counter jumped and nobody has
said anything of it yet, METRES holds from there on; where it fell back from a leap, --add 0 takes the leap back.
Check shots and settings of the reference keep the chainage that the surveyor gave. Nothing stored is changed: the
correction is one more event, and the estimate is worked out anew.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EXPLAINED
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument(
        "--add", metavar="METRES", help="what the counter's chainage lacks (negative: has too much)"
    )
    parser.add_argument(
        "--from-event",
        metavar="NUMBER",
        help="the first event it holds for (default: where a jump in doubt began, else readings still to come)",
    )
    parser.add_argument("--note", metavar="TEXT", help="why")


def run(args: argparse.Namespace) -> int:
    from steer.drive import Drive
    from steer.errors import CommandLineWrong

    if args.add is None:
        if args.from_event is not None or args.note is not None:
            raise CommandLineWrong("--from-event and --note go with --add METRES")
        with Drive.open(args.folder) as drive:
            _list(drive)
        return 0
    body = _body(args)
    since = body.get("from_event", 0)
    with Drive.open(args.folder, write=True) as drive:
        newest = drive.seen
        if since > newest:
            raise CommandLineWrong(f"--from-event {since}: the newest event is {newest}")
        before = _face(drive)
        for event in drive.set_counter(**body):
            print(f"event {event.sequence}: {_said(event.body, event.sequence)}")
        now = _face(drive)
        print(f"chainage of the face: {before} before, {now} now")
        if now == before and args.add:
            print("It holds for readings still to come.")
    return 0


def _body(args: argparse.Namespace) -> dict[str, Any]:
    from steer.errors import CommandLineWrong
    from steer.intake.fields import Field, NotAllowed
    from steer.intake.stored import counter_fields
    from steer.text import shown

    fields = counter_fields()
    body: dict[str, Any] = {}

    def take(option: str, name: str, field: Field, text: str) -> None:
        try:
            body[name] = field.from_text(text)
        except NotAllowed as problem:
            raise CommandLineWrong(f"{option}: {shown(text)} is not allowed: must be {problem}") from None

    take("--add", "add_m", fields["add_m"], args.add)
    if args.from_event is not None:
        take("--from-event", "from_event", fields["from_sequence"], args.from_event)
    if args.note is not None:
        take("--note", "note", fields["note"], args.note)
    return body


def _list(drive: object) -> None:
    from steer.drive import Drive

    assert isinstance(drive, Drive)
    count = 0
    for event in drive.events():
        if event.kind == "chainage_set":
            print(f"event {event.sequence}, {event.arrived}: {_said(event.body, event.sequence)}")
            count += 1
    if not count:
        print("The chainage counter was never corrected.")
    print(f"chainage of the face: {_face(drive)}; the newest event is {drive.seen}")


def _said(body: dict[str, object], sequence: int) -> str:
    from steer.text import printable

    since = body.get("from_sequence", sequence)
    note = f" ({printable(body['note'], 200)})" if body.get("note") else ""
    return f"{float(str(body['add_m'])):+.3f} m on the counter's chainage from event {since} on{note}"


def _face(drive: object) -> str:
    from steer.drive import Drive

    assert isinstance(drive, Drive)
    advice = drive.advice()
    return "not known yet" if advice is None else f"{advice.chainage_m:.3f} m"
