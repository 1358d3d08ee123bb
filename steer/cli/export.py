"""`steer export FOLDER FILE`: a whole drive as one file."""

from __future__ import annotations

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "The file is JSON Lines, compressed by gzip: the drive file, then every event as it was stored, with "
        "its hash. The same drive gives the same file, byte for byte."
    )
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("file", metavar="FILE", help="what to write, for instance drive.jsonl.gz")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from steer.drivefile import load_drive
    from steer.intake.stored import drive_files
    from steer.log.export import export_drive
    from steer.text import printable

    folder = Path(args.folder)
    events = export_drive(folder, drive_files(load_drive(folder)), Path(args.file))
    print(f"{events} events and the drive file written to {printable(args.file)}")
    return 0
