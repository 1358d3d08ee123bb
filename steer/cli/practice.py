"""`steer practice [PRESET]`: steer a simulated drive, stroke by stroke; then see how it went."""

from __future__ import annotations

import argparse
import secrets
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from steer.cli.making import named_folder
from steer.cli.open import add_look, has_terminal
from steer.errors import CommandLineWrong
from steer.text import printable

if TYPE_CHECKING:
    from steer.practice import Session

AUTO = ("proposal", "rule", "straight")
ABOUT = """\
Grounds: soft clay, dense sand, mixed face, boulders. All figures of them are invented: they are there to
practise on and foretell nothing about a site. The folder is a normal drive folder: every other command
works on it. It shows how steering feels; it replaces no training on the machine, and no manual.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = ABOUT
    parser.add_argument("preset", metavar="PRESET", nargs="?", help="ground (default: dense sand)")
    parser.add_argument(
        "--folder", type=named_folder, help="where to make the drive (default: a temporary folder)"
    )
    parser.add_argument("--resume", action="store_true", help="go on with the practice drive in --folder")
    parser.add_argument(
        "--like", type=named_folder, metavar="FOLDER", help="drive this folder's drive.toml instead"
    )
    parser.add_argument("--seed", type=int, help="the same seed gives the same ground (default: a new one)")
    parser.add_argument(
        "--proposal",
        choices=("shown", "hidden", "after"),
        default="shown",
        help="show the proposal, hide it, or show it after you have chosen",
    )
    parser.add_argument(
        "--pace", type=float, metavar="SECONDS", help="a stroke every so many seconds, ready or not"
    )
    parser.add_argument(
        "--auto",
        nargs="?",
        const="proposal",
        choices=AUTO,
        help="no screen: set each proposal, steer by rule of thumb, or leave the cylinders straight",
    )
    parser.add_argument("--strokes", type=int, help="with --auto: stop after so many strokes")
    parser.add_argument("--debrief", action="store_true", help="with --resume: only print how it went")
    add_look(parser, "0: never, think as long as you like")


def run(args: argparse.Namespace) -> int:
    if args.pace is not None and not 0.2 <= args.pace <= 3600.0:
        raise CommandLineWrong(f"--pace {args.pace:g}: allowed are 0.2 to 3600 seconds")
    if args.strokes is not None and (args.strokes < 1 or args.auto is None):
        raise CommandLineWrong("--strokes N goes with --auto, and N is 1 or more")
    if args.seed is not None and not 0 <= args.seed < 2**31:
        raise CommandLineWrong(f"--seed {args.seed}: allowed are 0 to {2**31 - 1}")
    if args.resume and args.folder is None:
        raise CommandLineWrong("--resume needs --folder FOLDER")
    if args.resume and (args.preset or args.like or args.seed is not None):
        raise CommandLineWrong("--resume goes on with the folder's own ground: no PRESET, --like or --seed")
    if args.debrief and not args.resume:
        raise CommandLineWrong("--debrief goes with --resume --folder FOLDER")
    without_screen = args.debrief or args.auto is not None
    if not without_screen and not has_terminal():
        raise CommandLineWrong("the screens need a terminal; --auto drives without one")
    opening, folder = _opening(args)
    if without_screen:
        with opening() as session:
            if not args.debrief:
                _drive(session, args.auto, args.strokes)
            _print_debrief(session)
            print(f"\nThe drive is in {printable(folder)}. See it again: steer replay {printable(folder)}")
        return 0
    return _screens(args, opening, folder)


def _screens(args: argparse.Namespace, opening: Callable[[], Session], folder: Path) -> int:
    from steer.cli.open import show
    from steer.cli.practice_source import PracticeSource
    from tui.practice import PracticeApp

    made: list[PracticeApp] = []

    def make(*given: Any, **options: Any) -> PracticeApp:
        made.append(PracticeApp(*given, pace_s=args.pace or 0.0, **options))
        return made[0]

    args.stale_after = 0.0 if args.stale_after is None else args.stale_after  # think as long as you like
    code = show(lambda: PracticeSource(opening()), args, "the practice ground", make)
    place = printable(folder)
    print(f"The drive is in {place}. Go on: steer practice --resume --folder {place}")
    if code == 0 and made and made[0].wants_replay:
        from steer.cli import replay

        return replay.screens(folder, args)
    return code


def _opening(args: argparse.Namespace) -> tuple[Callable[[], Session], Path]:
    from steer.practice import Session, preset_named
    from steer.practice.session import free_for_a_drive

    if args.resume:
        place = args.folder
        return (lambda: Session.resume(place)), place
    preset = preset_named(args.preset or "dense sand")
    seed = args.seed if args.seed is not None else secrets.randbelow(1_000_000)
    place = args.folder or Path(tempfile.mkdtemp(prefix="steer-practice-")) / preset.replace(" ", "_")
    free_for_a_drive(place)
    return (lambda: Session.begin(place, preset, seed, args.proposal, args.like)), place


def _drive(session: Session, who: str, strokes: int | None) -> None:
    from steer.ground.operator import RuleOfThumb

    drive, rule = session.drive, RuleOfThumb(session.scenario.drive) if who == "rule" else None
    done = 0
    for reading in session.first_readings if rule else ():
        rule.reading(reading)  # type: ignore[union-attr]
    while not session.finished and (strokes is None or done < strokes):
        if who == "proposal":
            drive.accept()
        elif rule is not None:
            session.choose(rule.stroke_end(session.simulation.chainage_m))
        session.jack()
        if rule is not None:
            for reading in session.last_readings:
                rule.reading(reading)
            for shot in session.last_shots:
                rule.shot(shot)
        done += 1
        if sys.stderr.isatty():
            print(f"\rstroke {done}, {session.simulation.chainage_m:.1f} m ", end="", file=sys.stderr)
    if sys.stderr.isatty():
        print(file=sys.stderr)


def _print_debrief(session: Session) -> None:
    from steer.practice import debrief, report

    if not session.set_mm:
        print("No stroke has been jacked yet: there is nothing to compare.")
        return
    made = session.scenario
    print(f"Practice on {made.name} (invented ground), seed {made.seed}\n")
    print("\n".join(report(session.drive.file, debrief(session))))
