"""`steer replay FOLDER`: a drive again, stroke by stroke, as it was known then; and what if."""

from __future__ import annotations

import argparse
import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from steer.cli.making import named_folder
from steer.cli.open import add_look, has_terminal
from steer.errors import CommandLineWrong

if TYPE_CHECKING:
    from steer.replay import Reel, WhatIf

ABOUT = """\
Each stroke is shown with what the log held at that moment and nothing later; beside it stands what is
known now. Nothing is written to the folder. --what-if steers again from --from on, on the ground as the
drive taught it; --set changes a limit or a weight, e.g. --set steering.firmness=gentle
--set machine.max_change_mm_per_m=5. In the screen key f does the same from the stroke shown.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = ABOUT
    parser.add_argument("folder", type=named_folder, metavar="FOLDER", help="the drive's folder")
    parser.add_argument("--from", dest="begin", type=float, metavar="CHAINAGE", help="where to begin, m")
    parser.add_argument("--speed", type=float, metavar="N", help="play N strokes a second (default: by key)")
    parser.add_argument("--text", action="store_true", help="print every stroke, open no screen")
    parser.add_argument("--what-if", action="store_true", help="steer again from --from on, and compare")
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="with --what-if: another limit or weight",
    )
    parser.add_argument("--csv", type=Path, metavar="FILE", help="with --what-if: both paths as CSV")
    add_look(parser, None)  # every reading of a replay is old


def run(args: argparse.Namespace) -> int:
    if args.speed is not None and not 0.05 <= args.speed <= 20.0:
        raise CommandLineWrong(f"--speed {args.speed:g}: allowed are 0.05 to 20 strokes a second")
    if args.begin is not None and not -1e6 < args.begin < 1e6:
        raise CommandLineWrong(f"--from {args.begin:g}: a chainage in m is wanted")
    if not args.what_if and (args.set or args.csv):
        raise CommandLineWrong("--set and --csv go with --what-if")
    from steer.replay import Reel

    if args.what_if:
        return _what_if(args, Reel.open(args.folder))
    if args.text:
        _print(Reel.open(args.folder), args.begin)
        return 0
    return screens(args.folder, args, args.begin, args.speed or 0.0)


def screens(folder: Path, look: argparse.Namespace, begin: float | None = None, speed: float = 0.0) -> int:
    """Opens the screen of the replay of a folder; `look` holds what `add_look` added."""
    if not has_terminal():
        raise CommandLineWrong("the screen needs a terminal; --text prints every stroke")
    from steer.cli.open import show
    from steer.cli.replay_source import ReplaySource
    from steer.replay import Reel
    from tui.replay import ReplayApp

    def open_reel() -> ReplaySource:
        reel = Reel.open(folder)
        return ReplaySource(reel, 0 if begin is None else reel.number_at(begin))

    def make(*given: Any, **options: Any) -> ReplayApp:
        return ReplayApp(*given, speed=speed, **options)

    look.stale_after = 0.0
    return show(open_reel, look, str(folder), make)


def _print(reel: Reel, begin: float | None) -> None:
    from steer.replay import said

    first = 0 if begin is None else reel.number_at(begin)
    print("\n".join(said.HEAD))
    frames = []
    for number in range(first, len(reel.moments)):
        frame = reel.frame(number, whole=False)
        frames.append(frame)
        print("\n".join(said.rows([frame])))
    print()
    print("\n".join(said.summary(reel, frames)))


def _what_if(args: argparse.Namespace, reel: Reel) -> int:
    from steer.replay import changed, compared, what_if

    file = changed(reel.file, args.set)
    begin = args.begin if args.begin is not None else reel.moments[0].chainage_m

    def told(stroke: int, strokes: int) -> None:
        if sys.stderr.isatty():
            print(f"\rstroke {stroke} of {strokes} ", end="", file=sys.stderr, flush=True)

    found = what_if(reel, file, begin, told)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    print("\n".join(compared.report(file, found, args.set)))
    print()
    print("\n".join(compared.table(found)))
    if args.csv is not None:
        _write(args.csv, found)
    return 0


def _write(path: Path, found: WhatIf) -> None:
    from steer.asbuilt.writing import write_whole

    def rows(place: Path) -> None:
        with open(place, "w", encoding="utf-8", newline="") as out:
            table = csv.writer(out, lineterminator="\n")
            table.writerow(
                ["chainage_m", "driven_line_mm", "driven_level_mm", "other_line_mm", "other_level_mm",
                 "difference_sd_line_mm", "difference_sd_level_mm"]
            )  # fmt: skip
            columns = (found.driven_mm, found.other_mm, found.sd_mm)
            for i, at in enumerate(found.chainage_m):
                row = [f"{at:.3f}", *(f"{v:.2f}" for part in columns for v in part[i])]
                table.writerow(row)

    write_whole(path, rows)
