"""`steer import FILE FOLDER`: a drive folder from an exported file."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "FOLDER must not exist yet, or be empty. Every hash is computed again; a changed file is refused."
    )
    parser.add_argument("file", metavar="FILE", help="a file that `steer export` wrote")
    parser.add_argument("folder", metavar="FOLDER", help="the folder to make")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from steer.cli.patience import said_when_slow
    from steer.intake.stored import import_checked
    from steer.text import printable

    with said_when_slow("still checking the file; the folder is made when all of it is good"):
        events = import_checked(Path(args.file), Path(args.folder))
    print(f"{events} events and the drive file put into {printable(args.folder)}")
    return 0
